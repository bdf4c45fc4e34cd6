"""Who may come in: each route names the roles that may use it, else the server never starts."""

from __future__ import annotations

import hmac
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated

from fastapi import Depends, FastAPI, HTTPException, Request
from fastapi.dependencies.models import Dependant
from fastapi.routing import APIRoute
from starlette.datastructures import FormData
from starlette.routing import BaseRoute, Mount

from planner.records.roles import BUILDERS, DECIDERS, KEEPERS, PREPARERS, READERS, ROLES
from planner.web.security.sessions import csrf_of, sha256_of
from planner.web.server.site import active_person, site_of

SAFE_METHODS = {"GET", "HEAD", "OPTIONS"}
# Only letter forms and the page's own looks stand there.
OPEN_MOUNTS = {"/static", "/static/fonts"}


@dataclass(frozen=True)
class Visitor:
    """Whoever is signed in. `csrf` is the token that a form of theirs must carry."""

    code: str
    role: str
    csrf: str


class NotSignedInError(Exception):
    """Nobody is signed in, or the session's time is over."""


class StaleFormError(Exception):
    """A form whose token is not the session's: it is older than the sign-in, or came from elsewhere."""

    def __init__(self, form: FormData) -> None:
        super().__init__("stale form")
        self.form = form


class RolesAllowed:
    """A route's dependency: lets in the roles it names and gives the visitor; without a role it lets in anybody."""

    def __init__(self, *roles: str) -> None:
        assert set(roles) <= set(ROLES)
        self.roles = roles

    def __call__(self, request: Request) -> Visitor | None:
        visitor = visitor_of(request)
        request.state.visitor = visitor
        if not self.roles:
            return visitor
        if visitor is None:
            raise NotSignedInError
        if visitor.role not in self.roles:
            raise HTTPException(403, f"This page is for: {', '.join(self.roles)}. You are signed in as {visitor.role}.")
        return visitor


Anybody = Annotated[Visitor | None, Depends(RolesAllowed())]
SignedIn = Annotated[Visitor, Depends(RolesAllowed(*ROLES))]
Preparing = Annotated[Visitor, Depends(RolesAllowed(*PREPARERS))]
Deciding = Annotated[Visitor, Depends(RolesAllowed(*DECIDERS))]
Building = Annotated[Visitor, Depends(RolesAllowed(*BUILDERS))]
Reading = Annotated[Visitor, Depends(RolesAllowed(*READERS))]
Keeping = Annotated[Visitor, Depends(RolesAllowed(*KEEPERS))]


def cookie_name(secure: bool) -> str:
    # A `__Host-` cookie is taken only over https, from this host, for every path of it.
    return "__Host-planner" if secure else "planner"


def session_token(request: Request) -> str:
    return request.cookies.get(cookie_name(site_of(request).settings.secure_cookies), "")


def visitor_of(request: Request) -> Visitor | None:
    """Whoever the request's cookie stands for, None for nobody. The role is the one they have now."""
    site, token = site_of(request), session_token(request)
    session = site.sessions.find(token)
    person = active_person(site.store, session.person) if session else None
    if session is None or person is None:
        return None
    held = site.store.password_hash(person.code)
    if held is None or sha256_of(held) != session.secret:
        return None
    return Visitor(person.code, person.role, csrf_of(token))


async def posted(request: Request) -> FormData:
    """The form sent in, once its token is found to be the session's. Stands after the route's `RolesAllowed`."""
    return await _checked(request, 0)


async def posted_with_file(request: Request) -> FormData:
    """As `posted`, of a form that may hold one file."""
    return await _checked(request, 1)


async def _checked(request: Request, files: int) -> FormData:
    # How much may be sent at all is the middleware's to bound.
    form = await request.form(max_files=files, max_part_size=site_of(request).settings.largest_file)
    visitor: Visitor | None = getattr(request.state, "visitor", None)
    sent = form.get("token")
    if visitor is None or not isinstance(sent, str) or not hmac.compare_digest(sent.encode(), visitor.csrf.encode()):
        raise StaleFormError(form)
    return form


Posted = Annotated[FormData, Depends(posted)]
PostedWithFile = Annotated[FormData, Depends(posted_with_file)]


def roles_allowed_on(route: BaseRoute) -> tuple[str, ...] | None:
    """The roles that a route lets in, () for anybody, None where it says nothing."""
    if isinstance(route, Mount):
        return () if route.path in OPEN_MOUNTS else None
    if not isinstance(route, APIRoute):
        return None
    found = [call for call in _calls(route.dependant) if isinstance(call, RolesAllowed)]
    return found[0].roles if len(found) == 1 else None


def check_authorisation(app: FastAPI, checks_of_forms: Iterable[object]) -> None:
    """Refuse an application with a route that names no roles, or that takes a form without checking its token."""
    for route in app.routes:
        name = getattr(route, "path", repr(route))
        if roles_allowed_on(route) is None:
            raise RuntimeError(f"the route {name} does not say who may use it: give it one RolesAllowed")
        if not isinstance(route, APIRoute) or (route.methods or set()) <= SAFE_METHODS:
            continue
        if not set(_calls(route.dependant)) & set(checks_of_forms):
            raise RuntimeError(f"the route {name} takes a form and does not check its token")


def _calls(dependant: Dependant) -> Iterable[object]:
    for part in dependant.dependencies:
        yield part.call
        yield from _calls(part)
