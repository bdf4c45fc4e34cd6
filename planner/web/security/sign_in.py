"""Signing in and out."""

from __future__ import annotations

import hmac
import secrets
from typing import Annotated

from fastapi import APIRouter, Depends, HTTPException, Query, Request
from starlette.datastructures import FormData
from starlette.responses import JSONResponse, RedirectResponse, Response

from planner.web.security.authorisation import Anybody, Posted, SignedIn, cookie_name, session_token
from planner.web.server.forms import Form
from planner.web.server.presenting import page
from planner.web.server.site import Site, active_person, site_of

router = APIRouter()
# Before anybody is signed in there is no session to tie a form to: this cookie and the form must agree.
START = "planner-start"


class SignInForm(Form):
    """`next` is the address that was asked for before signing in."""

    code: str = ""
    password: str = ""
    next: str = ""


async def posted_at_sign_in(request: Request) -> FormData:
    """The sign-in form, once it is found to come from a page that this server gave this browser."""
    form = await request.form(max_files=0, max_fields=10)
    sent, held = form.get("token"), request.cookies.get(START, "")
    if not held or not isinstance(sent, str) or not hmac.compare_digest(sent.encode(), held.encode()):
        raise HTTPException(403, "The sign-in page was too old, or cookies are off. Load it again and sign in.")
    return form


def signing_in(form: Annotated[FormData, Depends(posted_at_sign_in)]) -> SignInForm:
    return SignInForm.of(form)


@router.get("/sign-in")
def ask(request: Request, visitor: Anybody, next: Annotated[str, Query(max_length=500)] = "") -> Response:
    if visitor is not None:
        return RedirectResponse(_own_path(next), 303)
    return _form(request, next)


@router.post("/sign-in")
def sign_in(request: Request, visitor: Anybody, form: Annotated[SignInForm, Depends(signing_in)]) -> Response:
    site, code, wanted = site_of(request), form.code, form.next
    address = request.client.host if request.client else "unknown"
    wait = site.throttle.begin(code, address)
    if wait:
        in_words = f"{wait} seconds" if wait < 90 else f"{-(-wait // 60)} minutes"
        told = f"Too many tries. The next one is looked at in {in_words}."
        answer = _form(request, wanted, code, told, 429)
        answer.headers["Retry-After"] = str(wait)
        return answer
    right = _checked(site, code.strip(), form.password)
    if right is None:
        site.throttle.failed(address)
        return _form(request, wanted, code, "The code and the password do not belong together.", 401)
    site.throttle.succeeded(code)
    site.sessions.end(session_token(request))
    answer = RedirectResponse(_own_path(wanted), 303)
    _set_cookie(answer, site, cookie_name(site.settings.secure_cookies), site.sessions.begin(code.strip(), right))
    answer.delete_cookie(START, path="/")
    return answer


@router.post("/sign-out")
def sign_out(request: Request, visitor: SignedIn, form: Posted) -> Response:
    site = site_of(request)
    site.sessions.end(session_token(request))
    answer = RedirectResponse("/sign-in", 303)
    answer.delete_cookie(cookie_name(site.settings.secure_cookies), path="/")
    # What the browser kept of the pages goes with the session.
    answer.headers["Clear-Site-Data"] = '"cache"'
    return answer


@router.get("/form-token")
def form_token(request: Request, visitor: SignedIn) -> Response:
    """The token that forms carry, for a page that was open while its person signed in again.

    Another host's page may send for it, and may not read it.
    """
    return JSONResponse({"code": visitor.code, "token": visitor.csrf})


@router.get("/")
def start(request: Request, visitor: SignedIn) -> Response:
    if visitor.role == "administrator":
        return page(request, "accounts.html")
    return RedirectResponse("/cases", 303)


def _checked(site: Site, code: str, password: str) -> str | None:
    """The hash that the password fits, None when anything about code or password is wrong."""
    held = site.store.password_hash(code) if active_person(site.store, code) else None
    fits = site.passwords.check(held, password)
    if fits is not None and fits != held:
        site.store.set_password_hash(code, fits, code)
    return fits


def _form(request: Request, wanted: str, code: str = "", wrong: str = "", status: int = 200) -> Response:
    token = request.cookies.get(START) or secrets.token_urlsafe(32)
    answer = page(request, "sign_in.html", status, next=wanted, code=code, wrong=wrong, token=token)
    _set_cookie(answer, site_of(request), START, token)
    return answer


def _set_cookie(answer: Response, site: Site, name: str, value: str) -> None:
    secure = site.settings.secure_cookies
    answer.set_cookie(name, value, httponly=True, samesite="strict", secure=secure, path="/")


def _own_path(wanted: str) -> str:
    """Where to go on to: a path of this server, never another host's address."""
    # What begins with one slash names no host, and so needs no parsing, which refuses some addresses with an error.
    inside = wanted.startswith("/") and not wanted.startswith(("//", "/\\")) and wanted.isprintable()
    return wanted if inside else "/"
