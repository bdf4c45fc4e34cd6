"""The lists that a page shows or changes, and the look-up of what an address or a form names in them."""

from __future__ import annotations

from starlette.exceptions import HTTPException
from starlette.requests import Request

from planner.desk.lists import ListsNow, lists_now
from planner.lists.roster.shapes import Session
from planner.lists.rules.people import supervisor_is_free, trainee_is_free
from planner.web.server.site import site_of


def lists_shown(request: Request) -> ListsNow:
    """The lists as they stand now; 404 where no roster is in force."""
    now = lists_now(site_of(request).desk)
    if now is None:
        raise HTTPException(404)
    return now


def session_named(lists: ListsNow, name: str) -> Session:
    """A session of the roster; 404 for any other."""
    if name not in lists.instance.sessions:
        raise HTTPException(404)
    return lists.instance.sessions[name]


def needed_at_once(lists: ListsNow, code: str) -> list[str]:
    """Where somebody is asked for in two rooms at one time, in the checker's words."""
    of_people = (supervisor_is_free.id, trainee_is_free.id)
    return [one.says for one in lists.verdict.broken if one.rule in of_people and code in one.people]
