"""Pages in another language: set once for a server, in force for each request, English where nothing is translated."""

from __future__ import annotations

import re

import pytest
from babel.messages.pofile import read_po
from decisions import entered, text_of
from fastapi import FastAPI
from served import UNIT
from visits import CHEAP, Clock, Visit

from planner.desk.desk import Desk
from planner.documents.printing.queue import PrintQueue
from planner.errors import PlannerError
from planner.records.store import Store
from planner.rulebook.rulebook import Rulebook
from planner.shipped import templates_folder
from planner.unit import read_unit
from planner.web.security.passwords import Passwords
from planner.web.server.app import make_app
from planner.web.server.settings import Settings
from planner.wording.language import spoken


@pytest.fixture
def german(store: Store, rulebook: Rulebook, clock: Clock, prints: PrintQueue) -> FastAPI:
    desk = Desk(store, rulebook, read_unit(UNIT, rulebook), clock=clock)
    return make_app(desk, Settings(secure_cookies=False, language="de"), Passwords(CHEAP), prints)


def told(phrase: str) -> str:
    """The translation, read from the catalogue by another way than the pages take."""
    with (templates_folder() / "words" / "de.po").open("rb") as stream:
        found = read_po(stream, locale="de").get(phrase)
    assert found is not None and found.string and found.string != phrase
    return str(found.string)


def test_the_pages_that_decide_are_said_in_the_language_of_the_server(
    german: FastAPI, store: Store, rulebook: Rulebook
) -> None:
    case = store.case(entered(store, rulebook, "white-cortex-not-recorded"))
    page, plan = f"/cases/{case.reference}/{case.eye}", f"/cases/{case.reference}/{case.eye}/plan"
    trainee, consultant = Visit(german), Visit(german)
    assert told("Your role code") in text_of(trainee.get("/sign-in"))
    assert trainee.sign_in("trainee-3") == consultant.sign_in("consultant-1") == 303
    shown = trainee.get(plan)
    for phrase in ("The plan as it stands", "LEFT EYE", "Submit for approval", "Sign out", "Cases"):
        assert told(phrase) in text_of(shown) and phrase not in text_of(shown)
    assert '<html lang="de">' in shown.text
    assert told("What decides the tier") in text_of(trainee.get(page))
    trainee.post(page + "/submit", data={"token": trainee.token(plan), "version": "1"})
    shown = consultant.get(page.replace("/cases", "/approvals"))
    for phrase in ("Waits for approval", "Approve as planned", "What weighs, as measured"):
        assert told(phrase) in text_of(shown) and phrase not in text_of(shown)
    # The rulebook's own words stay as they are written.
    assert rulebook.factors["tense-white-lens"].label in text_of(shown)
    assert spoken() == "en-GB", "no request leaves its language behind"


def test_a_page_that_is_mostly_english_says_so(german: FastAPI, app: FastAPI) -> None:
    visit = Visit(german)
    visit.sign_in("trainee-3")
    for address, language in (("/sign-in", "de"), ("/cases/new", "en-GB")):
        page = (Visit(german) if address == "/sign-in" else visit).get(address).text
        assert re.search(r'<html lang="([^"]+)"', page)[1] == language  # type: ignore[index]
    assert '<html lang="en-GB">' in Visit(app).get("/sign-in").text


def test_a_language_without_a_catalogue_is_refused_with_those_there_are(german: FastAPI, store: Store) -> None:
    with pytest.raises(PlannerError, match=r"no catalogue for 'xx'.*one of en-GB, de"):
        make_app(german.state.site.desk, Settings(language="xx"))
