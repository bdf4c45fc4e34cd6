"""`planner lists`: whether lists keep every rule, how long they take, and lists made from a pool of cases."""

from pathlib import Path
from typing import Annotated

import typer

from planner.cli.lists import ahead, paper, repair, why
from planner.cli.lists.input import RECORDS, ListsArgument, ListsInput, ListsOutput, of_cases
from planner.cli.options import JsonOption, argument, group, option, present
from planner.errors import Fault, PlannerError

app = group("Theatre lists: who operates on whom, where, in which order and under whom.")


@app.command()
@of_cases(planned=True)
def check(
    files: ListsInput,
    lists: ListsArgument,
    json: JsonOption = False,
) -> None:
    """Judge lists against every hard rule, and show what looks alike on them. Ends with 1 where a rule is broken.

    Example: planner lists check week.yaml --cases pool.csv --unit unit.yaml --with sessions.yaml
    """
    from planner.lists.output.lookalikes import clashes
    from planner.lists.output.verdict_text import verdict_data, verdict_text
    from planner.lists.rules.checker import check as judge

    instance = files.instance
    judged = files.read(lists)
    verdict, shown = judge(instance, judged), clashes(instance, judged)
    present(json, lambda: verdict_data(verdict, shown), lambda: verdict_text(instance, verdict, shown))
    if not verdict.stands:
        raise typer.Exit(1)


@app.command()
@of_cases()
def simulate(
    files: ListsInput,
    lists: ListsArgument,
    runs: Annotated[int, typer.Option("--runs", min=100, max=1_000_000, help="How often each list is run.")] = 10_000,
    seed: Annotated[int, typer.Option("--seed", help="The same seed gives the same numbers.")] = 1,
    limit: Annotated[
        list[float] | None,
        option(
            "--limit",
            "CHANCE",
            "Match the whole pool anew under this chance of overrun, and run that too; may be repeated.",
            min=0.001,
            max=0.999,
        ),
    ] = None,
    json: JsonOption = False,
) -> None:
    """Run lists through the operators' times: minutes of overrun and of idle theatre, and what a limit buys.

    Example: planner lists simulate week.yaml --cases pool.csv --unit unit.yaml --with sessions.yaml --limit 0.2
    """
    from dataclasses import asdict

    from planner.lists.matching.simulation import simulate as run
    from planner.lists.matching.simulation import under_limits
    from planner.lists.output.verdict_text import limits_text, simulated_text

    instance = files.instance
    found = run(instance, files.read(lists), runs, seed)
    others = under_limits(instance, limit or (), runs, seed)
    data = {
        "runs": runs, "seed": seed, "model": instance.times_basis, "sessions": [asdict(one) for one in found],
        "limits": [asdict(one) for one in others],
    }  # fmt: skip
    present(json, lambda: data, lambda: "\n".join([simulated_text(instance, found, runs), *limits_text(others)]))


@app.command()
@of_cases(planned=True)
def match(
    files: ListsInput,
    output: ListsOutput = None,
    keep: Annotated[Path | None, option("--keep", "LISTS", "Lists that stay; the rest goes round them.")] = None,
    since: Annotated[Path | None, option("--since", "LISTS", "Lists already published: few changes.")] = None,
    best: Annotated[
        bool, option("--best", None, "Look for the best with a solver (the extra `lists`), and say how far off.")
    ] = False,
    effort: Annotated[
        float, typer.Option("--effort", min=0.1, max=3600, help="How long the solver tries, in seconds or so.")
    ] = 20.0,
    json: JsonOption = False,
) -> None:
    """Make lists that keep every rule, with the reason for each place and for each case without one.

    The most pressing case first, each in the place worth most by the wishes of the sessions file, and then a counted
    while of searching on from there; --best searches longer and says how far off. The same input gives the same lists.
    They are a proposal; the organiser and the consultants decide.

    Example: planner lists match --cases pool.csv --unit unit.yaml --with sessions.yaml -o lists.yaml
    """
    from dataclasses import replace

    from planner.batch.progress import Progress
    from planner.batch.writing import write_whole
    from planner.lists.matching.match import match as place
    from planner.lists.output.match_text import matched_data, matched_text
    from planner.lists.rules.checker import check as judge
    from planner.lists.week.lists_file import written

    instance = files.instance
    if since is not None:
        instance = replace(instance, published=files.read(since))
    # What the store has placed already stays, unless a file says what does.
    kept = files.read(keep) if keep else files.placed
    if kept is not None and not (verdict := judge(instance, kept)).stands:
        why = "lists are matched round what stands already"
        where = str(keep or RECORDS)
        raise PlannerError([Fault(where, one.says.rstrip("."), why, one.change.rstrip(".")) for one in verdict.broken])
    if best:
        from planner.lists.matching.best import best as search

        def told(worth: float, bound: float) -> None:
            limit = f", none worth more than {bound:.1f}" if bound < float("inf") else ""
            typer.echo(f"{worth:.1f} points so far{limit}", err=True)

        def ended() -> None:
            typer.echo("Searched. Now the reason for each place; an interrupt leaves the reasons out.", err=True)

        typer.echo("Searching; an interrupt (Ctrl-C) keeps the best so far.", err=True)
        found = search(instance, kept, effort, told, ended)
    else:
        with Progress(len(instance.cases) - len(kept.placings if kept else ()), shown=True) as progress:
            found = place(instance, kept, progress.step)
    if output is not None:
        write_whole(output, written(found.lists).encode())
    present(json, lambda: matched_data(instance, found), lambda: matched_text(instance, found))


for command in (
    why.why,
    why.minutes,
    ahead.standby,
    ahead.orders,
    paper.brief,
    paper.week,
    paper.calendar,
    paper.table,
    repair.repair,
):
    app.command()(command)


@app.command()
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
