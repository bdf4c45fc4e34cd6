"""The rules about the patient: what they agreed to, what is settled, when they are needed and can come."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

from planner.lists.rules.facts import PSEUDONYM, UNSETTLED
from planner.lists.rules.rule import Broken, Fact, case_rule, rule
from planner.lists.week.instance import Placing
from planner.lists.week.week import Week


@rule("a case is on one list, once", scope="case", modelled=True)
def on_one_list_once(week: Week) -> Iterator[Broken]:
    """A case is operated on once, and no two cases share a place."""
    for one, other in combinations(sorted(week.lists.placings), 2):
        if one.case == other.case:
            says, change = "{at} is also number {place} in {elsewhere}.", "Keep one of the two."
            yield on_one_list_once.broken(other, says, change, place=one.place, elsewhere=one.session)
        elif (one.session, one.place) == (other.session, other.place):
            says, change = "{at} shares its place with {other}.", "Say which comes first."
            yield on_one_list_once.broken(other, says, change, other=one.case)


@case_rule("consent to surgery is recorded", "case.consent")
def consent(week: Week, placing: Placing) -> Iterator[Broken]:
    given = week.case(placing).consent
    if given is not True:
        says = "consent to surgery is not recorded" if given is None else "there is no consent to surgery"
        change = "Record it once it is given, or take the case off the list."
        yield consent.broken(placing, f"{{at}}: {says}.", change)


@case_rule("the patient's agreement to a trainee is recorded", "case.agreement")
def agreement(week: Week, placing: Placing) -> Iterator[Broken]:
    """Or a consultant operates without one."""
    agreed = week.case(placing).agreement
    if placing.trainee is not None and agreed is not True:
        asked = "is not recorded" if agreed is None else "was refused"
        says = f"{{at}}: agreement to a trainee {asked}, and {{trainee}} is to take part."
        change = "A consultant operates without a trainee"
        change += ", or ask the patient and record the answer." if agreed is None else "."
        yield agreement.broken(placing, says, change, [placing.trainee], trainee=placing.trainee)


@case_rule("nothing is left to settle first", UNSETTLED)
def settled(week: Week, placing: Placing) -> Iterator[Broken]:
    for reason in week.case(placing).unsettled:
        change = "Settle and record it, or take the case off the list."
        yield settled.broken(placing, "{at}: settle first: {reason}.", change, reason=reason)


@case_rule(
    "no later than it is needed, unless it is past its date already",
    *("case.last_day", "case.late_because", "case.why_then", "session.day", Fact("instance.on")),
)
def deadline(week: Week, placing: Placing) -> Iterator[Broken]:
    """No case comes later than it is needed, unless it is past its date when planned, or that was accepted."""
    case, day = week.case(placing), week.session(placing).day
    if case.last_day is not None and day > case.last_day and placing.case not in week.instance.past_their_date:
        says, change = "{at}: {why}, and {day} is later.", "Move it to {last} or before."
        yield deadline.broken(placing, says, change, why=case.why_then, day=day, last=case.last_day)


@case_rule("the patient can come on that day", "case.away", "case.not_before", "session.day", PSEUDONYM)
def patient_can_come(week: Week, placing: Placing) -> Iterator[Broken]:
    case, day = week.case(placing), week.session(placing).day
    first = case.not_before if case.not_before is not None and day < case.not_before else None
    if first is not None or day in case.away:
        when, limit = ("on", day) if first is None else ("before", first)
        says = f"{{at}}: {{patient}} cannot come {when} {{day}}."
        yield patient_can_come.broken(placing, says, "Move it to another day.", patient=case.patient, day=limit)
