"""Where a case's pages are, and the look-up of a case by them."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import quote

from fastapi import Depends, Request
from starlette.convertors import StringConvertor, register_url_convertor
from starlette.exceptions import HTTPException

from planner.records.rows import CaseNow, StoredCase
from planner.web.server.site import site_of


class EyeConvertor(StringConvertor):
    """The side of an eye in an address; a reference may hold a slash, and so takes the rest."""

    regex = "right|left"


register_url_convertor("eye", EyeConvertor())
CASE = "/cases/{reference:path}/{eye:eye}"
APPROVAL = "/approvals/{reference:path}/{eye:eye}"
LISTING = "/lists/place/{reference:path}/{eye:eye}"
SESSION = "/lists/session/{session}"


def case_path(case: StoredCase, page: str = "") -> str:
    """The address of a case, or of one of its pages."""
    return f"/cases/{quote(case.reference, safe='')}/{case.eye}" + (f"/{page}" if page else "")


def approval_path(case: StoredCase, page: str = "") -> str:
    """Where a consultant decides on a case."""
    return "/approvals" + case_path(case, page).removeprefix("/cases")


def list_path(case: StoredCase) -> str:
    """Where a case is given its place on a list."""
    return "/lists/place" + case_path(case).removeprefix("/cases")


def session_path(session: str) -> str:
    """The address of a session's list."""
    return f"/lists/session/{quote(session, safe='')}"


def find(request: Request, reference: str, eye: str) -> StoredCase:
    """The case of an address; 404 where there is none."""
    case = site_of(request).store.find_case(reference, eye) if reference.isprintable() else None
    if case is None:
        raise HTTPException(404)
    return case


def case_now(request: Request, reference: str, eye: str) -> CaseNow:
    """The case of an address as it stands; 404 where there is none."""
    return site_of(request).store.case_now(find(request, reference, eye).id)


# Stands after the route's form, so that nobody without its token learns which cases there are.
CaseAsked = Annotated[CaseNow, Depends(case_now)]
