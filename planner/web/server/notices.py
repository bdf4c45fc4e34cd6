"""What its person must hear of: an approval withdrawn or lapsed, a question, an answer, a place on a list."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Request
from starlette.exceptions import HTTPException
from starlette.responses import RedirectResponse, Response

from planner.records.rows import Notice
from planner.web.security.authorisation import SignedIn, Visitor
from planner.web.server.forms import Form, Number
from planner.web.server.presenting import page
from planner.web.server.site import Site, site_of
from planner.web.server.urls import approval_path, case_path

router = APIRouter()
SEEN_SHOWN = 20


class SeenNotice(Form):
    notice: Number = None


@router.get("/notices")
def notices(request: Request, visitor: SignedIn) -> Response:
    site = site_of(request)
    told = [(notice, _path(site, visitor, notice)) for notice in site.store.notices(visitor.code, unseen_only=False)]
    return page(
        request, "notices.html", fresh=[(notice, path) for notice, path in told if not notice.seen],
        seen=[(notice, path) for notice, path in told if notice.seen][:SEEN_SHOWN],
    )  # fmt: skip


@router.post("/notices/seen")
def see(request: Request, visitor: SignedIn, form: Annotated[SeenNotice, Depends(SeenNotice.read)]) -> Response:
    """Mark one notice as seen, by the person it is for."""
    store = site_of(request).store
    mine = {notice.id: notice for notice in store.notices(visitor.code, unseen_only=False)}
    if form.notice not in mine:
        raise HTTPException(404)
    if not mine[form.notice].seen:
        store.see_notice(form.notice, visitor.code)
    return RedirectResponse("/notices", 303)


def _path(site: Site, visitor: Visitor, notice: Notice) -> str:
    """Where its case is, in the page its person works in; empty where the notice is of none."""
    if notice.case_id is None or visitor.role == "administrator":
        return ""
    case = site.store.case(notice.case_id)
    return approval_path(case) if visitor.role == "consultant" else case_path(case, "plan")
