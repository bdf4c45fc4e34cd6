"""`planner plan read`: the case that a plan was made from, out of the plan's own PDF."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from planner.cli.options import JsonOption, RulesOption, argument, rulebook_in
from planner.errors import Fault, PlannerError

if TYPE_CHECKING:
    from planner.exchange.plan_pdf import Embedded
    from planner.rulebook.rulebook import Rulebook

SHORT_HASH = 12


def read_back(
    plan: Annotated[Path, argument("FILE.pdf", "A plan as PDF.")],
    rules: RulesOption = None,
    json: JsonOption = False,
) -> None:
    """Print the case a plan was made from.

    It is printed as a case file (YAML) that `planner plan -` takes; what the plan was made with is said beside it.
    --json prints all that is embedded in the plan, as it stands.

    Example: planner plan read H-101-right.pdf > case.yaml
    """
    from planner.case import read_case
    from planner.case_file import EMBEDDED_NAME, case_file, yaml_of
    from planner.exchange.plan_pdf import read_plan

    embedded = read_plan(plan)
    rulebook = rulebook_in(rules)
    if json:
        typer.echo(embedded.text, nl=not embedded.text.endswith("\n"))
    else:
        try:
            case = read_case(embedded.case, rulebook.vocabulary, f"{plan}, {EMBEDDED_NAME}")
        except PlannerError as error:
            refused = Fault(str(plan), "the rulebook in use refuses this case", hint="--json, which prints it as it is")
            raise PlannerError([refused, *error.faults]) from None
        typer.echo(yaml_of(case_file(case)), nl=False)
    typer.echo(made_with(embedded, rulebook), err=True)


def made_with(embedded: "Embedded", rulebook: "Rulebook") -> str:
    """One line: what the plan was made with, and whether the rulebook in use is still the same."""
    then, now = embedded.rulebook, rulebook.header
    unit = f", unit {embedded.unit}" if embedded.unit else ""
    with_what = f"{then['id']} {then['version']} ({then['sha256'][:SHORT_HASH]}, {then['status']})"
    if (then["id"], then["sha256"]) == (now.id, rulebook.sha256):
        since = "the rulebook in use is the same"
    else:
        since = f"the rulebook in use differs: {now.id} {now.version} ({rulebook.sha256[:SHORT_HASH]}, {now.status})"
    return f"made with {with_what}, for {embedded.on or 'no date'}, stage {embedded.stage}{unit}; {since}"
