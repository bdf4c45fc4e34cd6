"""Every route, as every role and as nobody, from one table; a route that is not in the table fails."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import awkward_prints
import pytest
from fastapi import APIRouter, FastAPI
from fastapi.routing import APIRoute
from starlette.routing import Mount

from planner.desk.desk import Desk
from planner.records.roles import ROLES
from planner.records.store import Store
from planner.rulebook.rulebook import Rulebook
from planner.web.cases import plan as plan_page
from planner.web.security import sign_in
from planner.web.security.authorisation import check_authorisation, posted, posted_with_file
from planner.web.server.app import make_app

PREPARING = ("trainee", "consultant")
READING = (*PREPARING, "organiser")
CASE = "/cases/{reference:path}/{eye:eye}"
BUILDING = ("organiser", "consultant")
LISTING = "/lists/place/{reference:path}/{eye:eye}"
SESSION = "/lists/session/{session}"
ROSTER = "/roster/entry/{kind}"
KEEPING = ("organiser",)
APPROVAL = "/approvals/{reference:path}/{eye:eye}"
# Method and route: who may use it. () is anybody, signed in or not.
ALLOWED: dict[tuple[str, str], tuple[str, ...]] = {
    ("GET", "/sign-in"): (),
    ("POST", "/sign-in"): (),
    ("POST", "/sign-out"): ROLES,
    ("GET", "/form-token"): ROLES,
    ("GET", "/"): ROLES,
    ("GET", "/cases"): READING,
    ("GET", "/cases/new"): PREPARING,
    ("POST", "/cases/new"): PREPARING,
    ("GET", CASE): PREPARING,
    ("POST", CASE): PREPARING,
    ("POST", CASE + "/settle"): PREPARING,
    ("GET", CASE + "/hand-over"): READING,
    ("POST", CASE + "/hand-over"): READING,
    ("GET", CASE + "/plan"): READING,
    ("GET", CASE + "/plan.html"): READING,
    ("GET", CASE + "/plan.pdf"): READING,
    ("GET", CASE + "/theatre.pdf"): READING,
    ("GET", CASE + "/preparation.pdf"): READING,
    ("POST", CASE + "/submit"): PREPARING,
    ("POST", CASE + "/answer"): PREPARING,
    ("GET", "/notices"): ROLES,
    ("POST", "/notices/seen"): ROLES,
    ("GET", "/approvals"): ("consultant",),
    ("GET", APPROVAL): ("consultant",),
    ("POST", APPROVAL): ("consultant",),
    ("POST", APPROVAL + "/send-back"): ("consultant",),
    ("POST", APPROVAL + "/withdraw"): ("consultant",),
    ("GET", "/lists"): BUILDING,
    ("POST", "/lists/all/change"): BUILDING,
    ("POST", "/lists/all/propose"): BUILDING,
    ("POST", "/lists/all/accept"): BUILDING,
    ("POST", "/lists/all/ask"): BUILDING,
    ("GET", "/lists/week.pdf"): BUILDING,
    ("GET", "/lists/lists.csv"): BUILDING,
    ("GET", "/lists/orders"): BUILDING,
    ("GET", "/lists/orders.csv"): BUILDING,
    ("GET", "/lists/lists.ics"): READING,
    ("GET", SESSION): READING,
    ("POST", SESSION + "/publish"): BUILDING,
    ("POST", SESSION + "/morning"): BUILDING,
    ("GET", SESSION + "/version/{number}"): READING,
    ("GET", SESSION + "/brief.pdf"): READING,
    ("GET", "/roster"): BUILDING,
    ("GET", "/roster/{view}"): BUILDING,
    ("GET", ROSTER): BUILDING,
    ("POST", ROSTER): KEEPING,
    ("POST", ROSTER + "/retire"): KEEPING,
    ("POST", ROSTER + "/earlier"): KEEPING,
    ("POST", "/roster/leave/change"): KEEPING,
    ("GET", "/roster/take/file"): KEEPING,
    ("POST", "/roster/take/look"): KEEPING,
    ("POST", "/roster/take/enter"): KEEPING,
    ("GET", "/roster/files/{name}"): BUILDING,
    ("GET", LISTING): BUILDING,
    ("POST", LISTING): BUILDING,
    ("GET", "/lists/{day}"): READING,
    ("POST", "/lists/{day}/take-off"): BUILDING,
}
CODES = {"trainee": "trainee-3", "consultant": "consultant-1", "organiser": "organiser-1"}
CODES["administrator"] = "administrator-1"


def filled(path: str) -> str:
    """The address of a route, of one case, one day and one session."""
    path = path.replace("{session}", "tue-1-a").replace("{number}", "1")
    path = path.replace("{kind}", "session").replace("{view}", "people").replace("{name}", "roster.yaml")
    return path.replace("{reference:path}", "A-104").replace("{eye:eye}", "right").replace("{day}", "2026-12-01")


def routes_of(app: FastAPI) -> set[tuple[str, str]]:
    found = set()
    for route in app.routes:
        if isinstance(route, Mount):
            assert route.path in ("/static", "/static/fonts")
            continue
        assert isinstance(route, APIRoute), route
        found |= {(method, route.path) for method in route.methods or ()}
    return found


def test_the_table_holds_every_route_and_no_other(app: FastAPI) -> None:
    assert routes_of(app) == set(ALLOWED)


@pytest.mark.parametrize("role", [*ROLES, None])
def test_each_route_lets_in_whom_the_table_names(
    app: FastAPI,
    store: Store,
    signed_in: Callable[[str], Any],
    nobody: Any,
    role: str | None,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # Setting type takes seconds, and who may have the pages does not hang on what is on them.
    monkeypatch.setattr(plan_page, "render_pdf", awkward_prints.blank)
    store.new_case({"case": "A-104", "eye": "right"}, "trainee-3")
    visit = signed_in(CODES[role]) if role else nobody
    token = visit.get("/form-token").json()["token"] if role else ""
    wrong = []
    # Signing out comes last, since it ends the session that the others need.
    for (method, path), roles in sorted(ALLOWED.items(), key=lambda entry: entry[0][1] == "/sign-out"):
        address = filled(path)
        sent = {"token": token, "based_on": "1", "version": "1"}
        answer = visit.request(method, address, data=sent if method == "POST" else None)
        barred = answer.status_code == 403 and "This page is for" in answer.text
        sent_away = answer.status_code == 401 or answer.headers.get("location", "").startswith("/sign-in?")
        expected = "in" if not roles or role in roles else "barred" if role else "sent away"
        seen = "barred" if barred else "sent away" if sent_away else "in"
        if seen != expected or answer.status_code >= 500:
            wrong.append((method, path, expected, seen, answer.status_code))
    assert wrong == []


@pytest.mark.parametrize("role", ROLES)
def test_no_form_is_taken_without_its_token(
    app: FastAPI, store: Store, signed_in: Callable[[str], Any], role: str
) -> None:
    case = store.new_case({"case": "A-104", "eye": "right"}, "trainee-3")
    visit = signed_in(CODES[role])
    for sent in ({}, {"token": ""}, {"token": "0" * 64}, {"token": "é"}):
        for method, path in ALLOWED:
            if method == "POST":
                address = filled(path)
                answer = visit.post(address, data={"based_on": "1", "f.age_years": "70", **sent})
                assert answer.status_code == 403, (path, sent)
    assert visit.get("/form-token").status_code == 200
    assert len(store.versions(case.case_id)) == 1


def test_another_sessions_token_is_refused(app: FastAPI, signed_in: Callable[[str], Any]) -> None:
    stolen = signed_in("trainee-5").get("/form-token").json()["token"]
    assert signed_in("trainee-3").post("/sign-out", data={"token": stolen}).status_code == 403


def test_a_server_with_a_route_that_names_no_roles_does_not_start(store: Store, rulebook: Rulebook) -> None:
    app = make_app(Desk(store, rulebook, None))
    router = APIRouter()
    router.add_api_route("/open", lambda: "anybody", methods=["GET"])
    app.router.routes.extend(router.routes)
    with pytest.raises(RuntimeError, match="/open does not say who may use it"):
        check_authorisation(app, (posted, posted_with_file, sign_in.posted_at_sign_in))


def test_a_server_with_a_form_whose_token_is_not_checked_does_not_start(store: Store, rulebook: Rulebook) -> None:
    app = make_app(Desk(store, rulebook, None))
    router = APIRouter()

    def change(visitor: sign_in.SignedIn) -> str:
        return "changed"

    router.add_api_route("/change", change, methods=["POST"])
    app.router.routes.extend(router.routes)
    with pytest.raises(RuntimeError, match="/change takes a form and does not check its token"):
        check_authorisation(app, (posted, posted_with_file, sign_in.posted_at_sign_in))
