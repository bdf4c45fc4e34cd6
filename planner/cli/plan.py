"""`planner plan`: the surgical plan of each case, as PDF, HTML, text or JSON."""

from enum import StrEnum
from typing import TYPE_CHECKING, Annotated

import typer

from planner.cli.options import CaseArguments, OnOption, RulesOption, UnitOption, day, rulebook_in, unit_in

if TYPE_CHECKING:
    from planner.plan.plan import Plan

PAGE_WIDTH = 100


class Format(StrEnum):
    PDF = "pdf"
    HTML = "html"
    TEXT = "text"
    JSON = "json"


ENDINGS = {Format.PDF: ".pdf", Format.HTML: ".html", Format.TEXT: ".txt", Format.JSON: ".json"}


# `planner.case` knows them too; written out here so that --help need not load the vocabulary.
class StageName(StrEnum):
    STEPS_ONLY = "steps-only"
    EARLY = "early"
    MIDDLE = "middle"
    LATE = "late"
    INDEPENDENT = "independent"


def plan(
    cases: CaseArguments,
    output: Annotated[
        str | None,
        typer.Option("-o", "--output", metavar="FILE|DIR", help="Where to; a folder for many.", show_default=False),
    ] = None,
    format: Annotated[
        Format | None, typer.Option("--format", help="[default: from the ending of -o, else pdf]", show_default=False)
    ] = None,
    unit: UnitOption = None,
    rules: RulesOption = None,
    on: OnOption = None,
    stage: Annotated[
        StageName | None,
        typer.Option("--stage", help="Plan for this stage. [default: the case's own]", show_default=False),
    ] = None,
    trainee: Annotated[
        str | None,
        typer.Option("--trainee", metavar="ID", help="Plan for this trainee of the unit.", show_default=False),
    ] = None,
) -> None:
    """Write the surgical plan of each case.

    One case goes to -o, or to a PDF named after the case and eye; text, HTML and JSON go to standard output without
    -o. Many cases go to a folder, one file each; rows that cannot be read are set aside there in a file of their own.

    Example: planner plan case.yaml -o plan.pdf
    """
    if stage and trainee:
        raise typer.BadParameter("give either --stage or --trainee, not both", param_hint="--stage")
    if trainee and not unit:
        raise typer.BadParameter("--trainee needs --unit, whose file lists the trainees", param_hint="--trainee")

    from planner.assess.assess import assess
    from planner.case import Case
    from planner.cli.batch import Batch
    from planner.cli.destination import Destination
    from planner.plan.make import make_plan

    form = format or next((form for form, ending in ENDINGS.items() if output and output.endswith(ending)), Format.PDF)
    rulebook = rulebook_in(rules)
    held = unit_in(unit, rulebook)
    at = held.stage_of(trainee, rulebook) if held and trainee else stage.value if stage else None
    batch = Batch(cases, rulebook.vocabulary)
    destination = Destination(output, ENDINGS[form], batch.many, to_stdout=form is not Format.PDF, inputs=cases)

    def one(case: Case) -> None:
        path = destination.path(case.reference, case.eye)
        content = render(make_plan(assess(case, rulebook, held, day(on)), rulebook, held, at), form, batch.many)
        destination.write(path, content)

    batch.run(one, destination.folder)


def render(plan: "Plan", form: Format, many: bool) -> bytes:
    """The plan in one of its printed forms."""
    match form:
        case Format.PDF:
            from planner.documents.pdf import render_pdf

            return render_pdf(plan)
        case Format.HTML:
            from planner.documents.html import render_html

            return render_html(plan).encode()
        case Format.TEXT:
            from planner.documents.text import render_text

            return render_text(plan, PAGE_WIDTH).encode()
        case Format.JSON:
            from planner.cli.assess import in_json
            from planner.documents.json_form import plan_json

            return in_json(plan_json(plan), many).encode() + b"\n"
