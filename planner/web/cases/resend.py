"""A form that came after its session had ended: what was typed is handed back, to be sent once more."""

from __future__ import annotations

from fastapi import Request
from starlette.datastructures import FormData
from starlette.responses import Response

from planner.web.cases.answers import FINDING, HEADING
from planner.web.cases.fields import labels
from planner.web.server.forms import sent_again
from planner.web.server.presenting import page
from planner.web.server.site import site_of

# What prepares a case, or an entry of the roster, holds work that would be lost.
KEPT_FOR = ("/cases/", "/roster/entry/")


def may_be_handed_back(request: Request) -> bool:
    """Whether the form came from a page of this server; what another site sends is never put before a person again."""
    origin = request.headers.get("origin", "")
    # An origin is a scheme and a host; anything may be sent as one, so it is compared and not parsed.
    ours = origin.partition("://")[2] == request.headers.get("host") if origin else False
    return request.url.path.startswith(KEPT_FOR) and ours


def handed_back(request: Request, form: FormData, status: int) -> Response:
    """The page that holds what was typed: 401 for nobody, 403 for somebody who has signed in again."""
    visitor = getattr(request.state, "visitor", None)
    sent = sent_again(form)
    known = labels(site_of(request).rulebook.vocabulary)
    filled = [
        (known.get(name.removeprefix(FINDING).removeprefix(HEADING), name), value)
        for name, value in sent
        if value and name.startswith((FINDING, HEADING, "case", "note", "text"))
    ]
    token = visitor.csrf if visitor else ""
    return page(
        request, "again.html", status, sent=sent, filled=filled, token=token, signed_out=visitor is None
    )  # fmt: skip
