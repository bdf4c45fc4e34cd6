"""Forms as they are read: types, limits, what is wrong, what is kept as typed."""

from __future__ import annotations

import datetime
from typing import Annotated, Literal

import pytest
from pydantic import Field
from starlette.datastructures import FormData

from planner.errors import PlannerError
from planner.records.rows import Seen
from planner.web.server.forms import (
    Day,
    Form,
    Id,
    Prefixed,
    SeenForm,
    Text,
    Ticked,
    TimeOfDay,
    VersionNumber,
    cut,
    up_to,
)


class Asked(SeenForm):
    plan_shown: str = Field("", alias="seen")
    text: Annotated[Text, up_to(5, "text: more than 5 letters")] = ""
    note: Annotated[Text, cut(4)] = ""
    raw: str = ""
    sure: Ticked = False
    act: Literal["add", "off", ""] = ""
    day: Day = None
    at: TimeOfDay = None
    about: Id = None
    were: set[str] = set()
    who: Annotated[dict[str, str], Prefixed("who.")] = {}
    ticks: Annotated[dict[str, list[str]], Prefixed("f.")] = {}


def read(*sent: tuple[str, str]) -> Asked:
    return Asked.of(FormData(list(sent)))


def test_what_is_not_sent_has_its_default() -> None:
    form = read()
    assert (form.text, form.sure, form.act, form.day, form.at, form.about, form.were) == (
        *("", False, "", None, None, None, set()),
    )
    assert form.seen == Seen() and not form.wrong
    assert form.written["text"] == "" and form.who == {}


def test_each_field_is_of_its_type() -> None:
    form = read(
        *(("text", " two "), ("note", " abcdef "), ("raw", " as is "), ("sure", "yes"), ("act", "off")),
        *(("day", " 2026-11-30"), ("at", "09:15"), ("about", "12"), ("were", "a"), ("were", "b")),
        *(("who.hydro", "trainee"), ("f.set", ""), ("f.set", "x"), ("approval", "7"), ("submission", "")),
        ("seen", "8f"),
    )
    assert (form.text, form.note, form.raw, form.sure, form.act) == ("two", "abcd", " as is ", True, "off")
    assert (form.day, form.at) == (datetime.date(2026, 11, 30), datetime.time(9, 15))
    assert (form.about, form.were, form.seen) == (12, {"a", "b"}, Seen(None, 7))
    assert (form.who, form.ticks) == ({"hydro": "trainee"}, {"set": ["", "x"]})
    assert form.plan_shown == "8f" and not form.wrong


def test_what_is_wrong_is_told_and_stands_as_typed() -> None:
    form = read(("text", "longer than"), ("at", "25:00"), ("day", "tomorrow"))
    assert form.wrong == {
        "text": "text: more than 5 letters", "at": "'25:00' is not a time of day; write it like 11:45."
    }  # fmt: skip
    assert (form.text, form.at, form.day) == ("longer than", None, None)
    assert (form.written["text"], form.written["at"], form.written["day"]) == ("longer than", "25:00", "tomorrow")


def test_a_choice_that_is_not_offered_counts_as_none() -> None:
    assert read(("act", "delete"), ("sure", "no")).act == ""
    assert not read(("sure", "no")).sure


@pytest.mark.parametrize("number", ["x", "-1", "1234567890", "²", " 1", "1.0"])
def test_a_number_that_no_page_sends_is_refused(number: str) -> None:
    with pytest.raises(PlannerError, match="names no approval that there can be"):
        read(("approval", number))


def test_a_version_must_be_sent() -> None:
    class Saved(Form):
        based_on: VersionNumber

    assert Saved.of(FormData([("based_on", "3")])).based_on == 3
    for sent in ([], [("based_on", "")], [("based_on", "three")]):
        with pytest.raises(PlannerError, match="does not say which version"):
            Saved.of(FormData(sent))


def test_what_was_sent_can_be_sent_once_more() -> None:
    form = read(("token", "t"), ("text", "longer than"), ("f.set", "a"), ("f.set", "b"), ("approval", "7"))
    assert form.sent_again("approval") == [("text", "longer than"), ("f.set", "a"), ("f.set", "b")]
