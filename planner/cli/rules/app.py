"""`planner rules`: the rulebook itself; what compares two and what proves one stand beside it."""

from typing import Annotated, Literal

import typer

from planner.cli.options import JsonOption, RulesOption, argument, group, option, present, rulebook_in
from planner.cli.rules.compare import compare
from planner.cli.rules.prove import prove
from planner.errors import PlannerError

app = group("Check, prove and change the rulebook.")
app.command()(compare)


@app.command()
def lock(
    rules: RulesOption = None,
    check: Annotated[bool, option("--check", None, "Write nothing; end with 1 when the lock does not fit.")] = False,
) -> None:
    """Write lock.json beside the rules: the version, and the hash of what it stands for.

    Refused while the content differs from what is locked under the same version, or the change log does not name it.

    Example: planner rules lock --rules rules --check
    """
    from planner.batch.writing import write_whole
    from planner.rulebook.lock import LOCK, kind_of_step, lock_of, read_lock, ready_to_lock, standing
    from planner.shipped import rules_folder

    folder = rules or rules_folder()
    rulebook = rulebook_in(rules)
    faults = standing(rulebook, folder) if check else ready_to_lock(rulebook, folder)
    if faults:
        raise PlannerError(faults)
    locked, now = read_lock(folder), lock_of(rulebook, folder)
    name = f"{now.id} {now.version}, sha256 {now.sha256[:12]}"
    if check or locked == now:
        typer.echo(f"{name}: as locked")
        return
    write_whole(folder / LOCK, now.as_json().encode())
    kind = kind_of_step(locked.version, now.version) if locked else None
    typer.echo(f"{name}: locked" + (f", {kind} after {locked.version}" if locked and kind else ""))


@app.command()
def new(
    kind: Annotated[
        Literal["factor", "finding", "drill", "caution"], argument("KIND", "factor, finding, drill or caution.")
    ],
    name: Annotated[str, argument("ID", "small-pupil; of a finding dilated_pupil_mm.")],
    rules: RulesOption = None,
    file: Annotated[
        str | None, option("--in", "NAME", "The file: lens for factors/lens.yaml. [default: its own]")
    ] = None,
) -> None:
    """Begin an entry: its keys, still empty, and its cases beside it.

    planner rules check then names all that is still to be filled in.

    Example: planner rules new factor crowded-angle --in pressure-and-chamber --rules rules-new
    """
    from planner.batch.writing import write_whole
    from planner.rulebook.scaffold import begin
    from planner.shipped import rules_folder

    folder = rules or rules_folder()
    for path, text in begin(folder, kind, name, file).items():
        write_whole(path, text.encode())
        typer.echo(f"{path}: {kind} {name} begun")
    typer.echo(f"then: planner rules check --rules {folder}", err=True)


app.command()(prove)


@app.command()
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


@app.command()
def sources(rules: RulesOption = None, json: JsonOption = False) -> None:
    """List each source with what rests on it, then what still rests on memory, then sources that nothing cites.

    A source that is named only in a note counts as mentioned: nothing rests on it there.

    Example: planner rules sources --rules rules
    """
    from planner.rulebook.citations import citations, sources_data, sources_text

    rulebook = rulebook_in(rules)
    found = citations(rulebook)
    present(json, lambda: sources_data(rulebook, found), lambda: "\n".join(sources_text(rulebook, found)))


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
