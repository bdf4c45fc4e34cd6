"""`planner rules sources`: what rests on each source, and what still rests on memory."""

from planner.cli.options import JsonOption, RulesOption, present, rulebook_in


def sources(rules: RulesOption = None, json: JsonOption = False) -> None:
    """List each source with what rests on it, then what still rests on memory, then sources that nothing cites.

    A source that is named only in a note counts as mentioned: nothing rests on it there.

    Example: planner rules sources --rules rules
    """
    from planner.rulebook.citations import citations
    from planner.rulebook.sources_text import sources_data, sources_text

    rulebook = rulebook_in(rules)
    found = citations(rulebook)
    present(json, lambda: sources_data(rulebook, found), lambda: "\n".join(sources_text(rulebook, found)))
