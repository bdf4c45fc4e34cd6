"""Two browsers at once on a server that really listens: one decision is kept, the other gets the page that says so."""

from __future__ import annotations

import re
import threading
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import httpx
import pytest
from decisions import entered, form_of, text_of
from fastapi import FastAPI
from served import coming_sessions, signed_in

from planner.desk.lists import lists_now
from planner.lists.roster.shapes import Roster
from planner.records.store import Store
from planner.rulebook.rulebook import Rulebook

ROUNDS = 3


@pytest.fixture
def roster(rulebook: Rulebook) -> Roster:
    return coming_sessions(rulebook)


def at_once(sent: list[tuple[httpx.Client, str, dict[str, str]]]) -> list[httpx.Response]:
    gate = threading.Barrier(len(sent))

    def one(form: tuple[httpx.Client, str, dict[str, str]]) -> httpx.Response:
        visit, path, fields = form
        gate.wait(30)
        return visit.post(path, data=fields)

    with ThreadPoolExecutor(len(sent)) as pool:
        return list(pool.map(one, sent))


@pytest.mark.parametrize("other", ["approve", "send-back"])
def test_of_two_consultants_at_once_one_decides_and_the_other_loses_nothing(
    address: str, store: Store, rulebook: Rulebook, other: str
) -> None:
    first, second = signed_in(address, "consultant-1"), signed_in(address, "consultant-2")
    trainee = signed_in(address, "trainee-3")
    for name in ("routine", "tense-white", "shallow-chamber")[:ROUNDS]:
        case = store.case(entered(store, rulebook, name))
        plan, path = f"/cases/{case.reference}/{case.eye}", f"/approvals/{case.reference}/{case.eye}"
        submitted = form_of(trainee, f"{plan}/plan", "Submit")  # type: ignore[arg-type]
        assert trainee.post(f"{plan}/submit", data=submitted).status_code == 303
        mine, theirs = ((visit, form_of(visit, path, "Approve as named, tier")) for visit in (first, second))  # type: ignore[arg-type]
        forms: list[Any] = [
            (first, path, mine[1] | {"conditions": "dye in the room"}),
            (second, path, theirs[1] | {"conditions": "dye in the room"})
            if other == "approve"
            else (second, f"{path}/send-back", theirs[1] | {"text": "dye in the room"}),
        ]
        answers = at_once(forms)
        assert sorted(answer.status_code for answer in answers) == [303, 409]
        [late] = [answer for answer in answers if answer.status_code == 409]
        assert re.search(r"consultant-\d (approved it for tier|sent it back)", text_of(late))
        assert "dye in the room" in late.text
        now = store.case_now(case.id)
        assert (now.approval is not None) != (now.state == "sent-back")
        assert len(store.approvals(case.id)) == (1 if now.approval else 0)
    store.verify()


def test_of_three_publishings_at_once_one_is_a_version(address: str, app: FastAPI, store: Store) -> None:
    state = lists_now(app.state.site.desk)
    assert state is not None
    session = state.sessions[0]
    visits = [signed_in(address, code) for code in ("organiser-1", "consultant-1", "consultant-2")]
    sent = {"seen": state.seen, "after": "0", "note": "starts at nine"}
    path = f"/lists/session/{session.id}"
    tokens = [visit.get("/form-token").json()["token"] for visit in visits]
    answers = at_once(
        [(visit, f"{path}/publish", sent | {"token": token}) for visit, token in zip(visits, tokens, strict=True)]
    )
    assert sorted(answer.status_code for answer in answers) == [303, 409, 409]
    for late in answers:
        if late.status_code == 409:
            assert "published version 1" in text_of(late) and 'value="starts at nine"' in late.text
    assert len(store.list_versions(session.day, session.id)) == 1
    # The same once more, from the page as it is now: it says that it is no new version.
    again = visits[0].post(f"{path}/publish", data=sent | {"token": tokens[0], "after": "1"})
    assert "Version 1 is this very list" in text_of(again) and len(store.list_versions(session.day, session.id)) == 1
