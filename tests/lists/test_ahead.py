"""Looking ahead: who could have a place that falls free, and what must be ordered by when."""

from __future__ import annotations

import csv
import datetime
import io
import random
from dataclasses import replace
from typing import Any

import pytest
from lists.brute_force import everywhere
from lists.small_weeks import PEOPLE, THURSDAY, TUESDAY, drawn_tier, eye, key, lists, session, sets, week
from seeds import seeds

from planner.lists.changes.standby import standby
from planner.lists.matching.insertion import taken_off
from planner.lists.output.orders import orders, orders_table
from planner.lists.rules.checker import check
from planner.lists.week.instance import Instance

DAY = datetime.timedelta(1)
HOOKS = {"iris-hooks": "Iris hooks"}


def ready(instance: Instance, held: Any, name: str = "one") -> list[str]:
    return [one.case[0] for one in standby(instance, held, name).ready]


def waits(reference: str, weeks: int, **changed: Any) -> Any:
    return eye(reference, short_notice=True, since=TUESDAY - 7 * weeks * DAY, **changed)


def test_the_first_is_the_right_one() -> None:
    past = {"last_day": TUESDAY - DAY, "why_then": "needed on Monday"}
    cases = [waits("A", 30), waits("B", 40), waits("C", 2, urgency="urgent"), waits("D", 1, **past), waits("E", 50)]
    instance = week([*cases[:4], replace(cases[4], short_notice=False)], [session("one")])
    assert ready(instance, lists()) == ["D", "C", "B", "A"]
    assert ready(instance, lists("one: D late trainer")) == ["C", "B", "A"], "what has a place waits no more"


def test_who_may_not_stand_there_is_not_offered() -> None:
    # The one set is in use, no anaesthetist, no consent, something to settle, away: each barred by the checker's rule.
    cases = [
        eye("X", kit=HOOKS), waits("A", 9, kit=HOOKS), waits("B", 8, anaesthetist=True), waits("C", 7, consent=None),
        waits("D", 6, unsettled=("the pressure",)), waits("E", 5, away=frozenset({TUESDAY})), waits("F", 4),
    ]  # fmt: skip
    instance = week(cases, [session("one", kit={"iris-hooks": sets(1)})])
    held = lists("one: X late trainer")
    found = standby(instance, held, "one")
    assert [one.case[0] for one in found.ready] == ["F"]
    assert [(told[0], rules) for told, rules in found.barred] == [
        ("A", ("kit-sets",)), ("B", ("anaesthetist",)), ("C", ("consent",)), ("D", ("settled",)),
        ("E", ("patient-can-come",)),
    ]  # fmt: skip
    # X does not come, and its set is free.
    assert ready(instance, taken_off(held, key("X"))) == ["A", "F"]


def test_whom_nobody_has_asked_is_told_apart() -> None:
    cases = [waits("A", 1), eye("B", since=TUESDAY - 300 * DAY), eye("C", short_notice=False)]
    found = standby(week(cases, [session("one")]), lists(), "one")
    assert [one.case[0] for one in found.ready] == ["A"] and [one.case[0] for one in found.to_ask] == ["B"]
    assert standby(week(cases, [session("one")]), lists(), "one", unknown=False).to_ask == ()


def test_what_is_old_by_then_is_asked() -> None:
    case = waits("A", 1, dated=(("Date of the INR", TUESDAY - 4 * DAY, 3),))
    (one,) = standby(week([case], [session("one")]), lists(), "one").ready
    assert "Date of the INR 27 November 2026 is 4 days old on 1 December 2026, and holds for 3 days" in one.asked[0]


def test_a_full_session_has_no_place() -> None:
    instance = week([eye("X"), waits("A", 1)], [session("one", most_cases=1)])
    found = standby(instance, lists("one: X late trainer"), "one")
    assert found.ready == () and found.barred == (("A, right eye", ("most-cases",)),)


@pytest.mark.parametrize("seed", seeds(25, 10))
def test_brute_force_agrees(seed: int) -> None:
    draw = random.Random(seed)
    cases = []
    for name in "ABCD":
        cases.append(
            eye(
                name,
                **drawn_tier(draw),
                kit=HOOKS if draw.random() < 0.5 else {},
                anaesthetist=draw.choice([False, False, True, None]),
                agreement=draw.choice([True, None, False]),
                urgency=draw.choice(["urgent", "soon", "routine", None]),
                since=TUESDAY - draw.randrange(300) * DAY,
                last_day=draw.choice([None, TUESDAY - DAY, TUESDAY]),
                short_notice=draw.choice([True, True, False, None]),
            )
        )
    room = session("one", minutes=draw.choice([60, 100]), anaesthetist=draw.random() < 0.5, kit={"iris-hooks": sets(1)})
    other = session("two", day=draw.choice([TUESDAY, THURSDAY]))
    instance = week(cases, [room, other], PEOPLE[:2])
    held = lists(f"{draw.choice(['one', 'two'])}: A - consultant")
    if not check(instance, held).stands:
        held = lists()
    found = standby(instance, held, "one")
    could = [
        case
        for case in sorted(instance.cases, key=instance.turn)
        if case not in {placing.case for placing in held.placings}
        and any(p.session == "one" and check(instance, there).stands for there, p in everywhere(instance, held, case))
    ]
    for wanted, told in ((True, found.ready), (None, found.to_ask)):
        assert [one.case for one in told] == [case for case in could if instance.cases[case].short_notice is wanted]
        assert all(check(instance, one.lists).stands and one.placing in one.lists.placings for one in told)


LENS = {"lens_power": 21.0, "backup_power": 20.5, "lens_material": "hydrophobic acrylic"}


def test_orders_and_the_last_day_for_each() -> None:
    cases = [eye("A", **LENS, kit=HOOKS), eye("B", lens_power=19.25, kit=HOOKS), eye("C", **LENS)]
    instance = replace(week(cases, [session("one"), session("two", day=THURSDAY)]), on=TUESDAY - 7 * DAY)
    held = lists("one: A late trainer", "one: B late trainer", "two: C late trainer")
    found = orders(instance, held, {"lens": 5, "kit": 8})
    assert [(one.what, one.item, one.order_by, one.too_late) for one in found] == [
        ("kit", "Iris hooks", TUESDAY - 8 * DAY, True),
        ("lens", "21.00 D, hydrophobic acrylic", TUESDAY - 5 * DAY, False),
        ("backup lens", "20.50 D", TUESDAY - 5 * DAY, False),
        ("lens", "19.25 D, material not recorded: ask", TUESDAY - 5 * DAY, False),
        ("backup lens", "power not recorded: ask", TUESDAY - 5 * DAY, False),
        ("lens", "21.00 D, hydrophobic acrylic", THURSDAY - 5 * DAY, False),
        ("backup lens", "20.50 D", THURSDAY - 5 * DAY, False),
    ]
    assert [one.to_ask for one in found] == [False, False, False, True, True, False, False]
    assert found[0].cases == ("A, right eye", "B, right eye")
    rows = list(csv.DictReader(io.StringIO(orders_table(found))))
    assert len(rows) == len(found) and rows[0]["count"] == "2"
    assert rows[0]["order_by"] == "2026-11-23" and rows[0]["too_late"] == "yes" and rows[3]["to_ask"] == "yes"


def test_the_day_to_order_is_the_last_that_is_in_time() -> None:
    instance = week([eye("A", **LENS)], [session("one")])
    for on, late in ((TUESDAY - 5 * DAY, False), (TUESDAY - 4 * DAY, True)):
        found = orders(replace(instance, on=on), lists("one: A late trainer"), {"lens": 5})
        assert {one.too_late for one in found} == {late}


def test_without_a_lead_time_no_day_is_made_up_and_sessions_gone_by_are_left_out() -> None:
    cases = [eye("A", **LENS), eye("B", **LENS)]
    instance = replace(week(cases, [session("one"), session("two", day=THURSDAY)]), on=TUESDAY + DAY)
    found = orders(instance, lists("one: A late trainer", "two: B late trainer"), {})
    assert {(one.session.id, one.order_by, one.too_late) for one in found} == {("two", None, False)}
