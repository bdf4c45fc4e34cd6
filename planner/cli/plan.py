"""`planner plan`: the surgical plan of each case, as PDF, HTML, text or JSON."""

from typing import TYPE_CHECKING, Annotated, Literal

import typer

from planner.cli.options import (
    CaseArguments,
    OnOption,
    RulesOption,
    UnitOption,
    day,
    in_json,
    option,
    rulebook_in,
    unit_in,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    from planner.plan.plan import Plan

PAGE_WIDTH = 100


Format = Literal["pdf", "html", "text", "json"]
Sheet = Literal["theatre", "preparation", "card", "debrief"]
# `planner.case` knows them too; written out here so that --help need not load the vocabulary.
StageName = Literal["steps-only", "early", "middle", "late", "independent"]
SHEETS: dict[Sheet, str] = {
    "theatre": "theatre sheet", "preparation": "preparation", "card": "wall card", "debrief": "debrief sheet",
}  # fmt: skip
ENDINGS: dict[Format, str] = {"pdf": ".pdf", "html": ".html", "text": ".txt", "json": ".json"}
# From so many cases on, processes gain more than they cost (tests/bench/README.md).
SHARED_FROM: dict[Format, int] = {"pdf": 2, "html": 100, "text": 100, "json": 100}


def plan(
    cases: CaseArguments,
    output: Annotated[str | None, option("--output", "FILE|DIR", "Where to; a folder for many.", "-o")] = None,
    format: Annotated[Format | None, option("--format", None, "[default: from the ending of -o, else pdf]")] = None,
    unit: UnitOption = None,
    rules: RulesOption = None,
    on: OnOption = None,
    stage: Annotated[
        StageName | None, option("--stage", None, "Plan for this stage. [default: the case's own]")
    ] = None,
    trainee: Annotated[str | None, option("--trainee", "ID", "Plan for this trainee of the unit.")] = None,
    sheet: Annotated[
        Sheet | None,
        option("--sheet", None, "One sheet alone (PDF only). [default: theatre sheet, then preparation]"),
    ] = None,
) -> None:
    """Write the surgical plan of each case.

    One case goes to -o, or to a PDF named after the case and eye; text, HTML and JSON go to standard output without
    -o. Many cases go to a folder, one file each; rows that cannot be read are set aside there in a file of their own.

    `planner plan read plan.pdf` prints the case that a plan was made from (a case file called read is ./read here).

    Example: planner plan case.yaml -o plan.pdf
    """
    if stage and trainee:
        raise typer.BadParameter("give either --stage or --trainee, not both", param_hint="--stage")
    if trainee and not unit:
        raise typer.BadParameter("--trainee needs --unit, whose file lists the trainees", param_hint="--trainee")

    form = format or _form_of(output or "")
    if sheet and form != "pdf":
        raise typer.BadParameter(f"the {SHEETS[sheet]} is printed as PDF only", param_hint="--sheet")

    from planner.assess.assess import assessor
    from planner.batch.batch import Batch
    from planner.batch.writing import Destination
    from planner.case import Case
    from planner.plan.make import make_plan

    rulebook = rulebook_in(rules)
    ours = unit_in(unit, rulebook)
    at = ours.stage_of(trainee, rulebook) if ours and trainee else stage
    batch = Batch(cases, rulebook.vocabulary)
    ending = f"-{sheet}{ENDINGS[form]}" if sheet else ENDINGS[form]
    destination = Destination(output, ending, batch.many, to_stdout=form != "pdf", inputs=cases)
    # Loaded once, before the work is shared out.
    judge, printed = assessor(rulebook), printer(form, sheet, batch.many)

    def make(case: Case) -> bytes:
        return printed(make_plan(judge.assess(case, ours, day(on)), rulebook, ours, at))

    batch.run(make, destination.put, destination.folder, destination.of, SHARED_FROM[form])


def _form_of(output: str) -> Format:
    """By its ending, PDF where that names none."""
    return next((form for form, ending in ENDINGS.items() if output.endswith(ending)), "pdf")


def printer(form: Format, sheet: Sheet | None, many: bool) -> "Callable[[Plan], bytes]":
    """What prints a plan in one of its forms, loaded and ready."""
    match form, sheet:
        case "pdf", "card":
            from planner.documents.card.sheet import render_card

            return render_card
        case "pdf", "debrief":
            from planner.documents.debrief.sheet import render_debrief

            return render_debrief
        case "pdf", _:
            from planner.documents.printing.pdf import PARTS, render_pdf

            parts = tuple(part for part in PARTS if sheet in (None, part))
            return lambda plan: render_pdf(plan, parts)
        case "html", _:
            from planner.documents.printing.html import render_html

            return lambda plan: render_html(plan).encode()
        case "text", _:
            from planner.documents.plan.text import render_text

            return lambda plan: render_text(plan, PAGE_WIDTH).encode()
        case _:
            from planner.documents.json_form import plan_json

            return lambda plan: in_json(plan_json(plan), many).encode() + b"\n"
