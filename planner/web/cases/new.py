"""Entering a case: the unit's reference, the side, and nothing that says who the patient is."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, Depends, Request
from starlette.responses import RedirectResponse, Response

from planner.errors import PlannerError
from planner.records.identifiers import reference_fault
from planner.web.security.authorisation import Preparing
from planner.web.server.forms import Form, Text, up_to
from planner.web.server.presenting import page
from planner.web.server.site import site_of
from planner.web.server.urls import case_path

router = APIRouter()
Reference = Annotated[Text, up_to(60, "at most 60 letters fit a printed line")]


class NewCase(Form):
    case: Reference = ""
    patient: Reference = ""
    eye: Literal["right", "left", ""] = ""
    planned_stage: Text = ""


@router.get("/cases/new")
def blank(request: Request, visitor: Preparing) -> Response:
    return _page(request, NewCase(), {})


@router.post("/cases/new")
def enter(request: Request, visitor: Preparing, form: Annotated[NewCase, Depends(NewCase.read)]) -> Response:
    site, wrong = site_of(request), _wrong(form)
    if wrong:
        return _page(request, form, wrong, (), 422)
    document = {name: text for name, text in form.model_dump().items() if text}
    document |= {"recorded_on": site.day_here().isoformat(), "examined_by": visitor.code}
    try:
        site.store.new_case(document, visitor.code)
    except PlannerError as error:
        return _page(request, form, {}, tuple(map(str, error.faults)), 422)
    case = site.store.find_case(form.case, form.eye)
    assert case is not None
    return RedirectResponse(case_path(case), 303)


def _wrong(form: NewCase) -> dict[str, str]:
    """Why each field is refused."""
    wrong = {}
    if not form.case:
        wrong["case"] = "a plan must name its case; write the unit's own reference, such as A-104"
    for name, text in (("case", form.case), ("patient", form.patient)):
        if text and (fault := reference_fault(text, name)):
            wrong[name] = f"{fault.what}: {fault.why}; write {fault.hint}"
        elif name in form.wrong:
            wrong[name] = form.wrong[name]
    if not form.eye:
        wrong["eye"] = "choose the side; a plan without a side could be used on the wrong eye"
    return wrong


def _page(
    request: Request,
    form: NewCase,
    wrong: dict[str, str] | None = None,
    faults: tuple[str, ...] = (),
    status: int = 200,
) -> Response:
    stages = [(stage.id, stage.label) for stage in site_of(request).rulebook.stages.stages]
    return page(request, "new_case.html", status, written=form, wrong=wrong, faults=faults, stages=stages)
