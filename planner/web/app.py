"""`make_app(store, rulebook, unit, settings)`: the pages put together into one application."""

from __future__ import annotations

from fastapi import FastAPI

from planner.desk.judge import Judge
from planner.documents.html import fonts_folder
from planner.documents.rendering import PrintQueue
from planner.lists.in_force import InForce
from planner.lists.roster import Roster
from planner.records.store import Store
from planner.rulebook.rulebook import Rulebook
from planner.shipped import templates_folder
from planner.unit import Unit
from planner.web import (
    approvals,
    approvals_case,
    approvals_decide,
    case_form,
    case_list,
    conflict,
    hand_over,
    lists,
    lists_change,
    lists_day,
    lists_morning,
    lists_orders,
    lists_place,
    lists_print,
    lists_propose,
    lists_session,
    new_case,
    notices,
    plan_page,
    roster_entry,
    roster_leave,
    roster_pages,
    roster_take,
    sign_in,
)
from planner.web.door import check_doors, posted, posted_with_file
from planner.web.looks import A_MONTH, ASKED_AGAIN, Looks
from planner.web.on_the_clock import OnTheClock
from planner.web.passwords import Passwords
from planner.web.problems import handle_problems
from planner.web.sessions import Sessions
from planner.web.settings import Settings
from planner.web.shield import Shield
from planner.web.site import Site
from planner.web.throttle import Throttle

# One module a page.
# The fixed addresses before those that hold a reference.
PAGES = (
    *(sign_in, notices, case_list, new_case, plan_page, conflict, hand_over, case_form),
    *(approvals, approvals_decide, approvals_case),
    *(lists, lists_change, lists_propose, lists_morning, lists_session, lists_orders, lists_print, lists_place),
    lists_day,
    *(roster_take, roster_leave, roster_entry, roster_pages),
)


def make_app(
    store: Store,
    rulebook: Rulebook,
    unit: Unit | None,
    settings: Settings | None = None,
    passwords: Passwords | None = None,
    roster: Roster | None = None,
    prints: PrintQueue | None = None,
) -> FastAPI:
    """The application over an open store; by the roster in it, else by that of a file, it judges and proposes lists.

    Whoever gives `prints` ends them; else their processes end with this one.
    Raises RuntimeError when a route does not say who may use it.
    """
    settings = settings or Settings()
    sessions, throttle = Sessions(store, settings), Throttle(store, settings)
    app = FastAPI(title=rulebook.header.title, openapi_url=None, docs_url=None, redoc_url=None)
    app.state.site = Site(
        store,
        rulebook,
        unit,
        settings,
        sessions,
        throttle,
        passwords or Passwords(),
        Judge(rulebook, unit),
        InForce(store, rulebook, unit, roster),
        prints or PrintQueue(),
    )
    for module in PAGES:
        # Not `include_router`, which hides the routes inside: each must be seen to have its door.
        app.router.routes.extend(module.router.routes)
    app.mount("/static/fonts", Looks(fonts_folder(), A_MONTH), "fonts")
    app.mount("/static", Looks(templates_folder() / "web" / "static", ASKED_AGAIN), "static")
    handle_problems(app)
    larger = dict.fromkeys(roster_take.TAKES_FILES, settings.largest_file)
    app.add_middleware(
        Shield, largest_request=settings.largest_request, secure=settings.secure_cookies, larger=larger
    )  # fmt: skip
    app.add_middleware(OnTheClock, zone=unit.clock if unit is not None else None)
    check_doors(app, (posted, posted_with_file, sign_in.posted_at_sign_in))
    return app
