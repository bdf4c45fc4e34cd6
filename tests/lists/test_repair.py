"""The morning of: the smallest change against brute force on small days, and nothing touched that need not be."""

from __future__ import annotations

import datetime
from collections import Counter
from collections.abc import Iterable
from dataclasses import replace
from itertools import combinations
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lists.small_mornings import EveryList, Morning, morning
from lists.small_weeks import PEOPLE, THURSDAY, TUESDAY, eye, key, lists, session, sets, week
from seeds import seeds

from planner.errors import PlannerError
from planner.lists.changes import repair_text as words
from planner.lists.changes.disruption import CaseAdded, CaseBegun, CaseCancelled, Disruption, PersonAway, SessionChange
from planner.lists.changes.repair import Repair, repair
from planner.lists.changes.repair_cost import is_pressing
from planner.lists.matching.match import match
from planner.lists.roster.shapes import Supervisor
from planner.lists.rules.checker import check
from planner.lists.rules.rule import Broken
from planner.lists.week.instance import Instance, Lists, Placing

SUPERVISORS = (
    Supervisor(id="consultant", grade="consultant", can=["scrubbed", "in-theatre", "on-site"], on_site_rooms=2),
    Supervisor(id="second", grade="consultant", can=["scrubbed", "in-theatre", "on-site"], on_site_rooms=2),
    Supervisor(id="trainer", grade="trainer", can=["scrubbed", "in-theatre", "on-site"]),
)


def small(*cases: Any, **changed: Any) -> Instance:
    sessions = [
        session("one", supervisors=["consultant", "trainer"]),
        session("two", supervisors=["second"]),
        session("later", day=THURSDAY, supervisors=["consultant", "second", "trainer"]),
    ]
    return week(list(cases), sessions, supervisors=SUPERVISORS, **changed)


def test_nothing_happened_nothing_changes() -> None:
    instance = small(eye("A"), eye("B"))
    lists = match(instance).lists
    found = repair(instance, lists, Disruption())
    assert (found.lists, found.changes, found.broken, found.off) == (lists, (), (), ())
    assert found.proved and found.verdict.stands


@pytest.fixture
def three() -> tuple[Instance, Lists]:
    instance = small(eye("A"), eye("B", urgency="urgent"), eye("C"))
    placings = [
        ("one", 1, "A", "late", "trainer"),
        ("one", 2, "B", "early", "trainer"),
        ("two", 1, "C", None, "second"),
    ]
    lists = Lists(tuple(Placing(s, n, key(c), t, by) for s, n, c, t, by in placings))
    assert check(instance, lists).stands
    return instance, lists


def away(who: str, instead: str | None = None) -> Disruption:
    return Disruption(away=[PersonAway(who=who, day=TUESDAY, instead=instead, because="ill")])


HAPPENED = {
    "the trainer": away("trainer"),
    "the trainer, and another comes": away("trainer", "second"),
    "a trainee": away("late"),
    "the only supervisor of a room": away("second"),
    "the first room": Disruption(changed=[SessionChange(session="one", lost=True, because="no water")]),
    "the second room": Disruption(changed=[SessionChange(session="two", lost=True, because="no water")]),
    "half of the time": Disruption(changed=[SessionChange(session="one", minutes=60, because="the scrub nurse goes")]),
    "a cancellation": Disruption(cancelled=[CaseCancelled(case="A", eye="right", because="did not come")]),
    "two things": Disruption(
        away=[
            PersonAway(who="consultant", day=TUESDAY, because="ill"),
            PersonAway(who="early", day=TUESDAY, because="ill"),
        ]
    ),
}


@pytest.mark.parametrize("name", HAPPENED)
def test_the_change_is_the_smallest_there_is(three: tuple[Instance, Lists], name: str) -> None:
    instance, lists = three
    happened = HAPPENED[name]
    found = repair(instance, lists, happened)
    assert found.verdict.stands and found.proved
    assert tuple(found.measure) == EveryList(Morning(instance, lists, happened, frozenset())).least()


def test_who_comes_instead_takes_over_and_nobody_moves(three: tuple[Instance, Lists]) -> None:
    instance, lists = three
    found = repair(instance, lists, away("trainer", "consultant"))
    assert {(one.case[0], one.kind) for one in found.changes} == {("A", "people"), ("B", "people")}
    assert {one.rule for one in found.broken} == {"supervisor-fits"}


def test_the_routine_case_comes_off_before_the_urgent_one() -> None:
    instance = small(eye("A"), eye("B", urgency="urgent"))
    lists = Lists((Placing("one", 1, key("A"), "late", "trainer"), Placing("one", 2, key("B"), "late", "trainer")))
    happened = Disruption(
        changed=[
            SessionChange(session="one", minutes=60, because="the theatre opens late"),
            SessionChange(session="two", lost=True, because="no water"),
        ]
    )
    found = repair(instance, lists, happened)
    [off] = found.off
    assert off.case == key("A") and off.later is not None and off.later.session == "later"
    assert [placing.case for placing in found.lists.placings] == [key("B")]


def test_an_urgent_add_on_is_placed_and_the_least_gives_way() -> None:
    cases = [eye(f"A{n}") for n in range(1, 7)]
    urgent = eye("U", urgency="urgent")
    instance = small(*cases, urgent)
    one = Lists(tuple(Placing("one", n, case.key, "late", "trainer") for n, case in enumerate(cases, 1)))
    happened = Disruption(added=[CaseAdded(case="U", eye="right", day=TUESDAY, because="a tense white lens")])
    found = repair(instance, one, happened)
    assert {(change.case, change.kind) for change in found.changes} == {(key("U"), "new")}
    lost = Disruption(
        added=[CaseAdded(case="U", eye="right", day=TUESDAY, session="one", because="a tense white lens")],
        changed=[SessionChange(session="two", lost=True, because="no water")],
    )
    found = repair(instance, one, lost)
    kinds = Counter(change.kind for change in found.changes)
    assert found.verdict.stands and kinds["new"] == 1 and kinds["off"] == len(found.off)
    assert kinds["session"] == kinds["order"] == 0


def test_what_is_begun_or_locked_stays(three: tuple[Instance, Lists]) -> None:
    instance, lists = three
    happened = away("late").model_copy(update={"begun": [CaseBegun(case="A", eye="right")]})
    found = repair(instance, lists, happened)
    assert found.lists == lists and not found.verdict.stands and found.proved
    locked = repair(instance, lists, away("second"), {key("C"): "asked for it"})
    assert key("C") in {placing.case for placing in locked.lists.placings} and not locked.verdict.stands


def test_other_days_are_left_as_they_are(three: tuple[Instance, Lists]) -> None:
    instance, lists = three
    instance = replace(instance, cases=instance.cases | {key("D"): eye("D")})
    thursday = Placing("later", 1, key("D"), "late", "trainer")
    lists = replace(lists, placings=(*lists.placings, thursday))
    for happened in HAPPENED.values():
        assert thursday in repair(instance, lists, happened).lists.placings


AWAY = st.lists(st.sampled_from(["consultant", "second", "trainer", "early", "late"]), max_size=3, unique=True)


@settings(max_examples=25, deadline=None)
@given(st.integers(1, 6), AWAY, st.sampled_from([None, "one", "two"]), st.sampled_from([None, 60, 120, 300]))
def test_a_repaired_list_always_stands(count: int, who: list[str], lost: str | None, minutes: int | None) -> None:
    instance = small(*(eye(f"A{n}", urgency="urgent" if n % 2 else "routine") for n in range(count)))
    lists = match(instance).lists
    changed = [SessionChange(session=lost, lost=True, because="no water")] if lost else []
    changed += [SessionChange(session="one", minutes=minutes, because="late")] if minutes and lost != "one" else []
    happened = Disruption(away=[PersonAway(who=name, day=TUESDAY, because="ill") for name in who], changed=changed)
    found = repair(instance, lists, happened)
    assert found.verdict.stands
    assert {p.case for p in found.lists.placings} | {off.case for off in found.off} == {p.case for p in lists.placings}
    assert_nothing_can_be_undone(instance, found, frozenset())


# Mornings with more lists than a test can try in time are left to fewer cases; all 100 have something to try.
@pytest.mark.parametrize("seed", seeds(100, 12))
def test_no_list_there_is_changes_less(seed: int) -> None:
    one = morning(seed)
    found = repair(one.instance, one.lists, one.happened, dict.fromkeys(one.locked, "asked for it"))
    assert found.proved and tuple(found.measure) == EveryList(one).least()
    assert_nothing_can_be_undone(one.instance, found, one.locked)


@pytest.mark.long
def test_the_mornings_by_chance_are_worth_testing() -> None:
    every = [morning(seed) for seed in range(100)]
    found = [repair(m.instance, m.lists, m.happened, dict.fromkeys(m.locked, "")).measure for m in every]
    for name in ("pressing_off", "pressing_lost", "off", "lost", "session", "people"):
        assert sum(getattr(one, name) > 0 for one in found) >= 5, name
    assert sum(bool(m.happened.begun) for m in every) >= 10 and sum(bool(m.locked) for m in every) >= 10


@pytest.mark.parametrize("seed", seeds(100, 12))
def test_cut_short_it_still_stands_undoes_what_is_not_needed_and_says_so(seed: int) -> None:
    one = morning(seed)
    locked = dict.fromkeys(one.locked, "")
    whole, short = (repair(one.instance, one.lists, one.happened, locked, work) for work in (2500, 0))
    assert short.measure >= whole.measure
    assert not short.proved or short.measure == whole.measure
    assert len(short.verdict.broken) == len(whole.verdict.broken)
    assert_nothing_can_be_undone(one.instance, short, one.locked)


def assert_nothing_can_be_undone(instance: Instance, found: Repair, locked: Iterable[tuple[str, str]]) -> None:
    """No change, alone or with another, could be taken back: the lists with the case as it was break more."""
    was = {placing.case: placing for placing in found.before.placings}
    now = {placing.case: placing for placing in found.lists.placings}
    changed = [one.case for one in found.changes if one.was is not None]
    known = {_what(one) for one in found.verdict.broken}
    for keys in (*combinations(changed, 1), *combinations(changed, 2)):
        if any(was[one].session in found.after.lost for one in keys):
            continue
        kept = [p for p in now.values() if p.case not in keys]
        # Back where it was: behind those that it came behind.
        rows = [(p.session, was[p.case].place if p.case in was and was[p.case].session == p.session else 99, p.place, p)
                for p in (*kept, *(was[one] for one in keys))]  # fmt: skip
        again: list[Placing] = []
        for name, _, _, placing in sorted(rows):
            again.append(replace(placing, place=1 + sum(p.session == name for p in again)))
        back = Lists(tuple(again), found.lists.both_eyes_agreed)
        assert {_what(one) for one in check(found.instance, back).broken} - known, keys


def _what(one: Broken) -> tuple[str, str, str]:
    """Of a whole list what is said counts too: one more case makes a list that is too long longer."""
    return one.rule, one.session, one.case or one.says


# A list of five, of which the second is in hand and runs long; nothing may be put before it, and it may not be touched.
FIVE = [eye(name) for name in "ABCDE"]
OF_FIVE = lists(*(f"one: {name} late trainer" for name in "ABCDE"))


def at(clock: str, **told: Any) -> Disruption:
    return Disruption.model_validate({"on": TUESDAY, "now": datetime.time.fromisoformat(clock)} | told)


def begun(*names: str, until: str | None = None) -> list[CaseBegun]:
    ends = datetime.time.fromisoformat(until) if until else None
    return [CaseBegun(case=name, eye="right", until=ends if name == names[-1] else None) for name in names]


def test_where_a_begun_case_runs_long_the_last_that_are_not_begun_come_off() -> None:
    instance = week(FIVE, [session("one", minutes=230), session("later", day=THURSDAY, minutes=65)])
    found = repair(instance, OF_FIVE, at("10:20", begun=begun("A", "B", until="10:50")))
    # 80 of 230 minutes are left behind B: enough for two cases of a consultant, who operates instead.
    assert {one.case[0]: one.kind for one in found.changes if one.kind == "off"} == {"E": "off"}
    assert [p.case[0] for p in sorted(found.lists.placings)] == ["A", "B", "C", "D"]
    assert found.verdict.stands and found.proved
    longer = repair(instance, OF_FIVE, at("10:20", begun=begun("A", "B", until="12:00")))
    assert [p.case[0] for p in sorted(longer.lists.placings)] == ["A", "B"]
    assert {p.trainee for p in longer.lists.placings} == {"late"}
    # Even when the begun ones alone pass the end of the session, and no repair mends that, no other waits behind them.
    longest = repair(instance, OF_FIVE, at("10:20", begun=begun("A", "B", until="12:50")))
    assert [p.case[0] for p in sorted(longest.lists.placings)] == ["A", "B"] and not longest.verdict.stands
    assert {one.rule for one in longest.verdict.broken} == {"overrun"}


def test_what_is_begun_is_the_beginning_of_its_list_and_nothing_comes_before_it() -> None:
    first = eye("U", urgency="urgent", order={"latex-first": True, "infection-last": False})
    instance = week([*FIVE, first], [session("one"), session("two", theatre="two", supervisors=["consultant"])])
    happened = at("08:50", begun=begun("B"), added=[CaseAdded(case="U", eye="right", day=TUESDAY, because="tense")])
    found = repair(instance, OF_FIVE, happened)
    assert found.verdict.stands
    assert [p.case[0] for p in sorted(found.lists.placings) if p.session == "one"] == ["B", "A", "C", "D", "E"]
    assert [p.session for p in found.lists.placings if p.case == first.key] == ["two"]


def test_nothing_is_put_in_the_past() -> None:
    early = session("early", theatre="two", starts="08:30", minutes=120)
    instance = week(FIVE, [session("one"), early], trainees=PEOPLE[1:2])
    lost = [SessionChange(session="one", lost=True, because="no water")]
    before = repair(instance, OF_FIVE, at("07:30", changed=lost))
    assert before.measure.off < 5 and {p.session for p in before.lists.placings} == {"early"}
    half = repair(instance, OF_FIVE, at("09:45", changed=lost))
    assert before.measure.off < half.measure.off < 5
    after = repair(instance, OF_FIVE, at("10:40", changed=lost))
    assert after.measure.off == 5 and after.lists.placings == () and after.verdict.stands
    # A whole day that is past is nobody's to change.
    yesterday = Placing("one", 1, key("A"), "late", "trainer")
    past = Disruption(
        on=THURSDAY, now=datetime.time(9, 0), away=[PersonAway(who="trainer", day=TUESDAY, because="ill")]
    )
    assert repair(instance, Lists((yesterday,)), past).changes == ()


def test_what_is_left_of_the_session_counts_from_now() -> None:
    instance = week(FIVE, [session("one")], trainees=PEOPLE[1:2])
    assert repair(instance, OF_FIVE, at("08:30")).changes == ()
    late = repair(instance, OF_FIVE, at("10:00"))
    assert {one.rule for one in late.broken} == {"overrun"} and late.verdict.stands and late.changes
    [told, *_] = words.not_begun(late)
    assert told.startswith("A, right eye, number 1 in one, would be done by 08:54") and "not begun" in told


def test_a_set_used_by_a_begun_case_is_ready_from_when_that_ended() -> None:
    hooks = {"iris-hooks": "Iris hooks"}
    cases = [eye("A", kit=hooks), eye("B", kit=hooks), eye("C")]
    instance = week(cases, [session("one", kit={"iris-hooks": sets(1, 15)})])
    placed = lists("one: A late trainer", "one: C late trainer", "one: B late trainer")
    assert check(instance, placed).stands
    # A took until 10:00 and C is not begun: B would still come after it, and the set is ready again by then.
    assert repair(instance, placed, at("10:00", begun=begun("A", until="10:00"))).changes == ()


def test_begun_or_cancelled_is_said_of_a_case_on_a_list() -> None:
    instance = week([*FIVE, eye("F")], [session("one")])
    for happened in (
        at("09:00", begun=begun("F")),
        Disruption(cancelled=[CaseCancelled(case="F", eye="right", because="did not come")]),
        at("09:00", begun=begun("A"), cancelled=[CaseCancelled(case="A", eye="right", because="did not come")]),
    ):
        with pytest.raises(PlannerError):
            repair(instance, OF_FIVE, happened)


def test_cases_that_come_off_are_placed_together() -> None:
    # On Thursday one case has room, and on Friday one that B cannot come to: A on Friday, B on Thursday, both placed.
    friday = THURSDAY + datetime.timedelta(days=1)
    cases = [eye("A"), eye("B", away=frozenset({friday}))]
    sessions = [session("one"), session("thursday", day=THURSDAY, minutes=45, supervisors=["consultant"]),
                session("friday", day=friday, minutes=45, supervisors=["consultant"])]  # fmt: skip
    instance = week(cases, sessions)
    lost = Disruption(changed=[SessionChange(session="one", lost=True, because="no water")])
    found = repair(instance, lists("one: A late trainer", "one: B late trainer"), lost)
    later = {off.case[0]: off.later.session for off in found.off if off.later}
    assert later == {"A": "friday", "B": "thursday"} and found.measure.lost == 0


def test_no_two_cases_are_told_the_same_last_place() -> None:
    sessions = [session("one"), session("thursday", day=THURSDAY, minutes=45, supervisors=["consultant"])]
    instance = week([eye("A"), eye("B", urgency="urgent"), eye("C")], sessions)
    happened = Disruption(
        changed=[SessionChange(session="one", lost=True, because="no water")],
        cancelled=[CaseCancelled(case="C", eye="right", because="did not come")],
    )
    placed = lists("one: A late trainer", "one: B late trainer", "one: C late trainer")
    found = repair(instance, placed, happened)
    assert [off.case[0] for off in found.off if off.later] == ["B"] and found.measure.lost == 1


def test_of_two_that_may_come_off_it_is_the_one_with_a_later_place() -> None:
    cases = [eye("A"), eye("B", away=frozenset({THURSDAY}))]
    instance = week(cases, [session("one"), session("thursday", day=THURSDAY)])
    short = Disruption(changed=[SessionChange(session="one", minutes=45, because="the scrub nurse goes")])
    found = repair(instance, lists("one: A late trainer", "one: B late trainer"), short)
    assert [off.case[0] for off in found.off] == ["A"]


def test_a_lock_that_bars_the_only_answer_is_named_with_what_unlocking_gives() -> None:
    # One of the two has time in `one`, and only A could go to `two`, which has no hooks; but A is locked in `one`.
    two = session("two", minutes=45, supervisors=["consultant"], kit={"iris-hooks": sets(0)})
    instance = week([eye("A"), eye("B", kit={"iris-hooks": "Iris hooks"})], [session("one"), two], PEOPLE[1:2])
    placed = lists("one: A late trainer", "one: B late trainer")
    short = Disruption(changed=[SessionChange(session="one", minutes=50, because="the scrub nurse goes")])
    found = repair(instance, placed, short, {key("A"): "asked for a morning"})
    assert [off.case[0] for off in found.off] == ["B"]
    [one] = found.unlocking
    assert [freed.now.session for freed in one.freed if freed.now] == ["two"] and one.keep == (key("B"),)
    told = words.unlocking(found, one)
    assert "A, right eye is locked in one because: asked for a morning. Unlocked, it could go to two" in told
    assert told.endswith("and then B, right eye keeps its place.")
    assert repair(instance, placed, short).unlocking == ()


def test_somebody_who_is_ill_is_not_on_leave(three: tuple[Instance, Lists]) -> None:
    instance, lists = three
    found = repair(instance, lists, away("trainer"))
    says = [one.says for one in found.broken]
    assert says and all("trainer is away on 1 December 2026 (ill)" in one and "leave" not in one for one in says)
    trainee = repair(instance, lists, away("late"))
    assert any("late is away on 1 December 2026 (ill)" in one.says for one in trainee.broken)
    on_leave = replace(instance, trainees=instance.trainees | {
        "late": replace(instance.trainees["late"], leave=frozenset({TUESDAY}))})  # fmt: skip
    assert any("late is on leave on 1 December 2026" in one.says for one in check(on_leave, lists).broken)


def test_a_case_of_a_later_list_that_is_added_leaves_it_only_for_a_place_today() -> None:
    later = session("later", day=THURSDAY)
    instance = week([*FIVE, eye("U", urgency="urgent")], [session("one"), later])
    placed = replace(OF_FIVE, placings=(*OF_FIVE.placings[:3], Placing("later", 1, key("U"), None, "consultant")))
    added = at("08:00", added=[CaseAdded(case="U", eye="right", day=TUESDAY, because="a tense white lens")])
    found = repair(instance, placed, added)
    assert [p.session for p in found.lists.placings if p.case == key("U")] == ["one"] and found.verdict.stands
    lost = added.model_copy(update={"changed": [SessionChange(session="one", lost=True, because="no water")]})
    without = repair(instance, placed, lost)
    assert [p.session for p in without.lists.placings if p.case == key("U")] == ["later"] and without.verdict.stands
    assert [off.later.session for off in without.off if off.case == key("U") and off.later] == ["later"]


def test_a_case_that_must_be_in_another_session_of_the_day_goes_there() -> None:
    two = session("two", theatre="two", supervisors=["consultant"])
    instance = week(FIVE, [session("one"), two])
    added = [CaseAdded(case="C", eye="right", day=TUESDAY, session="two", because="needs the other microscope")]
    found = repair(instance, OF_FIVE, at("08:00", added=added))
    assert {one.case[0]: one.kind for one in found.changes} == {"C": "session"} and found.verdict.stands


def test_urgent_dated_and_added_cases_are_pressing_and_a_routine_one_with_a_date_is_not() -> None:
    cases = [
        eye("A", urgency="urgent"),
        eye("B", urgency="soon", last_day=THURSDAY, why_then="needed then"),
        eye("C", urgency="routine", last_day=THURSDAY, why_then="needed then"),
        eye("D", urgency="soon"),
    ]
    instance = week(cases)
    pressing = {name for name in "ABCD" if is_pressing(instance, key(name), added=False)}
    assert pressing == {"A", "B"} and is_pressing(instance, key("D"), added=True)
