"""What a case's approval comes to on a day: whether it stands, and the plan with it in force."""

from __future__ import annotations

import datetime
import re
from collections.abc import Callable
from typing import cast

from planner.case import STAGES, Stage
from planner.local_time import wall
from planner.plan.approved import Given, Seat, Who, with_approval
from planner.plan.plan import Approval, Plan
from planner.readings import read_day
from planner.records.rows import ApprovalStanding, CaseNow
from planner.records.store import Store
from planner.records.validity import standing_now
from planner.rulebook.rulebook import Rulebook
from planner.rulebook.shapes import Mode
from planner.vocabulary import NOT_RECORDED


def standing_on(now: CaseNow, on: datetime.date, rulebook: Rulebook) -> ApprovalStanding | None:
    """How a case's approval stands on a day, in the vocabulary's own words; None where it has none."""
    held = standing_now(now, on, _validity(now, rulebook), rulebook.sha256)
    if held is None:
        return None
    vocabulary = rulebook.vocabulary

    def label(name: re.Match[str]) -> str:
        return vocabulary.by_id[name[0]].label if name[0] in vocabulary.by_id else name[0]

    return ApprovalStanding(held.state, tuple(re.sub(r"\b[a-z]+_[a-z_]+\b", label, why) for why in held.because))


def stands_on(now: CaseNow, on: datetime.date, rulebook: Rulebook) -> bool:
    """Whether a case has an approval that stands on a day."""
    standing = standing_on(now, on, rulebook)
    return standing is not None and standing.state == "stands"


def _validity(now: CaseNow, rulebook: Rulebook) -> dict[str, int]:
    recorded = {name for name, value in now.version.findings.items() if value not in NOT_RECORDED}
    return rulebook.vocabulary.validity(recorded)


def given_in(now: CaseNow, rulebook: Rulebook) -> Given | None:
    """What the approval of a case gives, whether or not it stands; None where there is none."""
    given, snapshot = now.approval, now.approved_snapshot
    if given is None:
        return None
    held = [snapshot.stage if snapshot else None, now.version.document.get("planned_stage")]
    stage = next((name for name in held if name in STAGES), rulebook.stages.default_stage)
    # A change may be a note alone, which puts the step in nobody else's hands.
    who = {change.step: cast(Who, change.who) for change in given.step_changes if change.who}
    return Given(given.covers, given.tier_approved, cast(Stage, stage), cast(Mode | None, given.mode_approved), who)


def plan_as_approved(
    store: Store,
    now: CaseNow,
    planned: Callable[[Stage | None], Plan],
    on: datetime.date,
    rulebook: Rulebook,
    seat: Seat | None = None,
) -> Plan:
    """The plan with the approval that stands on a day in force; as the rulebook has it where none does.

    `planned` makes the plan for a stage. `seat` is who sits down; None prints what was approved, for nobody in
    particular. The consultant prints by name, the time by the unit's clock. Raises NotCoveredError where
    the approval does not cover the seat.
    """
    what, sits = given_in(now, rulebook), seat.stage if seat else None
    if now.approval is None or what is None or not stands_on(now, on, rulebook):
        return planned(sits)
    given = now.approval
    approval = Approval(
        store.person(given.by).name, wall(given.at), given.tier_by_rulebook, given.tier_approved, given.every_condition,
        given.reason, own_case=given.own_case,
    )  # fmt: skip
    return with_approval(planned(sits or what.stage), rulebook, approval, what, seat)


def dated_ahead(now: CaseNow, on: datetime.date, rulebook: Rulebook) -> tuple[str, ...]:
    """The labels of dates later than a day: nothing can have been measured then yet."""
    ahead = []
    for name in _validity(now, rulebook):
        measured = read_day(now.version.findings.get(name))
        if measured is not None and measured > on:
            ahead.append(rulebook.vocabulary.by_id[name].label)
    return tuple(ahead)


def holds_until(now: CaseNow, rulebook: Rulebook) -> tuple[datetime.date, str] | None:
    """The last day on which nothing that was measured has aged, and which date says so; None without such a date."""
    ends = []
    for name, days in _validity(now, rulebook).items():
        measured = read_day(now.version.findings.get(name))
        if measured is not None:
            ends.append((measured + datetime.timedelta(days), rulebook.vocabulary.by_id[name].label))
    return min(ends, default=None)
