"""`planner rules`: the rulebook itself."""

import typer

from planner.cli.options import JsonOption, RulesOption, group, present
from planner.cli.rules import compare, lock, new, prove, show, sources
from planner.errors import PlannerError

app = group("Check, prove and change the rulebook.")
app.command()(compare.compare)
app.command()(lock.lock)
app.command()(new.new)
app.command()(prove.prove)
app.command()(show.show)
app.command()(sources.sources)


@app.command()
def check(rules: RulesOption = None, json: JsonOption = False) -> None:
    """Load a rulebook, look it over, run the cases beside its rules and count its entries.

    Every fault and warning is printed with file and line.

    Example: planner rules check --rules rules
    """
    from planner.plan.expected import disagreements
    from planner.rulebook.check import check as look_over
    from planner.rulebook.check import counts_of
    from planner.rulebook.rule_cases import read
    from planner.shipped import rules_folder

    folder = rules or rules_folder()
    report = look_over(folder)
    for warning in report.warnings:
        typer.echo(f"warning: {warning}", err=True)
    rulebook = report.rulebook
    faults = list(report.faults)
    if rulebook is not None:
        cases, left_out = read(rulebook, folder)
        faults += [*left_out, *disagreements(rulebook, cases)]
    if rulebook is None or faults:
        raise PlannerError(faults)
    counts = counts_of(rulebook)
    words = [rulebook.identity_line, *(f"{count:5} {name}" for name, count in counts.items())]
    present(json, lambda: {"rulebook": rulebook.identity, "entries": counts}, lambda: "\n".join(words))
