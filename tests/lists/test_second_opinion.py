"""The checker against a second judge, written from the README alone: on 15 drawn weeks both tell the same rules broken.

Each week is judged as the quick matching leaves it, and with faults planted at random in it.
"""

from __future__ import annotations

import datetime
import random
from collections import Counter
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest
from lists.second_judge import Judge, Line, OtherEye, Told, too_near_to_tell, unlike
from lists.second_rules import judged
from seeds import draws

from planner.case import Case
from planner.exchange.case_reader import ReadCase, read_cases
from planner.lists.matching.insertion import counted
from planner.lists.matching.match import match
from planner.lists.roster.shapes import Roster
from planner.lists.rules.checker import check
from planner.lists.rules.registry import RULES
from planner.lists.week.gather import Gathered
from planner.lists.week.instance import Fellow, Instance, Key, Lists, Placing
from planner.rulebook.rulebook import Rulebook
from planner.unit import Unit, read_unit

DEMO = Path(__file__).parents[2] / "demo_cases"
TUESDAY = datetime.date(2026, 12, 1)
WEEKS, CASES, VARIANTS = draws(3, 15), 16, 12


@pytest.fixture(scope="module")
def pool(rulebook: Rulebook) -> list[Case]:
    items = read_cases(str(DEMO / "lists" / "pool.csv"), rulebook.vocabulary)
    return [item.case for item in items if isinstance(item, ReadCase)]


@pytest.fixture(scope="module")
def unit(rulebook: Rulebook) -> Unit:
    return read_unit(DEMO / "unit.yaml", rulebook)


@dataclass(frozen=True)
class DrawnWeek:
    cases: list[Case]
    roster: Roster
    instance: Instance
    elsewhere: dict[Key, OtherEye]


def drawn_week(seed: int, pool: list[Case], rulebook: Rulebook, unit: Unit) -> DrawnWeek:
    chance = random.Random(seed)
    cases = [_otherwise(case, chance) for case in chance.sample(pool, CASES)]
    # Both eyes of two patients.
    for number in (0, 1, 2):
        other = {"left": "right", "right": "left"}[cases[number].eye]
        second = replace(cases[number], reference=f"L-50{number}", eye=other)
        if chance.random() < 0.5:
            second = second.with_finding("second_eye", True)
            reviewed = chance.choice((None, TUESDAY - datetime.timedelta(2), TUESDAY + datetime.timedelta(1)))
            second = second.with_finding("first_eye_reviewed_on", reviewed)
        cases.append(second)
    roster = _roster(chance, cases)
    instance = Gathered(cases, rulebook, unit, roster).instance
    elsewhere = _other_eyes(cases, random.Random(f"eyes {seed}"))
    known = {
        key: replace(instance.cases[key], fellow=Fellow("the other eye", eye.day, eye.due))
        for key, eye in elsewhere.items()
    }
    return DrawnWeek(cases, roster, replace(instance, cases=instance.cases | known), elsewhere)


def _other_eyes(cases: list[Case], chance: random.Random) -> dict[Key, OtherEye]:
    """Some patients' other eyes, as the records would know them: operated on, or on a list of some day."""
    days = [None, *(TUESDAY + datetime.timedelta(n) for n in (-9, -2, -1, 0, 1, 2, 5))]
    return {
        (case.reference, case.eye): OtherEye(chance.choice(days), chance.random() < 0.5)
        for case in cases
        if chance.random() < 0.2
    }


def _otherwise(case: Case, chance: random.Random) -> Case:
    """The case with some findings recorded otherwise, or not recorded: each of them seldom."""
    drawn: tuple[tuple[str, tuple[Any, ...], float], ...] = (
        ("latex_allergy", (True, None), 0.15),
        ("infection_precautions", (True, None), 0.15),
        ("consent_to_surgery", (False, None), 0.1),
        ("trainee_involvement_agreed", (False, None), 0.15),
        ("anaesthesia_requested", ("general", None), 0.25),
        ("can_lie_flat", (False, None), 0.08),
        ("keeps_still", (False, None), 0.08),
        ("dilated_pupil_mm", (3.5, 4.0, 5.5), 0.5),
        ("active_eye_infection", (True,), 0.04),
        ("urgency", ("urgent", "soon", None), 0.4),
        ("needed_by", tuple(TUESDAY + datetime.timedelta(days) for days in (-3, 0, 1, 6)), 0.15),
        ("biometry_date", tuple(TUESDAY - datetime.timedelta(days) for days in (400, 30, -1)), 0.15),
        ("iop_date", (None, TUESDAY + datetime.timedelta(1)), 0.15),
    )
    for finding, values, often in drawn:
        if chance.random() < often:
            case = case.with_finding(finding, chance.choice(values))
    if chance.random() < 0.1:
        case = case.with_finding(chance.choice(sorted(case.findings)), None)
    if chance.random() < 0.06:
        case = replace(case, patient=None)
    # Listed and recorded some weeks ago, at times not, or so that it cannot be.
    back = [chance.choice((None, -1, *range(1, 70))), chance.choice((None, -1, *range(1, 40)))]
    listed, recorded = (None if days is None else TUESDAY - datetime.timedelta(days) for days in back)
    return replace(case, listed_on=listed, recorded_on=recorded)


def _roster(chance: random.Random, cases: list[Case]) -> Roster:
    def days(often: float) -> list[str]:
        return [str(TUESDAY + datetime.timedelta(n)) for n in range(3) if chance.random() < often]

    def counted_kit() -> dict[str, dict[str, int]]:
        found = {}
        for item in ("iris-hooks", "pupil-ring", "capsule-microforceps", "trypan-blue", "anterior-vitrector"):
            if chance.random() < 0.6:
                again = {"ready_again_after": chance.choice([20, 60, 180])} if chance.random() < 0.6 else {}
                found[item] = {"sets": chance.choice([0, 1, 1, 2]), **again}
        return found

    steps = ["incisions", "ovd", "lens", "hydro", "nucleus", "cortex"]
    people = [f"trainee-{n}" for n in range(1, 6)] + ["fellow-1"]
    can = ["scrubbed", "in-theatre", "on-site"]
    supervisors: list[dict[str, Any]] = [
        {"id": "consultant-1", "grade": "consultant", "can": can, "on_site_rooms": 2},
        {"id": "consultant-2", "grade": "consultant", "can": can[: chance.randint(1, 3)]},
        {"id": "trainer-1", "grade": "trainer", "can": can[: chance.randint(1, 3)], "on_site_rooms": 1},
        {"id": "trainer-2", "grade": "trainer", "can": ["on-site"], "on_site_rooms": 2},
    ]
    names = [one["id"] for one in supervisors]
    sessions = [
        {
            "id": f"s{day}{room}",
            "day": str(TUESDAY + datetime.timedelta(day)),
            # Two theatres, the first of them twice a day, at times into the night.
            "starts": chance.choice((["08:30", "09:00"], ["08:30", "09:00", "13:00"], ["14:00", "18:30"])[room]),
            "theatre": f"theatre {room % 2}",
            "minutes": chance.choice([120, 180, 240]),
            "anaesthetist": chance.choice(["yes", "no"]),
            "supervisors": sorted(chance.sample(names, chance.randint(2, 3))),
            "kit": counted_kit(),
            **{
                limit: chance.randint(least, least + 1)
                for limit, least in (("most_cases", 2), ("most_general_anaesthetics", 0), ("recovery_places", 0))
                if chance.random() < 0.3
            },
        }
        for day in range(3)
        for room in range(3)
    ]
    between = {"days_between_eyes": chance.choice([1, 2])} if chance.random() < 0.5 else {}
    limits: dict[str, Any] = between | {"within_days": {"urgent": chance.choice([14, 28]), "soon": 42}}
    if chance.random() < 0.5:
        limits["within_days"]["routine"] = 60
    if chance.random() < 0.5:
        limits["overrun_chance"] = chance.choice([0.05, 0.2])
        limits["turnover_minutes"] = 12
        limits["operating_minutes"] = {"late": {"mean": 28, "sd": 14, "cases": 60}}
    return Roster.model_validate(
        {
            "trainees": [
                {"id": name, "leave": days(0.15), "steps_cleared": chance.sample(steps, 1) if name[-1] == "1" else []}
                for name in people
            ],
            "supervisors": [one | {"leave": days(0.1)} for one in supervisors],
            "sessions": sessions,
            "patients": [
                {"id": name, "away": days(0.4), "not_before": str(TUESDAY + datetime.timedelta(chance.randint(0, 2)))}
                for name in sorted({case.patient for case in cases if case.patient and chance.random() < 0.2})
            ],
            "limits": limits,
            "late_accepted": [
                {"case": case.reference, "eye": case.eye, "because": "drawn"} for case in cases if chance.random() < 0.1
            ],
        }
    )


def with_faults(week: DrawnWeek, lists: Lists, chance: random.Random) -> Lists:
    """The lists with one to four things done to them that nobody judged."""
    held, sessions = list(lists.placings), list(week.instance.sessions)
    trainees, supervisors = [None, *week.instance.trainees], list(week.instance.supervisors)
    for _ in range(chance.randint(1, 4)):
        one = chance.choice(held) if held else None
        placed = {placing.case for placing in held}
        out = [key for key in week.instance.cases if key not in placed]
        match chance.randrange(9):
            case 0 if one:
                held[held.index(one)] = replace(one, session=chance.choice(sessions), place=chance.randint(0, 9))
            case 1 if one:
                held[held.index(one)] = replace(one, supervisor=chance.choice(supervisors))
            case 2 if one:
                held[held.index(one)] = replace(one, trainee=chance.choice(trainees))
            case 3 if one:
                held[held.index(one)] = replace(one, place=chance.randint(0, 9))
            case 4 if one and chance.random() < 0.4:
                held.append(replace(one, session=chance.choice(sessions), place=20))
            case 5 if one:
                # A patient's other eye beside the first, or on another list.
                patient = week.instance.cases[one.case].patient
                others = [key for key in out if week.instance.cases[key].patient == patient]
                at = chance.choice([one.session, *sessions])
                held += [replace(one, session=at, case=key, place=chance.randint(0, 9)) for key in others]
            case 6 if one:
                held[held.index(one)] = replace(one, trainee="trainee-1", supervisor="consultant-1")
            case _ if out:
                who = chance.choice(trainees), chance.choice(supervisors)
                held.append(Placing(chance.choice(sessions), chance.randint(0, 9), chance.choice(out), *who))
        # `counted` numbers each list anew from 1, in the order of the places given.
        held = list(counted(held))
    agreed = {case.patient for case in week.cases[:2] if case.patient and chance.random() < 0.3}
    return Lists(tuple(held), frozenset(agreed))


def compared(
    week: DrawnWeek, lists: Lists, begun: frozenset[Key], rulebook: Rulebook, unit: Unit
) -> tuple[set[Told], list[str]]:
    """What the second judge tells, and each point in which the two do not agree."""
    by_key = {(case.reference, case.eye): case for case in week.cases}
    lines = [Line(p.session, p.place, by_key[p.case], p.trainee, p.supervisor) for p in lists.placings]
    judge = Judge(rulebook, unit, week.roster, lines, lists.both_eyes_agreed, begun, week.elsewhere)
    mine, verdict = judged(judge), check(replace(week.instance, begun=begun), lists)
    theirs = {
        Told(one.rule, frozenset({(one.session, one.case)}), asked)
        for found, asked in ((verdict.broken, False), (verdict.asked, True))
        for one in found
    }
    near = {Told("overrun", frozenset({(session, None)})) for session in too_near_to_tell(judge)}
    judges = zip(("the second judge", "the checker"), unlike(mine, theirs), strict=True)
    return mine, [
        f"only {judge} tells {one.rule}{' as a question' if one.asked else ''} in {sorted(map(str, one.places))}"
        for judge, alone in judges
        for one in alone - near
    ]


def test_both_judges_tell_the_same_rules_broken(rulebook: Rulebook, unit: Unit, pool: list[Case]) -> None:
    told, differ = Counter[str](), []
    for seed in range(WEEKS):
        week = drawn_week(seed, pool, rulebook, unit)
        quick = match(week.instance).lists
        chance = random.Random(f"faults {seed}")
        assert quick.placings
        for number, lists in enumerate([quick, *(with_faults(week, quick, chance) for _ in range(VARIANTS))]):
            begun = frozenset(p.case for p in lists.placings if number and chance.random() < 0.1)
            mine, points = compared(week, lists, begun, rulebook, unit)
            differ += [f"week {seed}, variant {number}: {point}" for point in points]
            told.update({one.rule for one in mine if not one.asked})
    assert not differ, "\n".join(differ)
    # A rule that no fault broke was not compared: none with --long. Files hold no approvals to be covered by.
    not_compared = set(RULES.ids) - {"approval-covers"} - set(told)
    assert len(not_compared) <= draws(3, 0), not_compared
