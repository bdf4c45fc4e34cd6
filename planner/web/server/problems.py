"""What is said when a page cannot be had: what happened, and what to try; what was typed is handed back."""

from __future__ import annotations

import logging
from urllib.parse import quote

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.responses import HTMLResponse, RedirectResponse, Response

from planner.errors import PlannerError
from planner.records.database import StoreUnavailableError
from planner.web.cases.answers import FINDING, HEADING
from planner.web.cases.fields import labels
from planner.web.security.authorisation import NotSignedInError, StaleFormError
from planner.web.security.security_headers import guard
from planner.web.server.forms import sent_again
from planner.web.server.presenting import is_partial, page
from planner.web.server.site import site_of

LOG = logging.getLogger("planner.web")

# Status: what happened, what to try.
SAID = {
    400: ("The request cannot be read", "Go back and try again from the page."),
    401: (
        "You are signed out",
        "Nothing was changed. Sign in in another window, come back to this page, and send it once more.",
    ),
    403: ("Not allowed", "Ask whoever keeps the accounts if you should be able to do this."),
    404: (
        "There is no such page",
        "Look for the case among the cases. The reference may have been written differently.",
    ),
    405: ("The page cannot be used like that", "Go back and try again from the page."),
    413: ("Too much was sent at once", "Nothing was changed. Save fewer fields at a time."),
    422: ("The request cannot be read", "Go back and try again from the page."),
    429: ("Too many tries", "Wait, then try again."),
    500: (
        "Something went wrong in the program",
        "What was acknowledged as saved is kept. Load the page again; "
        "if it happens twice, tell whoever runs the server the time and what you did.",
    ),
    503: (
        "The records cannot be reached",
        "Nothing of this was changed. Leave the page open and send it again in a minute; "
        "if it goes on, tell whoever runs the server.",
    ),
}

STALE = (
    "The form is older than your sign-in, so it was not taken. Nothing was changed. "
    "Go back, load the page again, and send it once more."
)


def problem(request: Request, status: int, detail: str = "", faults: tuple[str, ...] = ()) -> HTMLResponse:
    heading, remedy = SAID.get(status, SAID[400 if status < 500 else 500])
    template = "part_problem.html" if is_partial(request) else "problem.html"
    return page(request, template, status, heading=heading, detail=detail, faults=faults, remedy=remedy, code=status)


def handle_problems(app: FastAPI) -> None:
    """Give the application a plain page for each kind of trouble."""

    @app.exception_handler(NotSignedInError)
    async def not_signed_in(request: Request, _: Exception) -> Response:
        if request.method == "GET" and not is_partial(request):
            wanted = request.url.path + (f"?{request.url.query}" if request.url.query else "")
            return RedirectResponse(f"/sign-in?next={quote(wanted, safe='')}", 303)
        if may_be_handed_back(request):
            return handed_back(request, await request.form(max_files=0), 401)
        return problem(request, 401)

    @app.exception_handler(StaleFormError)
    def stale(request: Request, error: Exception) -> Response:
        assert isinstance(error, StaleFormError)
        if may_be_handed_back(request):
            return handed_back(request, error.form, 403)
        return problem(request, 403, STALE)

    @app.exception_handler(HTTPException)
    def refused(request: Request, error: Exception) -> Response:
        assert isinstance(error, HTTPException)
        # Starlette's own details only name the status.
        detail = error.detail if error.status_code == 403 else ""
        answer = problem(request, error.status_code, detail)
        answer.headers.update(error.headers or {})
        return answer

    @app.exception_handler(RequestValidationError)
    def unreadable(request: Request, _: Exception) -> Response:
        return problem(request, 422)

    @app.exception_handler(PlannerError)
    def faulty(request: Request, error: Exception) -> Response:
        assert isinstance(error, PlannerError)
        status = 503 if isinstance(error, StoreUnavailableError) else 400
        return problem(request, status, faults=tuple(map(str, error.faults)))

    @app.exception_handler(Exception)
    def failed(request: Request, error: Exception) -> Response:
        LOG.error("%s %s failed", request.method, request.url.path, exc_info=error)
        answer = problem(request, 500)
        # This answer is made outside the middleware that sets them.
        guard(answer.headers, site_of(request).settings.secure_cookies)
        return answer


# What prepares a case, or an entry of the roster, holds work that would be lost.
KEPT_FOR = ("/cases/", "/roster/entry/")


def may_be_handed_back(request: Request) -> bool:
    """Whether a form came from a page of this server; what another site sends is never put before a person again."""
    if request.method != "POST" or is_partial(request):
        return False
    origin = request.headers.get("origin", "")
    # An origin is a scheme and a host; anything may be sent as one, so it is compared and not parsed.
    ours = origin.partition("://")[2] == request.headers.get("host") if origin else False
    return request.url.path.startswith(KEPT_FOR) and ours


def handed_back(request: Request, form: FormData, status: int) -> Response:
    """The page that holds what was typed: 401 for nobody, 403 for somebody who has signed in again."""
    sent, known = sent_again(form), labels(site_of(request).rulebook.vocabulary)
    filled = [
        (known.get(name.removeprefix(FINDING).removeprefix(HEADING), name), value)
        for name, value in sent
        if value and name.startswith((FINDING, HEADING, "case", "note", "text"))
    ]
    return page(request, "again.html", status, sent=sent, filled=filled)
