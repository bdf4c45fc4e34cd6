"""The checker on weeks made by hand: what stands, and for each rule the weeks that break it and it alone."""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from dataclasses import dataclass, replace

import pytest
from lists.small_weeks import (
    A_WEEK_AGO,
    A_WEEK_LATER,
    HARD,
    PEOPLE,
    SIMPLE,
    SUPERVISORS,
    THURSDAY,
    TUESDAY,
    eye,
    key,
    lists,
    session,
    sets,
    week,
)  # fmt: skip

from planner.lists.rules.checker import check
from planner.lists.rules.registry import RULES
from planner.lists.week.instance import Covering, Fellow, Instance, ListCase, Lists, Placing
from planner.lists.week.week import ALONE


@dataclass(frozen=True)
class Made:
    instance: Instance
    lists: Lists
    rule: str = ""  # the one rule it breaks; none where it stands
    says: tuple[str, ...] = ()


AB = [eye("A"), eye("B")]
HOOKS = {"iris-hooks": "Iris hooks"}
LATEX = {"latex-first": True, "infection-last": False}
INFECTION = {"latex-first": False, "infection-last": True}
ONE_PATIENT = [eye("A", patient="P"), eye("B", patient="P")]
AWAY = tuple(replace(one, leave=frozenset({TUESDAY})) for one in PEOPLE)
IN_THEATRE = eye("A").with_stage | {"late": replace(eye("A").with_stage["late"], mode="in-theatre")}
THREE = [session(name) for name in ("one", "two", "three")]
SHARED_HOOKS = [eye("A", kit=HOOKS), eye("B"), eye("C"), eye("D", kit=HOOKS)]
SEVEN = [eye(name) for name in "ABCDEFG"]

STANDS = {
    "a trainee scrubbed with a trainer, another covered from outside": Made(
        week(AB), lists("one: A early trainer", "two: B late consultant")
    ),
    "one consultant outside two rooms": Made(
        week(AB, trainees=(*PEOPLE, replace(PEOPLE[1], id="later"))),
        lists("one: A late consultant", "two: B later consultant"),
    ),
    "one supervisor scrubbed for case after case of one list": Made(
        week(AB), lists("one: A early trainer", "one: B early trainer")
    ),
    "the same people in the morning and in the afternoon": Made(
        week(AB, [session("one"), session("two", starts="12:30")]),
        lists("one: A early trainer", "two: B early trainer"),
    ),
    "agreement not recorded, and a consultant alone": Made(
        week([eye("A", agreement=None)]), lists("one: A - consultant")
    ),
    "agreement refused, and a consultant alone": Made(week([eye("A", agreement=False)]), lists("one: A - consultant")),
    "a hard eye that the consultant does, a learner taking a step": Made(
        week([eye("A", tier=4, with_stage=HARD)]), lists("one: A learner consultant")
    ),
    "the day that a patient can come from": Made(
        week([eye("A", not_before=TUESDAY, away=frozenset({THURSDAY}))]), lists("one: A late consultant")
    ),
    "closer than demanded, where the trainer may not be outside": Made(
        week([eye("A")], supervisors=(SUPERVISORS[0], SUPERVISORS[1].model_copy(update={"can": ["scrubbed"]}))),
        lists("one: A late trainer"),
    ),
    "latex first and infection last": Made(
        week([eye("A", order=LATEX), eye("B"), eye("C", order=INFECTION)]),
        lists("one: A late trainer", "one: B late trainer", "one: C late trainer"),
    ),
    "begun before all others, though a hard eye waits": Made(
        replace(week([eye("A"), eye("B"), eye("C")]), begun=frozenset({key("A"), key("B")})),
        lists("one: B late trainer", "one: A late trainer", "one: C late trainer"),
    ),
    "both eyes, agreed": Made(
        week(ONE_PATIENT),
        lists("one: A late trainer", "one: B late trainer", both_eyes_agreed=frozenset({"P"})),
    ),
    "both eyes, agreed, in the morning and in the afternoon": Made(
        week(ONE_PATIENT, [session("one"), session("two", starts="13:30")]),
        lists("one: A late trainer", "two: B late trainer", both_eyes_agreed=frozenset({"P"})),
    ),
    "the second eye a week after the first, which was examined meanwhile": Made(
        week(
            [eye("A", patient="P"), eye("B", patient="P", reviewed_on=THURSDAY)],
            [session("one"), session("two", day=A_WEEK_LATER)],
        ),
        lists("one: A late trainer", "two: B late trainer"),
    ),
    "the second eye a week after the first was operated on": Made(
        week([eye("A", fellow=Fellow("the left eye", A_WEEK_AGO, True), reviewed_on=TUESDAY)]),
        lists("one: A late trainer"),
    ),
    "latex first in the morning, infection last in the afternoon": Made(
        week(
            [eye("A", order=LATEX), eye("B"), eye("C"), eye("D", order=INFECTION)],
            [session("one"), session("two", starts="13:30", theatre="ONE")],
        ),
        lists("one: A late trainer", "one: B late trainer", "two: C late trainer", "two: D late trainer"),
    ),
    "latex first in the afternoon of another theatre": Made(
        week([eye("A"), eye("B", order=LATEX)], [session("one"), session("two", starts="13:30")]),
        lists("one: A late trainer", "two: B late trainer"),
    ),
    "latex first in the morning after an infection": Made(
        week(
            [eye("A", order=INFECTION), eye("B", order=LATEX)],
            [session("one"), session("two", day=datetime.date(2026, 12, 2), theatre="one")],
        ),
        lists("one: A late trainer", "two: B late trainer"),
    ),
    "not recorded after latex and before all others": Made(
        week([eye("A", order=LATEX), eye("B", order=LATEX | {"latex-first": None}), eye("C")]),
        lists("one: A late trainer", "one: B late trainer", "one: C late trainer"),
    ),
    "a set that is ready again": Made(
        # Late trainee: 24 and turnover 9.67 a case, so the fourth starts at 101 minutes; used until 24, ready at 84.
        week(SHARED_HOOKS, [session("one", kit={"iris-hooks": sets(1, 60)})]),
        lists(*(f"one: {name} late trainer" for name in "ABCD")),
    ),
    "on the last day": Made(week([eye("A", last_day=TUESDAY, why_then="needed then")]), lists("one: A late trainer")),
    "an anaesthetist where one is needed": Made(
        week([eye("A", anaesthetist=True)], [session("one", anaesthetist=True)]), lists("one: A late trainer")
    ),
    "seven by a consultant in 240 minutes": Made(
        week(SEVEN), lists(*(f"one: {name} - consultant" for name in "ABCDEFG"))
    ),
}

AGREED = frozenset({"P"})
ONE_THEATRE = [session("one"), session("two", starts="13:30", theatre="One ")]
EYES_APART = [session("one"), session("two", day=A_WEEK_LATER)]
UNKNOWN = {"latex-first": None, "infection-last": False}
REVIEWED = [eye("A", patient="P"), eye("B", patient="P", reviewed_on=THURSDAY)]
SEEN_TO = Fellow("the left eye, operated", A_WEEK_AGO, True)

BREAKS = {
    "on two lists": Made(
        week([eye("A")], [session("one"), session("two", starts="13:00")]),
        lists("one: A late trainer", "two: A late trainer"),
        "on-one-list-once",
        ("A, right eye, number 1 in two is also number 1 in one", "Keep one"),
    ),
    "consent not recorded": Made(
        week([eye("A", consent=None)]), lists("one: A late trainer"), "consent", ("consent to surgery is not recorded",)
    ),
    "approved as named for another stage": Made(
        week([eye("A", approval=Covering(True, frozenset({"early"}), "approved by consultant-9 as named, for early"))]),
        lists("one: A late trainer"),
        "approval-covers",
        ("as named, for early, and late is at late", "Ask a consultant"),
    ),
    "no approval that stands": Made(
        week([eye("A", approval=Covering(False, frozenset(), "no approval stands on that day"))]),
        lists("one: A - consultant"),
        "approval-covers",
        ("no approval stands on that day",),
    ),
    "consent refused": Made(
        week([eye("A", consent=False)]), lists("one: A late trainer"), "consent", ("there is no consent to surgery",)
    ),
    "agreement not recorded": Made(
        week([eye("A", agreement=None)]),
        lists("one: A late trainer"),
        "agreement",
        ("agreement to a trainee is not recorded, and late is to take part", "or ask the patient"),
    ),
    "agreement refused, and a trainee named": Made(
        week([eye("A", agreement=False, with_stage=dict.fromkeys(SIMPLE, ALONE))]),
        lists("one: A late consultant"),
        "agreement",
        ("agreement to a trainee was refused, and late is to take part. A consultant operates without a trainee.",),
    ),
    "two cases in one place": Made(
        week(AB),
        Lists((Placing("one", 1, key("A"), "late", "trainer"), Placing("one", 1, key("B"), "late", "trainer"))),
        "on-one-list-once",
        ("B, right eye, number 1 in one shares its place with A, right eye", "Say which comes first."),
    ),
    "something to settle": Made(
        week([eye("A", unsettled=("the pressure (settled by the surgeon)",))]),
        lists("one: A - consultant"),
        "settled",
        ("settle first: the pressure (settled by the surgeon)",),
    ),
    "a trainer where a consultant is demanded": Made(
        week([eye("A", tier=3, with_stage=HARD)]),
        lists("one: A late trainer"),
        "supervisor-fits",
        ("tier 3 with late (late) needs: scrubbed, consultant; trainer is a trainer",),
    ),
    "a trainer operating alone": Made(
        week(AB), lists("one: A - trainer"), "supervisor-fits", ("without a trainee needs: consultant-only",)
    ),
    "a supervisor who is not on the session": Made(
        week(AB, [session("one", supervisors=["trainer"])]),
        lists("one: A late consultant"),
        "supervisor-fits",
        ("consultant is not on this session", "Name one who is (trainer)"),
    ),
    "a supervisor on leave": Made(
        week(AB, supervisors=(SUPERVISORS[0].model_copy(update={"leave": [TUESDAY]}),)),
        lists("one: A late consultant"),
        "supervisor-fits",
        ("consultant is on leave on 1 December 2026",),
    ),
    "a supervisor who may only be outside": Made(
        week(AB, supervisors=(SUPERVISORS[1].model_copy(update={"can": ["on-site"]}),)),
        lists("one: A early trainer"),
        "supervisor-fits",
        ("supervises only on-site",),
    ),
    "scrubbed at two tables": Made(
        week(AB, trainees=(*PEOPLE, replace(PEOPLE[0], id="other"))),
        lists("one: A early trainer", "two: B other trainer"),
        "supervisor-is-free",
        ("needs trainer (scrubbed), and two names trainer at the same time",),
    ),
    "in theatre in two rooms": Made(
        week([eye("A", with_stage=IN_THEATRE), eye("B")]),
        lists("one: A late consultant", "two: B - consultant"),
        "supervisor-is-free",
        ("A, right eye, number 1 in one needs consultant (in-theatre), and two names",),
    ),
    "scrubbed here and outside there": Made(
        week(AB),
        lists("one: A early trainer", "two: B late trainer"),
        "supervisor-is-free",
        ("needs trainer (scrubbed)",),
    ),
    "outside three rooms, two stated": Made(
        week([*AB, eye("C")], THREE, trainees=tuple(replace(PEOPLE[1], id=f"late-{n}") for n in "123")),
        lists("one: A late-1 consultant", "two: B late-2 consultant", "three: C late-3 consultant"),
        "supervisor-is-free",
        ("3 rooms from outside at once (one, two, three)", "2 at most"),
    ),
    "half an hour in common": Made(
        week(AB, [session("one"), session("two", starts="12:00")], trainees=(*PEOPLE, replace(PEOPLE[0], id="other"))),
        lists("one: A early trainer", "two: B other trainer"),
        "supervisor-is-free",
        ("number 1 in one needs trainer (scrubbed), and two names",),
    ),
    "a trainee in two rooms": Made(
        week(AB), lists("one: A late trainer", "two: B late consultant"), "trainee-is-free", ("late is in two",)
    ),
    "a trainee on leave": Made(
        week(AB, trainees=AWAY),
        lists("one: A late trainer"),
        "trainee-is-free",
        ("late is on leave on 1 December 2026",),
    ),
    "no step for this learner": Made(
        week([eye("A")], trainees=(replace(PEOPLE[2], steps_cleared=frozenset({"nucleus"})),)),
        lists("one: A learner consultant"),
        "trainee-has-a-step",
        ("leaves learner no step that they are cleared for",),
    ),
    "no anaesthetist": Made(
        week([eye("A", anaesthetist=True)]), lists("one: A late trainer"), "anaesthetist", ("This session has none",)
    ),
    "perhaps an anaesthetist": Made(
        week([eye("A", anaesthetist=None)]), lists("one: A late trainer"), "anaesthetist", ("This may be so",)
    ),
    "no set in the room": Made(
        week([eye("A", kit=HOOKS)], [session("one", kit={"iris-hooks": sets(0)})]),
        lists("one: A late trainer"),
        "kit-sets",
        ("needs Iris hooks: this session has no set.",),
    ),
    "a set that is not ready again": Made(
        week(SHARED_HOOKS, [session("one", kit={"iris-hooks": sets(1, 80)})]),
        lists(*(f"one: {name} late trainer" for name in "ABCD")),
        "kit-sets",
        ("D, right eye, number 4 in one needs Iris hooks: this session has 1 set, not ready again",),
    ),
    "latex second": Made(
        week([eye("A"), eye("B", order=LATEX)]),
        lists("one: A late trainer", "one: B late trainer"),
        "fixed-order",
        (
            "B, right eye, number 2 in one: Latex allergy. A, right eye comes before it",
            "Put it first (common practice)",
        ),
    ),
    "latex after one where it is not recorded": Made(
        week([eye("A", order=LATEX | {"latex-first": None}), eye("B", order=LATEX)]),
        lists("one: A late trainer", "one: B late trainer"),
        "fixed-order",
        ("Put it first",),
    ),
    "infection first": Made(
        week([eye("A", order=INFECTION), eye("B")]),
        lists("one: A late trainer", "one: B late trainer"),
        "fixed-order",
        ("A, right eye, number 1 in one: Infection precautions. B, right eye comes after it", "Put it last"),
    ),
    "put before one that is in hand": Made(
        replace(week([eye("A"), eye("B"), eye("C")]), begun=frozenset({key("B")})),
        lists("one: A late trainer", "one: B late trainer", "one: C late trainer"),
        "begun-first",
        ("A, right eye, number 1 in one comes before B, right eye, which is done or in hand", "Put it after number 2"),
    ),
    "put between two that are done": Made(
        replace(week([eye("A"), eye("B"), eye("C")]), begun=frozenset({key("A"), key("B")})),
        lists("one: A late trainer", "one: C late trainer", "one: B late trainer"),
        "begun-first",
        ("C, right eye, number 2 in one comes before B, right eye",),
    ),
    "both eyes on one list": Made(
        week(ONE_PATIENT),
        lists("one: A late trainer", "one: B late trainer"),
        "one-eye-a-day",
        ("P has A, right eye on the same list", "both_eyes_agreed"),
    ),
    "both eyes on one day": Made(
        week(ONE_PATIENT, [session("one"), session("two", starts="13:30")]),
        lists("one: A late trainer", "two: B late trainer"),
        "one-eye-a-day",
        ("B, right eye, number 1 in two: P has A, right eye, in one, on the same day", "both_eyes_agreed"),
    ),
    "both eyes on one day, the first on another list": Made(
        week([eye("A", patient="P", fellow=Fellow("the left eye, in theatre 9", TUESDAY, False))]),
        lists("one: A late trainer"),
        "one-eye-a-day",
        ("P has the left eye, in theatre 9 on the same day",),
    ),
    "one patient in two theatres at one hour, though both eyes are agreed": Made(
        week(ONE_PATIENT),
        lists("one: A early trainer", "two: B late consultant", both_eyes_agreed=AGREED),
        "patient-in-one-theatre",
        ("B, right eye, number 1 in two: P is in one at the same time, for A, right eye",),
    ),
    "one patient in two theatres for half an hour": Made(
        week(ONE_PATIENT, [session("one"), session("two", starts="12:00")]),
        lists("one: A early trainer", "two: B late consultant", both_eyes_agreed=AGREED),
        "patient-in-one-theatre",
        ("P is in one at the same time",),
    ),
    "the second eye two days after the first": Made(
        week(REVIEWED, [session("one"), session("two", day=THURSDAY)]),
        lists("one: A late trainer", "two: B late trainer"),
        "between-eyes",
        ("B, right eye, number 1 in two: 2 days from A, right eye, in one on 1 December 2026; at least 7",),
    ),
    "two days apart, though both eyes on one day were agreed": Made(
        week(REVIEWED, [session("one"), session("two", day=THURSDAY)]),
        lists("one: A late trainer", "two: B late trainer", both_eyes_agreed=AGREED),
        "between-eyes",
        ("2 days from",),
    ),
    "the second eye six days after the first was operated on": Made(
        week([eye("A", fellow=replace(SEEN_TO, day=A_WEEK_AGO + datetime.timedelta(1)), reviewed_on=TUESDAY)]),
        lists("one: A late trainer"),
        "between-eyes",
        ("6 days from the left eye, operated on 25 November 2026",),
    ),
    "the first eye operated on and not examined": Made(
        week([eye("A", fellow=SEEN_TO)]),
        lists("one: A late trainer"),
        "first-eye-reviewed",
        (
            "the first eye is the left eye, operated on 24 November 2026, and no examination of it",
            "Examine the first eye",
        ),
    ),
    "the first eye operated on some day and not examined": Made(
        week([eye("A", fellow=replace(SEEN_TO, day=None))]),
        lists("one: A late trainer"),
        "first-eye-reviewed",
        ("no examination of it",),
    ),
    "the first eye examined on the day of its operation": Made(
        week([eye("A", fellow=SEEN_TO, reviewed_on=A_WEEK_AGO)]),
        lists("one: A late trainer"),
        "first-eye-reviewed",
        ("the examination recorded is of 24 November 2026, not between the two operations",),
    ),
    "the first eye to be examined after the second": Made(
        week([eye("A", fellow=SEEN_TO, reviewed_on=THURSDAY)]),
        lists("one: A late trainer"),
        "first-eye-reviewed",
        ("the examination recorded is of 3 December 2026",),
    ),
    "latex first in its session, and not in its theatre's day": Made(
        week([eye("A"), eye("B", order=LATEX)], ONE_THEATRE),
        lists("one: A late trainer", "two: B late trainer"),
        "fixed-order",
        (
            "B, right eye, number 1 in two: Latex allergy. A, right eye, number 1 in one comes before it",
            "Put it first in One  that day",
        ),
    ),
    "infection last in its session, and not in its theatre's day": Made(
        week([eye("A", order=INFECTION), eye("B")], ONE_THEATRE),
        lists("one: A late trainer", "two: B late trainer"),
        "fixed-order",
        ("A, right eye, number 1 in one: Infection precautions. B, right eye, number 1 in two comes after it",),
    ),
    "not recorded after one in whom it is absent": Made(
        week([eye("A"), eye("B", order=UNKNOWN)]),
        lists("one: A late trainer", "one: B late trainer"),
        "fixed-order",
        ("B, right eye, number 2 in one: not recorded: latex allergy. A, right eye comes before it", "Ask and record"),
    ),
    "not recorded in the afternoon": Made(
        week([eye("A"), eye("B", order=UNKNOWN)], ONE_THEATRE),
        lists("one: A late trainer", "two: B late trainer"),
        "fixed-order",
        ("not recorded: latex allergy", "before all such cases in One  that day"),
    ),
    "too late": Made(
        week([eye("A", last_day=TUESDAY, why_then="needed then")], [session("one"), session("two", day=THURSDAY)]),
        lists("two: A late trainer"),
        "deadline",
        ("needed then, and 3 December 2026 is later", "Move it to 1 December 2026 or before"),
    ),
    "a patient who is away that day": Made(
        week([eye("A", away=frozenset({TUESDAY}))]),
        lists("one: A late consultant"),
        "patient-can-come",
        ("P-A cannot come on 1 December 2026", "another day"),
    ),
    "a patient who can come only later": Made(
        week([eye("A", not_before=THURSDAY)]),
        lists("one: A late consultant"),
        "patient-can-come",
        ("P-A cannot come before 3 December 2026",),
    ),
    "more cases than the session takes": Made(
        week(AB, [session("one", most_cases=1)]),
        lists("one: A late consultant", "one: B late consultant"),
        "most-cases",
        ("one: 2 cases; the session takes 1 at most", "another session"),
    ),
    "a general anaesthetic too many, if it is one": Made(
        week([eye("A", general_anaesthetic=None)], [session("one", most_general_anaesthetics=0)]),
        lists("one: A late consultant"),
        "general-anaesthetics",
        ("1 case under general anaesthesia, 1 of which only may be", "or ask"),
    ),
    "no place in recovery": Made(
        week([eye("A", recovery=True)], [session("one", recovery_places=0)]),
        lists("one: A late consultant"),
        "recovery",
        ("1 case for recovery; the session takes 0 at most",),
    ),
    "eight by a consultant in 240 minutes": Made(
        week([*SEVEN, eye("H")]),
        lists(*(f"one: {name} - consultant" for name in "ABCDEFGH")),
        "overrun",
        ("8 cases, 229 of 240 minutes expected, a chance of 32 % to overrun; the limit is 10 %",),
    ),
}


@pytest.mark.parametrize("made", STANDS.values(), ids=STANDS)
def test_it_stands(made: Made) -> None:
    assert list(map(str, check(made.instance, made.lists).broken)) == []


@pytest.mark.parametrize("made", BREAKS.values(), ids=BREAKS)
def test_it_breaks_that_rule_alone(made: Made) -> None:
    verdict = check(made.instance, made.lists)
    assert {broken.rule for broken in verdict.broken} == {made.rule}
    (first, *_) = verdict.broken
    assert all(word in str(first) for word in made.says), str(first)
    assert first.change.endswith(".") and first.session in made.instance.sessions


def test_each_rule_is_broken_somewhere_above() -> None:
    assert {made.rule for made in BREAKS.values()} == set(RULES.ids)


@pytest.mark.parametrize("made", [*STANDS.values(), *BREAKS.values()], ids=[*STANDS, *BREAKS])
def test_the_order_of_the_placings_in_the_file_changes_nothing(made: Made) -> None:
    backwards = replace(made.lists, placings=made.lists.placings[::-1])
    assert _rules(check(made.instance, backwards).broken) == _rules(check(made.instance, made.lists).broken)


def _rules(broken: Iterable[object]) -> list[str]:
    return sorted(map(str, broken))


def test_what_is_not_recorded_is_asked() -> None:
    unknown = {"latex-first": None, "infection-last": False}
    cases = [eye("A", order=unknown, urgency=None, patient=None), eye("B")]
    verdict = check(week(cases), lists("one: A late trainer", "one: B late trainer"))
    assert verdict.stands
    asked = list(map(str, verdict.asked))
    assert len(asked) == 3
    assert "not recorded: latex allergy. Ask; if so, it goes first." in asked[0]
    assert "another eye of the same patient is not seen" in asked[1] and "urgency is not recorded" in asked[2]


def test_a_review_that_is_still_to_come_is_asked() -> None:
    eyes = [eye("A", patient="P"), eye("B", patient="P")]
    placed = lists("one: A late trainer", "two: B late trainer")
    verdict = check(week(eyes, EYES_APART), placed)
    (asked,) = verdict.asked
    assert verdict.stands and asked.rule == "first-eye-reviewed" and asked.session == "two"
    assert "the first eye is A, right eye, in one on 1 December 2026, and no examination of it" in asked.says
    assert "Record it before 8 December 2026" in asked.change
    before = [eyes[0], replace(eyes[1], reviewed_on=TUESDAY)]
    (asked,) = check(week(before, EYES_APART), placed).asked
    assert "the examination recorded is of 1 December 2026, not between the two operations" in asked.says
    elsewhere = eye("A", fellow=replace(SEEN_TO, review_due=False))
    assert [one.rule for one in check(week([elsewhere]), lists("one: A late trainer")).asked] == ["first-eye-reviewed"]
    agreed = check(week(eyes), lists("one: A late trainer", "one: B late trainer", both_eyes_agreed=AGREED))
    assert agreed.stands and not agreed.asked


def test_a_theatre_in_use_into_the_night_is_asked_about() -> None:
    def asked(starts: str, first: ListCase, **other: object) -> list[str]:
        evening = session("one", **({"starts": starts, "minutes": 120} | other))
        morning = session("two", day=datetime.date(2026, 12, 2), theatre="ONE")
        verdict = check(
            week([eye("A"), first], [evening, morning]), lists("one: A late trainer", "two: B late trainer")
        )
        assert verdict.stands
        return [one.says for one in verdict.asked if "until" in one.says]

    assert asked("20:00", eye("B", order=LATEX)) == [], "until 22:00 the theatre rests"
    (late,) = asked("20:01", eye("B", order=LATEX))
    assert "B, right eye, number 1 in two: one runs in one until 22:01 the evening before" in late
    assert asked("20:01", eye("B", order=UNKNOWN)) and not asked("20:01", eye("B"))
    assert asked("23:30", eye("B", order=LATEX)), "past midnight"
    assert not asked("20:01", eye("B", order=LATEX), theatre="another")


def test_another_eye_on_any_list_may_be_of_one_without_a_pseudonym() -> None:
    verdict = check(week([eye("A", patient=None), eye("B")]), lists("one: A late trainer", "two: B late consultant"))
    assert [one.rule for one in verdict.asked] == ["one-eye-a-day"]


def test_the_numbers_of_a_session() -> None:
    verdict = check(week(AB), lists("one: A late trainer"))
    (judged,) = verdict.sessions
    assert (judged.cases, judged.minutes) == (1, 240)
    assert judged.expected_minutes == pytest.approx(24 + 9.67)
    assert verdict.unplaced == ("B, right eye",)


def test_a_device_to_hand_takes_its_minutes() -> None:
    hooks = eye("A", added=(("iris-hooks", 16.0),))
    (judged,) = check(week([hooks]), lists("one: A late trainer")).sessions
    assert judged.expected_minutes == pytest.approx(24 + 16 + 9.67)


def test_no_day_before_the_deadline_is_refused() -> None:
    case = eye("A", last_day=TUESDAY + datetime.timedelta(1), why_then="soon")
    assert check(week([case]), lists("one: A late trainer")).stands
