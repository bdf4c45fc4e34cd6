"""`planner rules show`: one entry of the rulebook, found by its id."""

from typing import Annotated

from planner.cli.options import JsonOption, RulesOption, argument, present, rulebook_in


def show(
    name: Annotated[str, argument("ID", "Of any entry; choice.option.")],
    rules: RulesOption = None,
    json: JsonOption = False,
) -> None:
    """Show an entry by its id: where it stands, its condition and limits in words, points, basis and sources, what
    names it, its cases, its review, and whether it is as locked.

    Example: planner rules show tense-white-lens
    """
    from planner.rulebook.entry_page import as_text, pages
    from planner.shipped import rules_folder

    found = pages(rulebook_in(rules), rules or rules_folder(), name)
    words = (line for page in found for line in as_text(page))
    present(json, lambda: {"entries": found}, lambda: "\n".join(words))
