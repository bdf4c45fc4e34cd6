"""Pages from templates: everything escaped, a missing name is an error, the frame's own words filled in."""

from __future__ import annotations

from contextlib import suppress
from functools import cache

from jinja2 import Environment
from starlette.requests import Request
from starlette.responses import HTMLResponse

from planner.documents.figures import day
from planner.documents.printing.fonts import FACES
from planner.documents.printing.html import templates_in
from planner.records.database import StoreUnavailableError
from planner.records.roles import BUILDERS, DECIDERS, READERS
from planner.shipped import templates_folder
from planner.web.server.case_state import clock_time, day_and_time
from planner.web.server.site import approval_path, case_path, list_path, session_path, site_of
from planner.wording.people import mode_words, names, supervised_by, under
from planner.wording.tier import short_readings
from planner.wording.words import day_words, eye_words, percent, side_of


def places(role: str) -> list[tuple[str, str]]:
    """Where a role's work is, in the order the pages are named at the top."""
    every = (
        ("/approvals", "Approvals", DECIDERS),
        ("/lists", "Lists", BUILDERS),
        ("/roster", "Roster", BUILDERS),
        ("/cases", "Cases", READERS),
    )
    return [(path, label) for path, label, roles in every if role in roles]


@cache
def environment() -> Environment:
    made = templates_in(templates_folder() / "web")
    paths = (case_path, approval_path, list_path, session_path)
    words = (day_words, eye_words, side_of, percent, clock_time, short_readings, mode_words)
    for said in (*paths, *words, names, under, supervised_by):
        made.globals[said.__name__] = said
    made.globals |= {"when": day_and_time, "long_date": day}
    return made


def page(request: Request, template: str, status: int = 0, **values: object) -> HTMLResponse:
    """One page, or part of one, in the frame's terms; without another status 422 where it tells `faults`, else 200."""
    visitor, unseen = getattr(request.state, "visitor", None), 0
    site = site_of(request)
    book = site.rulebook
    # None are counted where the records cannot be reached, which is then what the page says.
    with suppress(StoreUnavailableError):
        unseen = len(site.store.notices(visitor.code)) if visitor else 0
    made = environment().get_template(template).render(
        visitor=visitor,
        places=places(visitor.role) if visitor else [],
        here=request.url.path,
        faces=[name for _, _, name in FACES],
        unseen=unseen,
        read_at=site.settings.clock().isoformat(),
        deferral=book.theatre.deferral[0],
        draft_line="" if book.header.status == "in-force" else book.header.draft_line,
        **values,
    )  # fmt: skip
    return HTMLResponse(made, status or (422 if values.get("faults") else 200))


def is_partial(request: Request) -> bool:
    """Whether the page's own script asked, so that a part of the page is enough."""
    return request.headers.get("HX-Request") == "true"
