"""Schemathesis, an outside fuzzer of OpenAPI services, at every route of the running server, as each role and nobody.

With `tests/run --long` there are ten times as many forms and addresses, on either kind of database.
"""

from __future__ import annotations

import datetime
import logging
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from urllib.parse import quote, unquote

import awkward_prints
import pytest
import requests
import schemathesis
from every_state import APPROVED, DRAFT, LISTED, SENT_BACK, SUBMITTED, every_state
from fastapi import FastAPI
from fastapi.routing import APIRoute
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis.strategies import just
from openapi_document import APPROVAL, CASE, DAY, FORM, LISTING, NOW, ROSTER, SESSION, TAMPERED, document, undescribed
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import content_type_conformance, status_code_conformance
from seeds import draws, one_in, some_of
from served import coming_sessions, staffed
from visits import PASSWORD, Clock, Visit

from planner.desk.lists import lists_now
from planner.lists.roster.entries import entries_of
from planner.lists.roster.shapes import Roster
from planner.lists.week.lists_file import written
from planner.records.roles import ROLES
from planner.records.rows import RosterChange
from planner.records.store import Store
from planner.rulebook.rulebook import Rulebook
from planner.web.approvals.case import digest
from planner.web.cases import plan as plan_page
from planner.web.lists import printing as lists_print
from planner.web.security.authorisation import roles_allowed_on
from planner.web.security.security_headers import CONTENT_POLICY
from planner.web.server.site import Site

# Forms or addresses that each route is tried with, well-formed ones and malformed ones.
EXAMPLES = draws(2, 20)
KINDS = ["sqlite", pytest.param("postgresql", marks=pytest.mark.long)]
CODES = {role: f"{role}-1" for role in ROLES} | {"trainee": "trainee-3"}
CHECKS = [not_a_server_error, status_code_conformance, content_type_conformance]
# Whose form is taken, where, as the page sends it: each goes on from where the one before left the case.
TAKEN = [
    ("trainee", "/notices/seen", ""),
    ("trainee", CASE + "/answer", SENT_BACK),
    ("trainee", CASE + "/submit", SENT_BACK),
    ("trainee", CASE + "/hand-over", DRAFT),
    ("trainee", CASE, DRAFT),
    ("trainee", CASE + "/settle", DRAFT),
    ("consultant", APPROVAL, SENT_BACK),
    ("consultant", APPROVAL + "/withdraw", SENT_BACK),
    ("consultant", APPROVAL + "/send-back", SUBMITTED),
    ("organiser", LISTING, APPROVED),
    ("organiser", "/lists/all/change", ""),
    ("consultant", SESSION + "/publish", ""),
    ("organiser", DAY + "/take-off", ""),
    ("organiser", ROSTER, ""),
    ("organiser", "/roster/take/enter", ""),
    ("organiser", ROSTER + "/earlier", ""),
    ("organiser", ROSTER + "/retire", ""),
    ("organiser", "/sign-out", ""),
]
# It may run for minutes, and slow examples are no fault of the pages.
FUZZ = settings(
    deadline=None, database=None, derandomize=False, phases=(Phase.generate,), suppress_health_check=list(HealthCheck)
)  # fmt: skip


@pytest.fixture(params=KINDS)
def store(request: pytest.FixtureRequest, tmp_path: Path, clock: Clock) -> Iterator[Store]:
    sqlite = f"sqlite:///{tmp_path / 'planner.db'}"
    opened = staffed(sqlite if request.param == "sqlite" else request.getfixturevalue("database_url"), clock)
    yield opened
    opened.close()


@pytest.fixture
def roster(rulebook: Rulebook) -> Roster:
    return coming_sessions(rulebook)


@pytest.fixture
def filled(store: Store, app: FastAPI, monkeypatch: pytest.MonkeyPatch) -> Store:
    site: Site = app.state.site
    # Setting type takes seconds, and is tested where it is done.
    monkeypatch.setattr(plan_page, "render_pdf", awkward_prints.blank)
    for name in ("render_brief", "render_weeks"):
        monkeypatch.setattr(lists_print, name, awkward_prints.blank)
    every_state(store, site.rulebook, site.unit, datetime.date.today())
    entries = entries_of(coming_sessions(site.rulebook))
    store.change_roster([RosterChange(one.kind, one.key, 0, one.document) for one in entries], "organiser-1")
    return store


def visitor(address: str, role: str | None) -> tuple[requests.Session, str]:
    """A session signed in, and the token its forms carry."""
    session = requests.Session()
    page = session.get(f"{address}/sign-in").text
    token = page.split('name="token" value="')[1].split('"')[0]
    if role is None:
        return session, token
    sent = {"token": token, "code": CODES[role], "password": PASSWORD, "next": ""}
    assert session.post(f"{address}/sign-in", data=sent, allow_redirects=False).status_code == 303
    return session, session.get(f"{address}/form-token").json()["token"]


def roles_of(app: FastAPI, operation: Any) -> tuple[str, ...]:
    return roles_allowed_on(routes(app)[operation.method.upper(), operation.path]) or ()


def routes(app: FastAPI) -> dict[tuple[str, str], APIRoute]:
    """Each route by method and path, the path as OpenAPI has it."""
    every = [route for route in app.routes if isinstance(route, APIRoute)]
    return {(method, route.path_format): route for route in every for method in route.methods or ()}


def days() -> list[str]:
    return [(datetime.date.today() + datetime.timedelta(days=n)).isoformat() for n in (7, 8)]


def operations(app: FastAPI, rulebook: Rulebook, address: str, token: str) -> Iterator[Any]:
    schema = schemathesis.openapi.from_dict(document(app, rulebook, days(), token))
    schema.config.base_url = address
    for found in schema.get_all_operations():
        yield found.ok()


def as_the_page(site: Site, case: Any) -> dict[str, str]:
    """What the page of the moment would send: its hidden fields, and what it cannot do without."""
    where = {name: unquote(str(value)) for name, value in (case.path_parameters or {}).items()}
    held = site.store.find_case(where["reference"], where["eye"]) if "reference" in where else None
    if held is None:
        placed = [now.allocation for now in site.store.cases(reference=LISTED) if now.allocation]
        unseen = site.store.notices(CODES["trainee"])
        place, notice = placed[0].id if placed else 0, unseen[0].id if unseen else 0
        now_listed = lists_now(site.desk)
        assert now_listed is not None
        lists = {"seen": now_listed.seen, "act": "up", "reference": LISTED, "eye": "left", "session": "tue-1-b"}
        lists |= {
            "supervisor": "consultant-1",
            "sure": "yes",
            "note": "seen",
            "proposal": written(now_listed.lists),
        }
        person = next(one for one in site.store.roster() if one.key == "consultant-1")
        lists |= {"key": person.key, "based_on": str(person.number), "version": "1", "f.grade": "consultant"}
        lists |= {"f.can": "scrubbed", "changes": "[]", "name": "roster.yaml", "aside": "none"}
        return lists | {"after": "0", "allocation": str(place), "notice": str(notice), "why": "ill"}
    now = site.store.case_now(held.id)
    plan, questions = site.desk.plans.planned(now.version).plan, site.store.questions(held.id)
    return {
        "version": str(now.version.number),
        "based_on": str(max(1, now.version.number - 1)) if case.path.endswith("/settle") else str(now.version.number),
        "seen": digest(plan) if plan else "",
        "submission": str(now.submission.id) if now.submission else "",
        "approval": str(now.approval.id) if now.approval else "",
        **{"owner": now.owner, "to": "trainee-5" if now.owner == "trainee-3" else "trainee-3"},
        "question": str(questions[0].id if questions else 0),
        **{"day": days()[0], "theatre": "theatre 1", "supervisor": "consultant-1", "text": "yes?", "why": "ill"},
    }


def fill_in(site: Site, case: Any, well_formed: bool) -> None:
    """Put in what the page would carry where that is asked for; in a well-formed form also where it was left out."""
    if isinstance(case.body, dict) and case.path not in ("/sign-in", "/cases/new"):
        real = as_the_page(site, case)
        case.body = {name: real.get(name, "") if value == NOW else value for name, value in case.body.items()}
        if well_formed:
            case.body = real | case.body


def test_forms_are_taken_as_the_page_sends_them(filled: Store, app: FastAPI, rulebook: Rulebook, address: str) -> None:
    """What the fuzzer starts from does get past the first refusals."""
    refused = []
    for role, path, reference in TAKEN:
        session, token = visitor(address, role)
        operation = next(o for o in operations(app, rulebook, address, token) if o.label == f"POST {path}")
        where = (
            {"reference": quote(reference, safe=""), "eye": "left"}
            if reference
            else {"day": days()[0], "session": "tue-1-a", "kind": "supervisor"}
        )
        form = {"token": token, "f.iop_mmhg": "19", "pick.iop_mmhg": "mine", "mine.iop_mmhg": "21"}
        case = operation.Case(path_parameters=where, body=form, media_type=FORM)
        fill_in(app.state.site, case, True)
        answer = case.call(session=session, allow_redirects=False)
        # What is settled was settled meanwhile by nobody else, so it is a conflict with the save before.
        if answer.status_code != (409 if path.endswith("/settle") else 303):
            refused.append((role, path, answer.status_code))
    assert refused == []


@pytest.mark.parametrize("role", some_of([*ROLES, None], "consultant"))
def test_no_form_or_address_brings_the_server_down(
    filled: Store, app: FastAPI, rulebook: Rulebook, address: str, role: str | None, caplog: pytest.LogCaptureFixture
) -> None:
    session, token = visitor(address, role)
    before, wrong = filled.verify(), []
    caplog.set_level(logging.WARNING)

    def send(case: Any, well_formed: bool) -> None:
        fill_in(app.state.site, case, well_formed)
        answer = case.call(session=session, allow_redirects=False)
        case.validate_response(answer, checks=CHECKS)
        assert "Traceback" not in answer.text
        pages = case.path.endswith((".html", ".pdf", ".ics", ".csv")) or answer.status_code == 303
        assert pages or answer.headers["content-security-policy"] == [CONTENT_POLICY]

    # A saved case waits no longer for approval, so the form of a case comes last.
    for operation in sorted(operations(app, rulebook, address, token), key=lambda found: found.path == CASE):
        # Signing out would end the session that the others need.
        if operation.path == "/sign-out":
            continue
        roles = roles_of(app, operation)
        for mode in (GenerationMode.POSITIVE, GenerationMode.NEGATIVE):
            # Nothing is malformed about an address that takes nothing.
            if mode == GenerationMode.NEGATIVE and not (operation.body or operation.query or operation.path_parameters):
                continue
            cases, well = operation.as_strategy(generation_mode=mode), just(mode == GenerationMode.POSITIVE)
            examples = EXAMPLES if not roles or role in roles else 1
            try:
                seed(5)(settings(FUZZ, max_examples=examples)(given(cases, well)(send)))()
            except (Exception, BaseExceptionGroup) as error:
                wrong.append(f"{operation.label} ({mode}): {error}")
    assert wrong == [], "\n\n".join(wrong)
    assert [record.getMessage() for record in caplog.records if record.levelno >= logging.ERROR] == []
    after = filled.verify(before.head)
    entered = {entry.who for entry in filled.trail(before.entries)}
    assert entered <= {CODES[role], "server"} if role else after == before


@pytest.mark.long
@pytest.mark.parametrize("role", [*ROLES, None])
def test_no_form_without_its_token_changes_anything(
    filled: Store, app: FastAPI, rulebook: Rulebook, address: str, role: str | None
) -> None:
    session, _ = visitor(address, role)
    before, wrong = filled.verify(), []
    stolen = visitor(address, "organiser" if role != "organiser" else "trainee")[1]

    def send(case: Any) -> None:
        fill_in(app.state.site, case, True)
        answer = case.call(session=session, allow_redirects=False)
        roles = roles_of(app, case.operation)
        expected = 403 if role or not roles else 401
        if answer.status_code != expected or filled.verify() != before:
            wrong.append((case.as_curl_command(), answer.status_code))

    # Some of these people's, one that is missing, and one that is another person's.
    for token in ("", "0" * 64, stolen):
        for operation in operations(app, rulebook, address, token):
            if operation.method == "post":
                form = operation.as_strategy(generation_mode=GenerationMode.POSITIVE)
                seed(5)(settings(FUZZ, max_examples=max(1, EXAMPLES // 5))(given(form)(send)))()
    assert wrong == []


@pytest.mark.long
def test_reading_changes_nothing_and_no_other_method_is_taken(
    filled: Store, app: FastAPI, rulebook: Rulebook, address: str
) -> None:
    before = filled.verify()
    for role in ROLES:
        session, token = visitor(address, role)
        for operation in operations(app, rulebook, address, token):
            where = operation.path.format(
                reference=quote(SUBMITTED, safe=""), eye="left", day=days()[0], session="tue-1-a", number="1",
                kind="session", view="people", name="roster.yaml",
            )  # fmt: skip
            taken = {
                found.method for found in operations(app, rulebook, address, token) if found.path == operation.path
            }
            for method in {"get", "put", "patch", "delete", "post"} - taken:
                answer = session.request(method, address + where, data={"token": token}, allow_redirects=False)
                assert answer.status_code == 405, (method, where)
            if operation.method == "get":
                assert session.get(address + where, allow_redirects=False).status_code in (
                    200,
                    303,
                    403,
                ) or operation.path.startswith(SESSION)
    # A lapse that nobody entered is the server's to enter, and nothing else is.
    assert {entry.who for entry in filled.trail(before.entries)} <= {"server"}


@pytest.mark.parametrize(
    "name", one_in(2, ["iop_mmhg", "biometry_reference", "none_found_in", "examined_by", "eye", "nonsense"])
)
def test_a_settled_value_that_no_page_wrote_is_refused(
    filled: Store, signed_in: Callable[[str], Visit], name: str
) -> None:
    visit, before = signed_in("trainee-3"), filled.verify()
    sent = {"token": visit.get("/form-token").json()["token"], "based_on": "1", f"pick.{name}": "mine"}
    for value in TAMPERED:
        answer = visit.post(f"/cases/{DRAFT}/left/settle", data=sent | {f"mine.{name}": value})
        assert answer.status_code == 400, value[:20]
    assert filled.verify() == before


def test_every_route_is_described(app: FastAPI, rulebook: Rulebook) -> None:
    assert undescribed(app, rulebook) == set(), "tests/openapi_document.py says nothing of its form or its answers"
