"""`planner lists new-rule`: a rule begun in a checkout of the program."""

from typing import Annotated

import typer

from planner.cli.options import argument


def new_rule(
    rule: Annotated[str, argument("ID", "As `strong-lenses`; it is never used again.")],
    words: Annotated[str, argument("WORDS", "The rule as people are told it: 'strong lenses lie in room one'.")],
    about: Annotated[
        str, typer.Option("--about", metavar="SUBJECT", help="Its module: patient, eyes, people or sessions.")
    ] = "patient",
) -> None:
    """Begin a list rule in a checkout of the program: its entry, a week that is to break it, its row in the README.

    Judge and week are then written by hand; nothing is judged by the rule, and the tests fail, until they are. What
    the judge reads stands in the rule's `reads`: cases that differ in nothing that a rule reads are one kind to the
    matching.

    Example: planner lists new-rule strong-lenses "strong lenses lie in room one" --about sessions
    """
    from planner.batch.writing import write_whole
    from planner.lists.rules.scaffold import begun

    files = begun(rule, words, about)
    for path, text in files.items():
        write_whole(path, text.encode())
        typer.echo(f"wrote {path}")
    typer.echo(
        f"Next: in {about}.py what {rule.replace('-', '_')} reads and where it is broken; in test_checker.py the week "
        "that breaks it and it alone; in README.md how it is told, and from that row alone the same rule in "
        "tests/lists/second_rules.py, by somebody else. Until then tests/run tests/lists fails.",
        err=True,
    )
