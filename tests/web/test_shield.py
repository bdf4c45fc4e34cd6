"""Headers on every answer, sizes of requests, and the pages that say what went wrong.

The headers asked for are those of the OWASP HTTP Headers Cheat Sheet and of Content Security Policy Level 3 (W3C).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from fastapi import FastAPI

from planner.records.store import Store
from planner.web.cases import table

EVERYWHERE = {
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
}


def policy(answer: Any) -> dict[str, str]:
    parts = [part.strip() for part in answer.headers["content-security-policy"].split(";")]
    return {name: " ".join(values) for name, *values in (part.split() for part in parts)}


@pytest.mark.parametrize(
    "address", ["/sign-in", "/cases", "/nothing", "/static/site.css", "/static/none.css", "/form-token", "/cases/x"]
)
def test_every_answer_carries_the_headers(nobody: Any, address: str) -> None:
    answer = nobody.get(address)
    assert EVERYWHERE.items() <= answer.headers.items()
    held = policy(answer)
    assert held["default-src"] == "'none'" and held["script-src"] == held["style-src"] == "'self'"
    assert held["frame-ancestors"] == held["base-uri"] == "'none'" and held["form-action"] == "'self'"
    assert "unsafe" not in answer.headers["content-security-policy"]
    assert "server" not in answer.headers


def test_pages_are_not_kept_by_the_browser(signed_in: Callable[[str], Any]) -> None:
    assert signed_in("trainee-3").get("/cases").headers["cache-control"] == "no-store"


def test_styles_and_scripts_are_asked_for_again_and_letters_are_kept(nobody: Any) -> None:
    """RFC 9111, 5.2.2: `no-cache` may be stored and is validated each time; `max-age` is in seconds."""
    for address in ("/static/site.css", "/static/saving.js"):
        answer = nobody.get(address)
        assert answer.headers["cache-control"] == "no-cache"
        again = nobody.get(address, headers={"If-None-Match": answer.headers["etag"]})
        assert again.status_code == 304 and not again.content and again.headers["cache-control"] == "no-cache"
    letters = nobody.get("/static/fonts/IBMPlexSans-Bold.woff2")
    assert letters.headers["cache-control"] == "public, max-age=2592000"


def test_pages_hold_no_script_and_no_style_of_their_own(signed_in: Callable[[str], Any], store: Store) -> None:
    store.new_case({"case": "A-104", "eye": "right"}, "trainee-3")
    visit = signed_in("trainee-3")
    for address in ("/cases", "/cases/new", "/cases/A-104/right", "/cases/A-104/right/plan", "/nothing"):
        text = visit.get(address).text
        assert "<style" not in text and " style=" not in text and " onclick=" not in text, address
        assert "<script>" not in text and "http://" not in text and "https://" not in text, address


def test_the_plan_as_a_page_may_run_no_script(signed_in: Callable[[str], Any], store: Store) -> None:
    store.new_case({"case": "A-104", "eye": "right"}, "trainee-3")
    answer = signed_in("trainee-3").get("/cases/A-104/right/plan.html")
    held = policy(answer)
    assert "script-src" not in held and held["default-src"] == "'none'" and "'unsafe-inline'" not in held["style-src"]
    assert "RIGHT EYE" in answer.text


def test_a_failure_says_what_to_try_and_hides_its_cause(
    signed_in: Callable[[str], Any], app: FastAPI, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object) -> None:
        raise ZeroDivisionError("secret of the program")

    visit = signed_in("trainee-3")
    monkeypatch.setattr(type(app.state.site.store), "cases", fail)
    answer = visit.get("/cases")
    assert answer.status_code == 500 and "Something went wrong" in answer.text and "Try:" in answer.text
    assert "secret" not in answer.text and "Traceback" not in answer.text
    assert policy(answer)["default-src"] == "'none'"
    assert table.router.routes


@pytest.mark.parametrize(("method", "address", "status"), [("GET", "/nothing", 404), ("DELETE", "/sign-in", 405)])
def test_what_cannot_be_had_is_said_plainly(nobody: Any, method: str, address: str, status: int) -> None:
    answer = nobody.request(method, address)
    assert answer.status_code == status and "Try:" in answer.text and answer.text.startswith("<!doctype html>")


@pytest.mark.parametrize("eye", ["right", "left"])
def test_a_case_that_is_not_there(signed_in: Callable[[str], Any], eye: str) -> None:
    for reference in ("A-999", "%00", "a%2F..%2Fb", "x" * 300):
        assert signed_in("trainee-3").get(f"/cases/{reference}/{eye}").status_code == 404


def test_a_request_that_is_too_large_is_refused(signed_in: Callable[[str], Any]) -> None:
    visit = signed_in("trainee-3")
    answer = visit.post("/cases/new", data={"token": visit.token(), "case": "x" * 300_000})
    assert answer.status_code == 413 and "Too much was sent" in answer.text


def test_a_request_that_does_not_say_its_size_is_measured(signed_in: Callable[[str], Any]) -> None:
    visit = signed_in("trainee-3")

    def pieces() -> Any:
        for _ in range(40):
            yield b"a=" + b"x" * 10_000 + b"&"

    head = {"content-type": "application/x-www-form-urlencoded"}
    assert visit.post("/cases/new", content=pieces(), headers=head).status_code == 413


def test_a_file_is_not_taken(signed_in: Callable[[str], Any]) -> None:
    visit = signed_in("trainee-3")
    answer = visit.post("/cases/new", data={"token": visit.token()}, files={"case": ("a.txt", b"x")})
    assert answer.status_code == 400 and "Try:" in answer.text
