"""`planner rules`: the rulebook itself."""

import typer

from planner.cli.options import JsonOption, RulesOption
from planner.cli.rules import compare, lock, new, prove, show, sources
from planner.errors import PlannerError

app = typer.Typer(help="Check, prove and change the rulebook.", rich_markup_mode=None, no_args_is_help=True)
app.command()(compare.compare)
app.command()(lock.lock)
app.command()(new.new)
app.command()(prove.prove)
app.command()(show.show)
app.command()(sources.sources)


@app.callback()
def rules() -> None:
    pass


@app.command()
def check(rules: RulesOption = None, json: JsonOption = False) -> None:
    """Load a rulebook, look it over, run the cases beside its rules and count its entries.

    Every fault and warning is printed with file and line.

    Example: planner rules check --rules rules
    """
    from planner.cli.assess import in_json
    from planner.plan.expected import disagreements
    from planner.rulebook.check import check as look_over
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
    header = rulebook.header
    counts = {
        "findings": len(rulebook.vocabulary.findings),
        "factors": len(rulebook.factors),
        "published models": 1 + len(rulebook.scores),
        "steps": len(rulebook.steps),
        "choices": len(rulebook.choices),
        "options": sum(len(choice.options) for choice in rulebook.choices.values()),
        "lines with force": len(rulebook.interactions.rules),
        "drills": len(rulebook.drills),
        "cautions": len(rulebook.cautions),
        "equipment": len(rulebook.kit.equipment),
        "drugs": len(rulebook.kit.drugs),
        "sources": len(rulebook.sources),
    }
    if json:
        identity = {"id": header.id, "version": header.version, "sha256": rulebook.sha256, "status": header.status}
        typer.echo(in_json({"rulebook": identity, "entries": counts}, many=False))
        return
    typer.echo(f"{header.id} {header.version} ({header.status}), sha256 {rulebook.sha256[:12]}")
    for name, count in counts.items():
        typer.echo(f"{count:5} {name}")
