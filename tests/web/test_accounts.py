"""Signing in and out, sessions and their ends, waits between tries, and what an answer gives away."""

from __future__ import annotations

import hashlib
import statistics
import time
import unicodedata
from collections.abc import Callable
from typing import Any, Literal

import pytest
from argon2 import PasswordHasher, extract_parameters
from fastapi import FastAPI
from visits import CHEAP, PASSWORD, Clock, Visit

from planner.desk.desk import Desk
from planner.records.password_hashing import new_hash
from planner.records.store import Store
from planner.rulebook.rulebook import Rulebook
from planner.web.security.passwords import Passwords
from planner.web.server.app import make_app
from planner.web.server.settings import Settings

COOKIE = "planner"
WRONG = "The code and the password do not belong together."


def test_the_right_password_leads_to_the_cases(nobody: Visit) -> None:
    assert nobody.get("/cases").headers["location"] == "/sign-in?next=%2Fcases"
    assert nobody.sign_in("trainee-3", next="/cases?whose=all") == 303
    assert nobody.get("/cases").status_code == 200


# The last two are no addresses at all: RFC 3986, 3.2.2, lets a bracket only stand round an IP literal.
@pytest.mark.parametrize(
    "elsewhere",
    ["https://example.org/", "//example.org", "/\\example.org", "javascript:x", "a", "//[", "http://[example.org"],
)
def test_signing_in_leads_to_no_other_host(nobody: Visit, elsewhere: str) -> None:
    token = nobody.token("/sign-in")
    sent = {"token": token, "code": "trainee-3", "password": PASSWORD, "next": elsewhere}
    assert nobody.post("/sign-in", data=sent).headers["location"] == "/"


def test_the_cookie_is_kept_from_scripts_and_from_other_sites(nobody: Visit) -> None:
    token = nobody.token("/sign-in")
    answer = nobody.post("/sign-in", data={"token": token, "code": "trainee-3", "password": PASSWORD, "next": ""})
    (cookie,) = [line for line in answer.headers.get_list("set-cookie") if line.startswith(f"{COOKIE}=")]
    parts = {part.strip().lower() for part in cookie.split(";")[1:]}
    assert {"httponly", "samesite=strict", "path=/"} <= parts
    # 43 letters of base64 hold 256 bits.
    assert len(cookie.split(";")[0].removeprefix(f"{COOKIE}=")) >= 43


def test_over_https_the_cookie_is_secure_and_bound_to_the_host(store: Store, rulebook: Rulebook) -> None:
    visit = Visit(make_app(Desk(store, rulebook, None), Settings()), "https://planner.example")
    token = visit.token("/sign-in")
    answer = visit.post("/sign-in", data={"token": token, "code": "trainee-3", "password": PASSWORD, "next": ""})
    (cookie,) = [line for line in answer.headers.get_list("set-cookie") if line.startswith("__Host-")]
    assert "secure" in {part.strip().lower() for part in cookie.split(";")}
    assert "max-age" in answer.headers["strict-transport-security"]
    assert visit.get("/cases").status_code == 200


def test_the_store_holds_the_tokens_hash_and_never_the_token(signed_in: Callable[[str], Visit], store: Store) -> None:
    token = signed_in("trainee-3").cookies[COOKIE]
    assert store.session(token) is None
    held = store.session(hashlib.sha256(token.encode()).hexdigest())
    assert held is not None and held.person == "trainee-3" and token not in repr(held)


def test_signing_out_ends_the_session_on_the_server(signed_in: Callable[[str], Visit], app: FastAPI) -> None:
    visit = signed_in("trainee-3")
    kept = visit.cookies[COOKIE]
    assert visit.post("/sign-out", data={"token": visit.token()}).status_code == 303
    thief = Visit(app)
    thief.cookies.set(COOKIE, kept)
    assert thief.get("/cases").status_code == 303


def test_a_session_ends_when_it_stands_idle(signed_in: Callable[[str], Visit], clock: Clock) -> None:
    visit = signed_in("trainee-3")
    clock.forward(minutes=29)
    assert visit.get("/cases").status_code == 200
    # Being used starts the half hour again.
    clock.forward(minutes=29)
    assert visit.get("/cases").status_code == 200
    clock.forward(minutes=31)
    assert visit.get("/cases").status_code == 303


def test_a_session_ends_after_ten_hours_however_busy(store: Store, rulebook: Rulebook, clock: Clock) -> None:
    # Idle for as long as it likes: only the age ends it.
    busy = make_app(
        Desk(store, rulebook, None, clock=clock),
        Settings(secure_cookies=False, clock=clock, idle=10**6),
        Passwords(CHEAP),
    )
    visit = Visit(busy)
    assert visit.sign_in("trainee-3") == 303
    clock.forward(hours=9.9)
    assert visit.get("/cases").status_code == 200
    clock.forward(hours=0.2)
    assert visit.get("/cases").status_code == 303


def test_a_new_password_and_a_closed_account_end_sessions(signed_in: Callable[[str], Visit], store: Store) -> None:
    first, second = signed_in("trainee-3"), signed_in("trainee-5")
    store.set_password_hash("trainee-3", CHEAP.hash("another four words"), "command-line")
    store.change_person("trainee-5", "command-line", active=False)
    assert first.get("/cases").status_code == second.get("/cases").status_code == 303
    assert Visit(first.app).sign_in("trainee-5") == 401


def test_a_role_taken_away_is_gone_at_once(signed_in: Callable[[str], Visit], store: Store) -> None:
    visit = signed_in("trainee-3")
    store.change_person("trainee-3", "command-line", role="organiser")
    assert visit.get("/cases/new").status_code == 403


def answer_to(visit: Visit, code: str, password: str) -> str:
    sent = {"token": visit.token("/sign-in"), "code": code, "password": password, "next": ""}
    text = visit.post("/sign-in", data=sent).text
    return text.replace(f'value="{code}"', 'value="CODE"').replace(sent["token"], "TOKEN")


def test_an_unknown_code_gets_the_answer_of_a_wrong_password(nobody: Visit) -> None:
    known, unknown = answer_to(nobody, "trainee-3", "wrong"), answer_to(nobody, "trainee-9", "wrong")
    assert known == unknown and WRONG in known


@pytest.mark.parametrize("form", ["NFC", "NFD"])
def test_a_password_is_the_same_from_every_keyboard(form: Literal["NFC", "NFD"]) -> None:
    # Canonically equivalent strings: Unicode Standard Annex 15, from memory.
    stored = new_hash("vier gr\u00fcne Tannen hier", "trainee-3")
    assert Passwords().check(stored, unicodedata.normalize(form, "vier gr\u00fcne Tannen hier")) == stored
    assert Passwords().check(stored, "vier grune Tannen hier") is None


def test_an_unknown_code_takes_as_long_as_a_wrong_password() -> None:
    passwords = Passwords(PasswordHasher(time_cost=3, memory_cost=8192, parallelism=1))
    stored = passwords.hasher.hash(PASSWORD)

    def took(held: str | None) -> float:
        begun = time.perf_counter()
        passwords.check(held, "wrong")
        return time.perf_counter() - begun

    times = [(took(stored), took(None)) for _ in range(15)]
    known, unknown = (statistics.median(column) for column in zip(*times, strict=True))
    # Without the stand-in hash an unknown code is answered a thousand times sooner.
    assert 0.4 < unknown / known < 2.5


def test_a_hash_with_older_parameters_is_renewed(app: FastAPI, store: Store) -> None:
    app.state.site.passwords.hasher = PasswordHasher(time_cost=2, memory_cost=64, parallelism=1)
    visit = Visit(app)
    assert visit.sign_in("trainee-3") == 303
    held = store.password_hash("trainee-3")
    assert held is not None and extract_parameters(held).memory_cost == 64
    assert visit.get("/cases").status_code == 200


def test_after_five_failures_the_account_waits_and_is_told_how_long(app: FastAPI, clock: Clock) -> None:
    visit = Visit(app)
    assert [visit.sign_in("trainee-3", "wrong") for _ in range(5)] == [401] * 5
    token = visit.token("/sign-in")
    answer = visit.post("/sign-in", data={"token": token, "code": "trainee-3", "password": PASSWORD, "next": ""})
    assert answer.status_code == 429 and "looked at in" in answer.text and int(answer.headers["retry-after"]) <= 15
    # Another account from the same address is not kept waiting.
    assert Visit(app).sign_in("trainee-5") == 303
    clock.forward(seconds=16)
    assert visit.sign_in("trainee-3") == 303
    # Success forgives: the next failure is the first one.
    assert Visit(app).sign_in("trainee-3", "wrong") == 401


def test_the_wait_grows_and_ends_at_a_quarter_of_an_hour(app: FastAPI, clock: Clock) -> None:
    visit, waits = Visit(app), []
    for _ in range(22):
        token = visit.token("/sign-in")
        answer = visit.post("/sign-in", data={"token": token, "code": "nobody-7", "password": "x", "next": ""})
        if answer.status_code == 429:
            waits.append(int(answer.headers["retry-after"]))
            clock.forward(seconds=waits[-1] + 1)
    assert waits[:4] == [15, 30, 60, 120] and max(waits) == 15 * 60


def test_an_address_that_fails_on_many_accounts_waits(app: FastAPI) -> None:
    visit = Visit(app)
    assert [visit.sign_in(f"nobody-{number}", "wrong") for number in range(20)] == [401] * 20
    assert visit.sign_in("trainee-3") == 429


def test_a_sign_in_form_that_came_from_elsewhere_is_refused(nobody: Visit) -> None:
    sent: dict[str, Any] = {"code": "trainee-3", "password": PASSWORD, "next": ""}
    assert nobody.post("/sign-in", data=sent).status_code == 403
    assert nobody.post("/sign-in", data={**sent, "token": ""}).status_code == 403


@pytest.mark.parametrize("code", ["", "\x00", "x" * 5000, "trainee-3'--", "ü"])
def test_what_is_no_code_is_answered_like_any_wrong_one(nobody: Visit, code: str) -> None:
    assert nobody.sign_in(code) == 401
