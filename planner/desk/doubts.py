"""What is doubtful about a place on a list: said beside it, and never in the way."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from planner.desk.desk import Desk
from planner.desk.plan_in_force import plan_in_force
from planner.plan.allocation import NO_TRAINEE
from planner.plan.approved import NotCoveredError
from planner.plan.plan import Plan
from planner.records.approval_validity import standing_on
from planner.records.rows import CaseNow, ListPlace, Person
from planner.wording.people import mode_words

TRAINEE_OPERATES = ("on-site", "in-theatre", "scrubbed")


def doubts(desk: Desk, now: CaseNow, of_the_day: Iterable[CaseNow], people: Mapping[str, Person]) -> tuple[str, ...]:
    """Each doubt in one sentence. `now` has a place; `of_the_day` are all cases on the lists of its day."""
    place = now.allocation
    if place is None:
        return ()
    plan = desk.plans.planned(now.version).plan
    told = [*of_standing(desk, now, place), *_together(now, place, of_the_day)]
    if place.trainee is None and now.approval is not None and now.approval.mode_approved in TRAINEE_OPERATES:
        told.append("No trainee is named, and it was approved for a trainee to operate.")
    if plan is not None:
        try:
            told += _people(plan_in_force(desk, now), place, people)
        except NotCoveredError as error:
            told += map(str, error.faults)
    return tuple(dict.fromkeys(told))


def of_standing(desk: Desk, now: CaseNow, place: ListPlace) -> Iterator[str]:
    """What is doubtful about the approval that a place rests on."""
    standing = standing_on(now, place.day, desk.rulebook)
    if standing is None:
        yield "No approval stands: it was withdrawn or has lapsed since the case was placed."
    elif standing.state != "stands":
        yield f"The approval will not stand on that day: {'; '.join(standing.because)}."
    elif now.approval is not None and now.approval.id != place.approval_id:
        yield "It was approved again after it was placed."


def _people(plan: Plan, place: ListPlace, people: Mapping[str, Person]) -> Iterator[str]:
    demanded, supervisor = plan.supervision, people.get(place.supervisor)
    mode = mode_words(demanded.mode)
    if supervisor is None or not supervisor.active:
        yield f"{place.supervisor} has no account any more."
    elif demanded.by == "consultant" and supervisor.role != "consultant":
        yield f"Supervision asks for a consultant ({mode}); {place.supervisor} is entered as {supervisor.role}."
    elif supervisor.role == "trainee":
        yield f"Is {place.supervisor} cleared to supervise? That is not recorded here."
    if place.trainee is not None and demanded.mode == NO_TRAINEE:
        yield f"{place.trainee} is named, and no trainee takes any step in this eye."
    certain = [reason for reason in plan.assessment.readiness.because if reason.certain]
    if certain:
        more = f", and {len(certain) - 1} more" if certain[1:] else ""
        yield f"To settle first: {certain[0].because}{more}."


def _together(now: CaseNow, place: ListPlace, of_the_day: Iterable[CaseNow]) -> Iterator[str]:
    """The same person in two theatres that day, or both eyes of one patient."""
    mine = {place.trainee, place.supervisor} - {None}
    patient = now.version.document.get("patient")
    for other in of_the_day:
        there = other.allocation
        if other.case.id == now.case.id or there is None or there.day != place.day:
            continue
        if there.theatre != place.theatre:
            for person in sorted(mine & {there.trainee, there.supervisor}, key=str):
                yield f"{person} is in {there.theatre} that day too; no times are kept here."
        if patient and other.version.document.get("patient") == patient:
            yield f"The other eye of {patient} has a place that day: {other.case.in_words}."
