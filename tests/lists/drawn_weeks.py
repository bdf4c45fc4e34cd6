"""Weeks drawn at random in which many cases are of one kind, and cases stand anywhere, whatever that breaks."""

from __future__ import annotations

import datetime
import random
from dataclasses import replace
from typing import Any

from lists.small_weeks import HARD, PEOPLE, SUPERVISORS, TUESDAY, eye, session, sets, week

from planner.lists.week.instance import Covering, Fellow, Instance, ListCase, Lists, Placing

DAY = datetime.timedelta(days=1)
BOTH = ("P", "Q")  # patients with two cases
HOOKS, RING = {"iris-hooks": "Iris hooks"}, {"pupil-ring": "Pupil ring"}


def drawn_week(seed: int) -> tuple[Instance, Lists]:
    """Ten cases of three or four profiles, most of them placed at random on some of six sessions of three days."""
    draw = random.Random(seed)
    first = _profile(draw)
    # The others differ from it in one fact or two.
    profiles = [first, *(_otherwise(first, draw) for _ in range(3))]
    cases = [_case(f"{n}", draw.choice(profiles), draw) for n in range(10)]
    sessions = [
        session(
            f"{day}{room}",
            day=TUESDAY + draw.choice([day, 7 * day]) * DAY,
            starts=draw.choice(["08:30", "08:30", "13:00"]),
            theatre=draw.choice(["one", "two"]),
            minutes=draw.choice([60, 120, 240]),
            anaesthetist=draw.random() < 0.5,
            supervisors=draw.sample(["consultant", "trainer"], draw.choice([1, 2])),
            kit={item: sets(draw.choice([0, 1]), draw.choice([None, 20])) for item in ("iris-hooks", "pupil-ring")},
            most_cases=draw.choice([None, 1, 2]),
            most_general_anaesthetics=draw.choice([None, 0, 1]),
            recovery_places=draw.choice([None, 0, 1]),
        )
        for day in range(3)
        for room in range(2)
    ]
    away = frozenset({TUESDAY}) if draw.random() < 0.3 else frozenset[datetime.date]()
    trainees = (replace(PEOPLE[0], leave=away), *PEOPLE[1:])
    trainer = SUPERVISORS[1].model_copy(
        update={"leave": sorted(away), "can": draw.choice([["scrubbed"], ["scrubbed", "in-theatre", "on-site"]])}
    )
    instance = week(cases, sessions, trainees, (SUPERVISORS[0], trainer))
    counts: dict[str, int] = {}
    found = []
    for case in cases:
        if draw.random() < 0.8:
            name = draw.choice(sessions).id
            counts[name] = counts.get(name, 0) + 1
            who = draw.choice([None, *instance.trainees]), draw.choice(list(instance.supervisors))
            found.append(Placing(name, counts[name], case.key, *who))
    if found and draw.random() < 0.2:
        found.append(replace(draw.choice(found), session=draw.choice(sessions).id, place=9))
    begun = frozenset(placing.case for placing in found if draw.random() < 0.15)
    instance = replace(
        instance,
        begun=begun,
        taken={placing.session: 30.0 for placing in found[:1] if draw.random() < 0.3},
        on=draw.choice([None, TUESDAY - DAY]),
        days_between_eyes=draw.choice([1, 3, 7]),
        away_because={("early", TUESDAY): "ill"} if draw.random() < 0.3 else {},
    )
    return instance, Lists(tuple(found), frozenset(draw.sample(BOTH, draw.choice([0, 1]))))


def _profile(draw: random.Random, often: float = 0.12) -> dict[str, Any]:
    """What rules read of a case, the plain value more often than the others."""
    seldom: dict[str, tuple[Any, ...]] = {
        "with_stage": (HARD,),
        "tier": (4,),
        "kit": (HOOKS, RING, HOOKS | RING),
        "added": ((("iris-hooks", 6.0),),),
        "anaesthetist": (True, None),
        "order": tuple(
            {"latex-first": first, "infection-last": last} for first in (True, None, False) for last in (True, False)
        ),
        "consent": (False, None),
        "agreement": (False, None),
        "unsettled": (("the pressure",),),
        "last_day": (TUESDAY, TUESDAY - DAY),
        "away": (frozenset({TUESDAY}),),
        "not_before": (TUESDAY + DAY,),
        "approval": (
            Covering(True, frozenset({"early"}), "approved"), Covering(True, frozenset({"early", "late"}), "approved"),
            Covering(False, frozenset(), "not approved"),
        ),
        "fellow": tuple(
            Fellow("the other eye", day, due)
            for day in (None, TUESDAY - DAY, TUESDAY, TUESDAY - 9 * DAY)
            for due in (True, False)
        ),
        "reviewed_on": (TUESDAY - 2 * DAY, TUESDAY),
        "general_anaesthetic": (True, None),
        "recovery": (True, None),
    }  # fmt: skip
    return {name: draw.choice(values) for name, values in seldom.items() if draw.random() < often}


def _otherwise(profile: dict[str, Any], draw: random.Random) -> dict[str, Any]:
    other = _profile(draw, 0.08)
    plain = [name for name in profile if draw.random() < 0.2]
    return {name: value for name, value in (profile | other).items() if name not in plain or name in other}


def _case(name: str, profile: dict[str, Any], draw: random.Random) -> ListCase:
    """A case of that profile, otherwise in all that no rule reads, or that rules read less closely."""
    case = eye(name, **profile)
    if case.unsettled:
        case = replace(case, unsettled=tuple(f"{name} {n}" for n in range(draw.choice([1, 2]))))
    patient = draw.choice([f"P-{name}", f"P-{name}", f"P-{name}", None, *BOTH])
    return replace(
        case,
        patient=patient,
        urgency=draw.choice(["routine", "soon", None]),
        lens_power=draw.choice([None, 12.0, 21.5, 28.0]),
        late_because=draw.choice([None, None, None, "accepted"]),
        why_then=f"needed by {case.last_day}" if case.last_day else "",
        since=draw.choice([None, TUESDAY - 40 * DAY]),
    )
