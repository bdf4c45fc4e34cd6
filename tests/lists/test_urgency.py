"""Whose turn it is: past its date first and never barred, then by urgency, then by waiting; and what of it is asked."""

from __future__ import annotations

import datetime
import random
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from lists.brute_force import barred_by, blocks, every_list
from lists.small_weeks import HARD, PEOPLE, THURSDAY, TUESDAY, drawn_tier, eye, key, lists, session, week
from seeds import seeds

from planner.lists.matching.best import best
from planner.lists.matching.match import Matched, match
from planner.lists.matching.objective import of_lists
from planner.lists.matching.reasons import pressing, why_not
from planner.lists.output.week_view import weeks_view
from planner.lists.roster.shapes import Limits
from planner.lists.rules.checker import check
from planner.lists.week.instance import Instance
from planner.lists.week.urgency import waiting

DAY = datetime.timedelta(1)
PAST = {"last_day": TUESDAY - 10 * DAY, "why_then": "needed by 21 November 2026"}
ONE_EACH = [session("one", minutes=60), session("two", minutes=60, day=THURSDAY)]
Matching = Callable[[Instance], Matched]
BOTH: dict[str, Matching] = {"quick": match, "best": lambda instance: best(instance, effort=2)}


def days_of(found: Matched) -> dict[str, datetime.date]:
    sessions = {one.id: one.day for one in ONE_EACH}
    return {placing.case[0]: sessions[placing.session] for placing in found.lists.placings}


def listed(weeks: int) -> dict[str, datetime.date]:
    return {"since": TUESDAY - 7 * weeks * DAY}


# A stands before B, each alone in its session: what A has, then what B has.
FIRST: dict[str, tuple[dict[str, Any], dict[str, Any]]] = {
    "urgent before routine that waits longer": ({"urgency": "urgent", **listed(1)}, {**listed(60)}),
    "soon before routine": ({"urgency": "soon", **listed(1)}, {**listed(60)}),
    "not recorded before routine": ({"urgency": None, **listed(1)}, {**listed(60)}),
    "the longer wait among routine": ({**listed(20)}, {**listed(10)}),
    "the longer wait among urgent": ({"urgency": "urgent", **listed(3)}, {"urgency": "urgent", **listed(2)}),
    "past its date, routine, before urgent": ({**PAST, **listed(1)}, {"urgency": "urgent", **listed(9)}),
    "both past their date, urgent first": ({**PAST, "urgency": "urgent", **listed(1)}, {**PAST, **listed(9)}),
    "both past their date, the longer wait": ({**PAST, **listed(9)}, {**PAST, **listed(8)}),
    "past its date and hard, before easy": ({**PAST, "tier": 3, "with_stage": HARD}, {**listed(60)}),
    "no day to count from": ({"since": None}, {**listed(60)}),
}


@pytest.mark.parametrize("matching", BOTH.values(), ids=BOTH)
@pytest.mark.parametrize(("first", "then"), FIRST.values(), ids=FIRST)
def test_who_comes_first(matching: Matching, first: dict[str, Any], then: dict[str, Any]) -> None:
    for names in ("AB", "BA"):  # never by the name alone
        cases = [eye(names[0], **first), eye(names[1], **then)]
        found = matching(week(cases, ONE_EACH))
        assert found.verdict.stands
        assert days_of(found) == {names[0]: TUESDAY, names[1]: THURSDAY}
        one = matching(week(cases, ONE_EACH[:1]))
        assert set(days_of(one)) == {names[0]}, "the only place there is"
        shown = weeks_view(week(cases, ONE_EACH), lists())
        assert [waits.reference for waits in shown.waiting] == list(names)


@pytest.mark.parametrize("matching", BOTH.values(), ids=BOTH)
def test_what_is_past_its_date_has_the_earliest_place_and_is_marked(matching: Matching) -> None:
    # On Thursday a trainee would do the whole operation, which every wish but this one prefers.
    cases = [eye("A", **PAST), eye("B")]
    people = tuple(replace(person, leave=frozenset({TUESDAY})) for person in PEOPLE)
    found = matching(week(cases, ONE_EACH, people))
    assert days_of(found) == {"A": TUESDAY, "B": THURSDAY}
    (breach,) = found.verdict.breaches
    assert (breach.case, breach.session, breach.days) == ("A, right eye", "one", 10)
    assert "10 days past its date on 1 December 2026 (needed by 21 November 2026)" in breach.says
    weeks = weeks_view(week(cases, ONE_EACH, people), found.lists).weeks
    rows = [row for days in weeks.values() for shown in days.values() for row in shown]
    assert [row.past for row in rows] == [(breach.says,), ()]
    assert found.reasons[key("A")].pressing.startswith(
        "10 days past its date: needed by 21 November 2026; waiting 29 days"
    )


def test_what_has_no_place_is_marked_too() -> None:
    found = match(week([eye("A", consent=None, **PAST)], ONE_EACH))
    assert [(one.session, one.days) for one in found.verdict.breaches] == [(None, 10)]


def test_not_yet_past_its_date_it_comes_later_only_when_that_is_accepted() -> None:
    needed = eye("A", last_day=TUESDAY, why_then="needed then", not_before=THURSDAY)
    instance = week([needed], ONE_EACH)
    found = match(instance)
    assert not found.lists.placings and "deadline" in found.blocked[0].rules
    offered = [opening.says for opening in found.blocked[0].openings]
    assert offered == ["A, right eye 2 days past its date, if the organiser accepts it (`late_accepted`)."]
    assert not check(instance, lists("two: A late trainer")).stands
    accepted = week([replace(needed, late_because="asked for by the patient")], ONE_EACH)
    for matching in BOTH.values():
        late = matching(accepted)
        assert late.verdict.stands and days_of(late) == {"A": THURSDAY}
        assert late.verdict.breaches[0].days == 2
        assert late.verdict.breaches[0].says.endswith("Accepted: asked for by the patient.")


def test_the_day_of_planning_decides_what_is_past() -> None:
    case = eye("A", last_day=TUESDAY, why_then="needed then")
    assert not week([case], ONE_EACH).past_their_date
    instance = replace(week([case], ONE_EACH), on=TUESDAY + DAY)
    assert instance.past_their_date == {key("A")}
    assert check(instance, lists("two: A late trainer")).stands
    # No session is left in time, though its day has not yet come: nothing else is possible.
    between = replace(week([case], ONE_EACH[1:]), on=TUESDAY - DAY)
    assert between.past_their_date == {key("A")}


def pressing_week(seed: int) -> Instance:
    """A small week drawn at random with urgencies, waits, dates gone by, and the limits of its sessions."""
    draw = random.Random(seed)
    cases = []
    for name in "ABC":
        cases.append(
            eye(
                name,
                **drawn_tier(draw),
                urgency=draw.choice(["urgent", "soon", None, "routine", "routine"]),
                last_day=draw.choice([None, None, TUESDAY - 3 * DAY, TUESDAY, THURSDAY]),
                why_then="needed then",
                since=draw.choice([TUESDAY - 90 * DAY, TUESDAY - 30 * DAY, None]),
                anaesthetist=(general := draw.choice([True, False, None])),
                general_anaesthetic=general,
                recovery=draw.choice([general, True]),
                not_before=draw.choice([None, None, THURSDAY]),
                late_because=draw.choice([None, None, "accepted"]),
                agreement=draw.choice([True, True, False]),
            )
        )
    limits = {
        "most_cases": draw.choice([None, 1, 2]),
        "most_general_anaesthetics": draw.choice([None, 0, 1]),
        "recovery_places": draw.choice([None, 1, 2]),
    }
    sessions = [
        session("one", minutes=draw.choice([60, 110]), anaesthetist=True, **limits),
        session("two", minutes=100, day=THURSDAY, anaesthetist=True, most_cases=draw.choice([None, 1])),
    ]
    return week(cases, sessions, PEOPLE[:2])


@pytest.mark.parametrize("seed", seeds(40, 8))
def test_brute_force_finds_no_better(seed: int) -> None:
    instance = pressing_week(seed)
    found = best(instance, effort=3)
    most = max(of_lists(instance, there) for there in every_list(instance))
    assert found.proved and found.verdict.stands
    assert found.worth == pytest.approx(most, abs=0.01)
    assert found.bound >= most - 0.01


@pytest.mark.parametrize("seed", seeds(40, 8))
def test_brute_force_agrees_on_what_bars_a_case(seed: int) -> None:
    instance = pressing_week(seed)
    found = match(instance)
    assert found.verdict.stands
    for blocked in found.blocked:
        barred = barred_by(instance, found.lists, blocked.case)
        assert frozenset() not in barred and blocks(frozenset(blocked.rules), barred)
    for case in instance.past_their_date:
        barred = barred_by(instance, lists(), case)
        assert not any("deadline" in rules for rules in barred)


@pytest.mark.long
def test_the_chance_weeks_are_worth_testing() -> None:
    weeks = [pressing_week(seed) for seed in range(40)]
    bars = {rule for one in weeks for blocked in match(one).blocked for rule in blocked.rules}
    assert bars >= {"deadline", "most-cases", "general-anaesthetics", "recovery"}
    assert sum(bool(match(one).verdict.breaches) for one in weeks) >= 10


@pytest.mark.parametrize("matching", BOTH.values(), ids=BOTH)
@pytest.mark.parametrize("seed", seeds(20, 6))
def test_of_cases_alike_the_more_pressing_has_the_earlier_place(matching: Matching, seed: int) -> None:
    draw = random.Random(seed)
    cases = [
        eye(f"{n:02}", urgency=draw.choice(["urgent", "soon", "routine"]), since=TUESDAY - draw.randrange(200) * DAY)
        for n in range(8)
    ]
    sessions = [session("one", minutes=110), session("two", minutes=100, day=THURSDAY), session("three", minutes=60)]
    instance = week(cases, sessions, PEOPLE[:2])
    found = matching(instance)
    at = {p.case: instance.sessions[p.session].span[0] for p in found.lists.placings}
    never = datetime.datetime.max
    order = sorted(instance.cases, key=instance.turn)
    when = [at.get(case, never) for case in order]
    assert when == sorted(when) and never in when
    assert set(found.reasons) == set(at)
    for placing in found.lists.placings:
        assert found.reasons[placing.case].pressing == pressing(instance, placing.case)


LIMITED: dict[str, tuple[dict[str, Any], dict[str, Any], str, str]] = {
    "cases": ({}, {"most_cases": 1}, "most-cases", "one: 2 cases; the session takes 1 at most."),
    "general anaesthetics": (
        {"general_anaesthetic": True},
        {"most_general_anaesthetics": 1},
        "general-anaesthetics",
        "one: 2 cases under general anaesthesia; the session takes 1 at most.",
    ),
    "recovery, where one only may need it": (
        {"recovery": None},
        {"recovery_places": 1},
        "recovery",
        "one: 2 cases for recovery, 2 of which only may be, since something is not recorded; the session takes 1",
    ),
}


@pytest.mark.parametrize(("facts", "limit", "rule", "says"), LIMITED.values(), ids=LIMITED)
def test_limits_of_a_session(facts: dict[str, Any], limit: dict[str, Any], rule: str, says: str) -> None:
    cases, two = [eye("A", **facts), eye("B", **facts)], lists("one: A late trainer", "one: B late trainer")
    assert check(week(cases, [session("one")]), two).stands, "without a limit there is none"
    (broken,) = check(week(cases, [session("one", **limit)]), two).broken
    assert broken.rule == rule and says in broken.says
    for matching in BOTH.values():
        found = matching(week(cases, [session("one", **limit)]))
        assert len(found.lists.placings) == 1 and found.blocked[0].rules == (rule,)
        both = matching(week(cases, [session("one", **limit), session("two", day=THURSDAY)]))
        assert sorted(placing.session for placing in both.lists.placings) == ["one", "two"]


def test_who_surely_needs_none_takes_no_place() -> None:
    cases = [eye("A", general_anaesthetic=True), eye("B", general_anaesthetic=False, recovery=False)]
    one = session("one", most_general_anaesthetics=1, recovery_places=0)
    assert check(week(cases, [one]), lists("one: A late trainer", "one: B late trainer")).stands


ASKED: dict[str, tuple[dict[str, Any], str]] = {
    "urgent without a date": ({"urgency": "urgent"}, "urgent, with no date by which it is needed"),
    "soon without a date": ({"urgency": "soon"}, "soon, with no date by which it is needed"),
    "recorded in the future": ({"recorded_on": TUESDAY + DAY}, "recorded on 2 December 2026, which is later than"),
    "listed in the future": ({"since": TUESDAY + DAY}, "listed on 2 December 2026, which is later than"),
    "no day to count from": ({"since": None, "listed": False}, "nobody knows how long it has waited"),
    "an old measurement": (
        {"dated": (("Date of the biometry", TUESDAY - 366 * DAY, 365),)},
        "Date of the biometry 30 November 2025 is 366 days old on 1 December 2026, and holds for 365 days",
    ),
    "a measurement of the future": ({"dated": (("Date of the biometry", THURSDAY, 365),)}, "later than the session"),
    "a measurement without its day": ({"dated": (("Date of the biometry", None, 365),)}, "biometry is not recorded"),
}


@pytest.mark.parametrize(("facts", "says"), ASKED.values(), ids=ASKED)
def test_what_is_asked(facts: dict[str, Any], says: str) -> None:
    verdict = check(week([eye("A", **facts)]), lists("one: A late trainer"))
    assert verdict.stands
    (asked,) = verdict.asked
    assert says in asked.says and asked.change


def test_nothing_is_asked_that_is_in_order() -> None:
    dated = (("Date of the biometry", TUESDAY - 365 * DAY, 365),)
    due = {"urgency": "urgent", "last_day": THURSDAY, "why_then": "needed then"}
    case = eye("A", dated=dated, recorded_on=TUESDAY, **due)
    assert check(week([case]), lists("one: A late trainer")).asked == ()
    # The same measurement on a session two days later is too old by then.
    assert check(week([case], [session("one", day=THURSDAY)]), lists("one: A late trainer")).asked


NOVEMBER = datetime.date(2026, 11, 2)


def test_waiting_counts_from_listing_and_says_where_it_does_not() -> None:
    limits = Limits.model_validate({"within_days": {"soon": 56, "routine": 126}})
    listing = waiting("soon", None, NOVEMBER, TUESDAY, limits)
    assert (listing.since, listing.listed, listing.last_day) == (NOVEMBER, True, NOVEMBER + 56 * DAY)
    assert listing.why_then == "soon, so within 56 days of being listed on 2 November 2026"
    without = waiting("routine", None, None, TUESDAY, limits)
    assert (
        without.last_day == TUESDAY + 126 * DAY
        and "recorded on 1 December 2026 (no date of listing)" in without.why_then
    )
    # The earlier of the two dates; no target, no date.
    assert waiting("soon", NOVEMBER + DAY, NOVEMBER, None, limits).why_then == "needed by 3 November 2026"
    assert waiting("urgent", None, NOVEMBER, None, limits).last_day is None
    assert waiting("soon", None, None, None, limits).last_day is None
    assert waiting("routine", None, NOVEMBER, None).last_day is None, "no figure of our own"


def test_another_case_moves_where_a_limit_bars() -> None:
    # B took the one place for a general anaesthetic, and could as well have the other session's.
    general = {"general_anaesthetic": True}
    cases = [eye("A", last_day=TUESDAY, why_then="needed then", **general), eye("B", **general)]
    sessions = [session("one", most_general_anaesthetics=1), session("two", day=THURSDAY)]
    blocked = why_not(week(cases, sessions), lists("one: B late consultant"), key("A"))
    assert blocked.rules == ("deadline", "general-anaesthetics")
    first, last = blocked.openings
    assert first.says.startswith("B, right eye moves from one to two") and "2 days past its date" in last.says
