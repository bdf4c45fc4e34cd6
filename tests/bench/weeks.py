"""Weeks of lists made by a seeded generator, as large as asked, with cases and people as a unit might have them."""

from __future__ import annotations

import datetime
import random

from lists.small_weeks import TUESDAY as FIRST
from lists.small_weeks import eye, session, week

from planner.case import Stage
from planner.lists.roster.shapes import KitSets, Supervisor, Wishes
from planner.lists.week.instance import Instance, ListCase, SupervisionNeed, Trainee

STAGES: tuple[Stage, ...] = ("steps-only", "early", "early", "middle", "late", "independent")
# Tier by stage: mode and who, as rules/supervision.yaml has them in outline.
MODES = {
    1: {"early": "scrubbed", "middle": "in-theatre", "late": "on-site", "independent": "on-site"},
    2: {"middle": "scrubbed", "late": "in-theatre", "independent": "on-site"},
    3: {"late": "scrubbed", "independent": "in-theatre"},
    4: {},
}
STEPS = ("incisions", "ovd", "lens")


def made(cases: int, sessions: int, trainees: int, consultants: int, seed: int = 1, **wishes: float) -> Instance:
    """An instance; the same numbers give the same one."""
    chance = random.Random(f"{cases} {sessions} {trainees} {consultants} {seed}")
    learners = tuple(
        Trainee(f"trainee-{n:02}", STAGES[n % 6], frozenset({"ovd", "lens"}) if n % 6 == 0 else None, frozenset())
        for n in range(trainees)
    )
    trainers = max(1, consultants // 2)
    supervisors = (
        *(
            Supervisor(
                id=f"consultant-{n}", grade="consultant", can=["scrubbed", "in-theatre", "on-site"], on_site_rooms=2
            )
            for n in range(consultants)
        ),
        *(Supervisor(id=f"trainer-{n}", grade="trainer", can=["scrubbed", "in-theatre"]) for n in range(trainers)),
    )
    rooms = max(2, consultants // 2)
    held = []
    for n in range(sessions):
        room, day = n % rooms, n // rooms
        there = [f"consultant-{(2 * room + day) % consultants}"]
        there += [f"trainer-{(room + day) % trainers}"] if chance.random() < 0.6 else []
        held.append(
            session(
                f"s{n:03}",
                day=FIRST + datetime.timedelta(days=day),
                theatre=f"theatre {room}",
                anaesthetist=chance.random() < 0.4,
                supervisors=there,
                kit={"iris-hooks": KitSets(sets=chance.choice([0, 1, 1, 2]), ready_again_after=180)},
            )
        )
    last = held[-1].day
    pool = [_case(f"C{n:04}", chance, last) for n in range(cases)]
    return week(pool, held, learners, supervisors, Wishes(**wishes))


def _case(reference: str, chance: random.Random, last: datetime.date) -> ListCase:
    tier = chance.choices([1, 2, 3, 4], [55, 25, 14, 6])[0]
    urgency = chance.choices(["routine", "soon", "urgent"], [80, 14, 6])[0]
    days = (last - FIRST).days
    due = {"soon": 0.7, "urgent": 0.3}.get(urgency)
    hooks = chance.random() < 0.06
    return eye(
        reference,
        tier=tier,
        patient=f"P-{reference}",
        with_stage={stage: _supervision(tier, stage) for stage in dict.fromkeys(STAGES)},
        kit={"iris-hooks": "Iris hooks"} if hooks else {},
        added=(("iris-hooks", 16.0),) if hooks else (),
        anaesthetist=chance.random() < 0.08,
        agreement=chance.choices([True, False, None], [85, 8, 7])[0],
        urgency=urgency,
        last_day=FIRST + datetime.timedelta(days=round(days * due)) if due is not None else None,
        why_then=f"{urgency}" if due is not None else "",
        order={"latex-first": chance.random() < 0.02, "infection-last": chance.random() < 0.03},
    )


def _supervision(tier: int, stage: Stage) -> SupervisionNeed:
    mode = MODES[tier].get(stage)
    if mode is None:
        return SupervisionNeed("consultant-operates", "consultant", STEPS[1:])
    return SupervisionNeed(mode, "consultant" if tier == 3 else "trainer", STEPS)
