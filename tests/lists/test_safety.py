"""What keeps a patient safe on a list: planted faults are found wherever they are planted, and no proposal has one."""

from __future__ import annotations

import datetime
import random
from collections.abc import Callable
from dataclasses import replace
from itertools import permutations

import pytest
from bench.weeks import made
from lists.second_judge import Judge, Line, OtherEye
from lists.second_rules import OF_EYES_AND_ORDER
from lists.small_weeks import TUESDAY, eye, key, lists, session, week
from seeds import draws, seeds

from planner.case import Case
from planner.lists.matching.best import best
from planner.lists.matching.equivalence import Alike
from planner.lists.matching.match import filled
from planner.lists.matching.objective import of_lists
from planner.lists.roster.shapes import Limits, Roster
from planner.lists.rules.checker import check
from planner.lists.week.instance import Fellow, Instance, ListCase, Lists, Placing
from planner.rulebook.rulebook import Rulebook
from planner.unit import Unit

JUDGED = {"begun-first", "fixed-order", "patient-in-one-theatre", "one-eye-a-day", "between-eyes", "first-eye-reviewed"}
BrokenBy = Callable[[Instance, Lists], set[str]]
DAY = datetime.timedelta(days=1)


def chance_lists(seed: int) -> tuple[Instance, Lists]:
    """Two or three days of two theatres, morning and afternoon, and cases put anywhere, whatever that breaks."""
    draw = random.Random(seed)
    sessions = [
        session(f"{day}{hour}{room}", day=TUESDAY + day * draw.choice([1, 4]) * DAY, starts=hour, minutes=length,
                theatre=draw.choice([f"theatre {room}", f"Theatre  {room}"]))
        for day in range(2) for room in "12" for hour, length in (("08:30", draw.choice([180, 300])), ("13:00", 180))
        if draw.random() < 0.7
    ]  # fmt: skip
    sessions = sessions or [session("only")]
    cases = [_drawn(name, draw) for name in "ABCDEF"]
    placings: dict[str, int] = {}
    found = []
    for case in cases:
        if draw.random() < 0.8:
            name = draw.choice(sessions).id
            placings[name] = placings.get(name, 0) + 1
            found.append(Placing(name, placings[name], case.key, "late", "consultant"))
    begun = frozenset(placing.case for placing in found if draw.random() < 0.15)
    instance = replace(week(cases, sessions), days_between_eyes=draw.choice([0, 1, 3, 7]), begun=begun)
    return instance, Lists(tuple(found), frozenset(draw.sample("PQ", draw.randint(0, 1))))


def _drawn(name: str, draw: random.Random) -> ListCase:
    fellow = Fellow(
        "the other eye", draw.choice([None, TUESDAY - 9 * DAY, TUESDAY - 2 * DAY, TUESDAY]), draw.random() < 0.5
    )
    return eye(
        name,
        patient=draw.choice(["P", "Q", f"P-{name}", f"P-{name}", None]),
        order={"latex-first": draw.choice([False, False, True, None]), "infection-last": draw.random() < 0.2},
        fellow=fellow if draw.random() < 0.2 else None,
        reviewed_on=draw.choice([None, TUESDAY - 2 * DAY, TUESDAY, TUESDAY + 2 * DAY]),
    )


@pytest.fixture(scope="module")
def broken_by(rulebook: Rulebook, demo_unit: Unit) -> BrokenBy:
    """Which rules of `JUDGED` lists break by the second judge, who reads findings and days alone."""

    def broken(instance: Instance, placed: Lists) -> set[str]:
        cases = {key: _recorded(case) for key, case in instance.cases.items()}
        lines = [Line(p.session, p.place, cases[p.case], p.trainee, p.supervisor) for p in placed.placings]
        limits = Limits(days_between_eyes=instance.days_between_eyes)
        roster = Roster(trainees=[], supervisors=[], sessions=list(instance.sessions.values()), limits=limits)
        eyes = {key: OtherEye(c.fellow.day, c.fellow.review_due) for key, c in instance.cases.items() if c.fellow}
        judge = Judge(rulebook, demo_unit, roster, lines, placed.both_eyes_agreed, instance.begun, eyes)
        return {one.rule for rule in OF_EYES_AND_ORDER for one in rule(judge) if not one.asked}

    return broken


def _recorded(case: ListCase) -> Case:
    """What of a case these rules are about, as it would be recorded."""
    findings = {
        "latex_allergy": case.order["latex-first"],
        "infection_precautions": case.order["infection-last"],
        "first_eye_reviewed_on": case.reviewed_on,
    }
    known = {name: value for name, value in findings.items() if value is not None}
    return Case(case.reference, case.eye, known, patient=case.patient)


def judged(instance: Instance, placed: Lists) -> set[str]:
    return {broken.rule for broken in check(instance, placed).broken} & JUDGED


@pytest.mark.parametrize("seed", seeds(300, 80))
def test_the_second_judge_agrees(seed: int, broken_by: BrokenBy) -> None:
    instance, placed = chance_lists(seed)
    assert judged(instance, placed) == broken_by(instance, placed)


@pytest.mark.long
def test_the_chance_lists_break_every_rule_and_none(broken_by: BrokenBy) -> None:
    found = [broken_by(*chance_lists(seed)) for seed in range(300)]
    for rule in JUDGED:
        assert sum(found_one == {rule} for found_one in found) >= 2, rule
    assert sum(not one for one in found) >= 10


@pytest.mark.parametrize("order", list(permutations("ABC")))
def test_one_order_alone_is_right(order: tuple[str, ...]) -> None:
    # Known, then not recorded, then absent: of six orders one keeps the rule, on one list or on three of one theatre.
    of = {"A": True, "B": None, "C": False}
    cases = [eye(name, order={"latex-first": of[name], "infection-last": False}) for name in "ABC"]
    three = [session(str(n), starts=f"{8 + 4 * n:02}:00", theatre="One" if n else " one") for n in range(3)]
    assert check(week(cases), lists(*(f"one: {n} late trainer" for n in order))).stands is (order == tuple("ABC"))
    spread = lists(*(f"{n}: {name} late trainer" for n, name in enumerate(order)))
    assert check(week(cases, three), spread).stands is (order == tuple("ABC"))


def unsafe_week(seed: int) -> tuple[Instance, Lists]:
    """A week of morning and afternoon lists of the same theatres, full of pairs of eyes and of fixed places."""
    draw = random.Random(seed)
    plain = made(24, 6, 4, 4, seed)
    sessions = {}
    for n, held in enumerate(plain.sessions.values()):
        day = TUESDAY + (n // 4) * draw.choice([1, 3, 7]) * DAY
        changed = {"theatre": f"theatre {n % 2}", "day": day, "starts": datetime.time(8 + 6 * (n % 4 // 2))}
        sessions[held.id] = held.model_copy(update=changed)
    cases = {}
    for n, case in enumerate(plain.cases.values()):
        order = {"latex-first": draw.choice([False] * 6 + [True, None]), "infection-last": draw.random() < 0.1}
        cases[case.key] = replace(case, patient=f"P-{n // 2 if n < 16 else n}", order=order)
    return replace(plain, sessions=sessions, cases=cases), Lists((), frozenset({"P-0", "P-1", "P-2"}))


def stop() -> None:
    """Leaves the reasons out, which take longest."""
    raise KeyboardInterrupt


@pytest.mark.parametrize("seed", seeds(6, 2))
def test_no_proposal_is_unsafe(seed: int, broken_by: BrokenBy) -> None:
    instance, kept = unsafe_week(seed)
    quick = filled(Alike(instance, kept))
    assert check(instance, quick).stands and broken_by(instance, quick) == set()
    found = best(instance, kept, effort=2, ended=stop)
    assert found.verdict.stands and broken_by(instance, found.lists) == set()
    assert found.bound >= found.worth >= of_lists(instance, quick) - 1e-6


def test_the_unsafe_weeks_are_worth_testing(broken_by: BrokenBy) -> None:
    weeks = [(instance, filled(Alike(instance, kept))) for instance, kept in map(unsafe_week, range(draws(2, 6)))]
    patients = [[instance.cases[placing.case].patient for placing in found.placings] for instance, found in weeks]
    assert any(len(set(each)) < len(each) for each in patients), "both eyes of somebody are placed"
    for instance, found in weeks:
        swapped = [_swapped(found, n) for n in range(len(found.placings) - 1)]
        assert any(broken_by(instance, each) for each in swapped)
        assert all(judged(instance, each) == broken_by(instance, each) for each in swapped)


def _swapped(found: Lists, n: int) -> Lists:
    """Two cases in each other's place."""
    placings = list(found.placings)
    one, other = placings[n], placings[n + 1]
    placings[n], placings[n + 1] = replace(one, case=other.case), replace(other, case=one.case)
    return replace(found, placings=tuple(placings))


def test_what_was_begun_stays_first_when_another_is_put_there() -> None:
    instance = replace(week([eye("A"), eye("B")]), begun=frozenset({key("A")}))
    for place in (1, 2):
        placed = Lists(
            (Placing("one", 3 - place, key("A"), "late", "trainer"), Placing("one", place, key("B"), "late", "trainer"))
        )
        assert check(instance, placed).stands is (place == 2)
