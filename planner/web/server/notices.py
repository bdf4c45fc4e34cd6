"""What its person must hear of: an approval withdrawn or lapsed, a question, an answer, a place on a list."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Request
from starlette.exceptions import HTTPException
from starlette.responses import RedirectResponse, Response

from planner.records.rows import Notice
from planner.web.security.authorisation import Posted, SignedIn, Visitor
from planner.web.server.case_state import day_and_time
from planner.web.server.presenting import page
from planner.web.server.site import Site, site_of
from planner.web.server.urls import approval_path, case_path

router = APIRouter()
SEEN_SHOWN = 20


@dataclass(frozen=True)
class Line:
    """`path` leads to the case, in the page its person works in; empty where the notice is of none."""

    id: int
    text: str
    at: str
    by: str
    seen: str
    path: str


@router.get("/notices")
def notices(request: Request, visitor: SignedIn) -> Response:
    site = site_of(request)
    lines = [_line(site, visitor, notice) for notice in site.store.notices(visitor.code, unseen_only=False)]
    return page(
        request, "notices.html", fresh=[line for line in lines if not line.seen],
        seen=[line for line in lines if line.seen][:SEEN_SHOWN],
    )  # fmt: skip


@router.post("/notices/seen")
def see(request: Request, visitor: SignedIn, form: Posted) -> Response:
    """Mark one notice as seen, by the person it is for."""
    site = site_of(request)
    mine = {str(notice.id): notice.id for notice in site.store.notices(visitor.code)}
    named = str(form.get("notice", ""))
    if named in mine:
        site.store.see_notice(mine[named], visitor.code)
    elif named not in {str(notice.id) for notice in site.store.notices(visitor.code, unseen_only=False)}:
        raise HTTPException(404)
    return RedirectResponse("/notices", 303)


def _line(site: Site, visitor: Visitor, notice: Notice) -> Line:
    path = ""
    if notice.case_id is not None and visitor.role != "administrator":
        case = site.store.case(notice.case_id)
        path = approval_path(case) if visitor.role == "consultant" else case_path(case, "plan")
    seen = day_and_time(notice.seen) if notice.seen else ""
    return Line(notice.id, notice.text, day_and_time(notice.at), notice.by, seen, path)
