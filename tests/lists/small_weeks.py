"""A small invented week built by hand, for tests to change one thing in."""

from __future__ import annotations

import datetime
import random
from dataclasses import replace
from typing import Any

from planner.case import Stage
from planner.lists.roster.shapes import KitSets, Session, Supervisor, Wishes
from planner.lists.week.instance import FixedOrder, Instance, Key, ListCase, Lists, Placing, SupervisionNeed, Trainee
from planner.lists.week.overrun import Time

TUESDAY, THURSDAY = datetime.date(2026, 12, 1), datetime.date(2026, 12, 3)
A_WEEK_AGO = datetime.date(2026, 11, 24)
A_WEEK_LATER = datetime.date(2026, 12, 8)
# Mean (SD) in minutes, Nderitu and Ursell: consultant 19 (10), senior 24 (10), intermediate 27 (12), junior 30 (11).
TIMES = {
    "consultant": Time(19, 10),
    "independent": Time(24, 10),
    "late": Time(24, 10),
    "middle": Time(27, 12),
    "early": Time(30, 11),
    "steps-only": Time(30, 11),
}
# Roberts 2018: 19.97 minutes a case with its turnover, less 10.3 operating.
TURNOVER = 9.67
SIMPLE: dict[Stage, SupervisionNeed] = {
    "steps-only": SupervisionNeed("consultant-operates", "consultant", ("ovd", "lens")),
    "early": SupervisionNeed("scrubbed", "trainer", ("incisions", "lens")),
    "late": SupervisionNeed("on-site", "trainer", ("incisions", "lens")),
}
HARD: dict[Stage, SupervisionNeed] = {
    "steps-only": SupervisionNeed("consultant-operates", "consultant", ("ovd",)),
    "early": SupervisionNeed("consultant-operates", "consultant", ("ovd",)),
    "late": SupervisionNeed("scrubbed", "consultant", ("incisions", "lens")),
}


def drawn_tier(draw: random.Random) -> dict[str, Any]:
    """What makes a drawn eye hard, three times in ten; nothing for a plain one."""
    return {"tier": 3, "with_stage": HARD} if draw.random() < 0.3 else {}


def eye(reference: str, **changed: Any) -> ListCase:
    """A tier 1 eye with nothing against it, some things otherwise."""
    plain = ListCase(
        reference=reference,
        eye="right",
        patient=f"P-{reference}",
        tier=1,
        with_stage=SIMPLE,
        kit={},
        added=(),
        anaesthetist=False,
        order={"latex-first": False, "infection-last": False},
        consent=True,
        agreement=True,
        unsettled=(),
        urgency="routine",
        last_day=None,
        why_then="",
        since=datetime.date(2026, 11, 2),
        listed=True,
        general_anaesthetic=False,
        recovery=False,
    )
    return replace(plain, **changed)


def session(name: str, **changed: Any) -> Session:
    plain: dict[str, Any] = {
        "id": name,
        "day": TUESDAY,
        "starts": "08:30",
        "theatre": name,
        "minutes": 240,
        "anaesthetist": False,
        "supervisors": ["consultant", "trainer"],
    }
    return Session(**(plain | changed))


PEOPLE = (
    Trainee("early", "early", None, frozenset()),
    Trainee("late", "late", None, frozenset()),
    Trainee("learner", "steps-only", frozenset({"ovd"}), frozenset()),
)
SUPERVISORS = (
    Supervisor(id="consultant", grade="consultant", can=["scrubbed", "in-theatre", "on-site"], on_site_rooms=2),
    Supervisor(id="trainer", grade="trainer", can=["scrubbed", "in-theatre", "on-site"]),
)


def week(
    cases: list[ListCase],
    sessions: list[Session] | None = None,
    trainees: tuple[Trainee, ...] = PEOPLE,
    supervisors: tuple[Supervisor, ...] = SUPERVISORS,
    wishes: Wishes | None = None,
) -> Instance:
    return Instance(
        cases={case.key: case for case in cases},
        trainees={trainee.id: trainee for trainee in trainees},
        supervisors={supervisor.id: supervisor for supervisor in supervisors},
        sessions={one.id: one for one in (sessions or [session("one"), session("two")])},
        times=TIMES,
        times_basis="published",
        turnover=TURNOVER,
        overrun_chance=0.1,
        order=(
            FixedOrder("latex-first", True, "Latex allergy.", "common practice", "latex allergy"),
            FixedOrder("infection-last", False, "Infection precautions.", "common practice", "infection precautions"),
        ),
        near_powers=1.0,
        night_from=datetime.time(22),
        days_between_eyes=7,
        days_between_eyes_basis="unit policy",
        anaesthetist_because="It needs an anaesthetist.",
        wishes=wishes or Wishes(),
    )


def key(reference: str) -> Key:
    return reference, "right"


def lists(*lines: str, both_eyes_agreed: frozenset[str] = frozenset()) -> Lists:
    """Lists from lines such as `one: A early trainer`; `-` for no trainee."""
    placings, counts = [], dict[str, int]()
    for line in lines:
        name, told = line.split(": ")
        reference, trainee, supervisor = told.split()
        counts[name] = counts.get(name, 0) + 1
        placings.append(Placing(name, counts[name], key(reference), None if trainee == "-" else trainee, supervisor))
    return Lists(tuple(placings), both_eyes_agreed)


def sets(number: int, again: int | None = None) -> KitSets:
    return KitSets(sets=number, ready_again_after=again)
