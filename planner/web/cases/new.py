"""Entering a case: the unit's reference, the side, and nothing that says who the patient is."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from planner.errors import PlannerError
from planner.records.identifiers import reference_fault
from planner.web.security.authorisation import Posted, Preparing
from planner.web.server.presenting import page
from planner.web.server.site import site_of
from planner.web.server.urls import case_path

router = APIRouter()
FIELDS = ("case", "patient", "eye", "planned_stage")


@router.get("/cases/new")
def blank(request: Request, visitor: Preparing) -> Response:
    return _form(request, {}, {}, ())


@router.post("/cases/new")
def enter(request: Request, visitor: Preparing, form: Posted) -> Response:
    site = site_of(request)
    written = {name: str(form.get(name, "")).strip() for name in FIELDS}
    wrong = _wrong(written)
    if wrong:
        return _form(request, written, wrong, (), 422)
    document = {name: text for name, text in written.items() if text}
    document |= {"recorded_on": site.day_here().isoformat(), "examined_by": visitor.code}
    try:
        site.store.new_case(document, visitor.code)
    except PlannerError as error:
        return _form(request, written, {}, tuple(map(str, error.faults)), 422)
    case = site.store.find_case(written["case"], written["eye"])
    assert case is not None
    return RedirectResponse(case_path(case), 303)


def _wrong(written: dict[str, str]) -> dict[str, str]:
    """Why each field is refused."""
    wrong = {}
    if not written["case"]:
        wrong["case"] = "a plan must name its case; write the unit's own reference, such as A-104"
    for name in ("case", "patient"):
        if written[name] and (fault := reference_fault(written[name], name)):
            wrong[name] = f"{fault.what}: {fault.why}; write {fault.hint}"
        elif len(written[name]) > 60:
            wrong[name] = "at most 60 letters fit a printed line"
    if written["eye"] not in ("right", "left"):
        wrong["eye"] = "choose the side; a plan without a side could be used on the wrong eye"
    return wrong


def _form(
    request: Request, written: dict[str, str], wrong: dict[str, str], faults: tuple[str, ...], status: int = 200
) -> Response:
    stages = [(stage.id, stage.label) for stage in site_of(request).rulebook.stages.stages]
    filled = {name: written.get(name, "") for name in FIELDS}
    return page(request, "new_case.html", status, written=filled, wrong=wrong, faults=faults, stages=stages)
