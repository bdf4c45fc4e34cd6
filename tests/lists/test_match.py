"""The matching: what it makes keeps every rule, and what it leaves out is barred as it says, by brute force."""

from __future__ import annotations

import datetime
import random
from dataclasses import replace
from typing import Any

import pytest
from lists.brute_force import barred_by, blocks, most_placed, smallest
from lists.small_weeks import (
    A_WEEK_LATER,
    HARD,
    PEOPLE,
    SUPERVISORS,
    THURSDAY,
    TUESDAY,
    drawn_tier,
    eye,
    key,
    lists,
    session,
    sets,
    week,
)
from seeds import draws, seeds

from planner.lists.matching.best import best
from planner.lists.matching.match import Matched, match
from planner.lists.matching.objective import of_lists
from planner.lists.output.match_text import blocked_lines
from planner.lists.roster.shapes import Wishes
from planner.lists.rules.checker import check
from planner.lists.rules.registry import RULES
from planner.lists.week.instance import Fellow, Instance, ListCase, Lists, Placing

HOOKS = {"iris-hooks": "Iris hooks"}
NEEDED = {"last_day": TUESDAY, "why_then": "needed by Tuesday"}
BUSY = lists("one: B early consultant")
# Weeks in which A cannot be placed, and the rules that bar it.
INFEASIBLE: dict[str, tuple[Instance, Lists, tuple[str, ...]]] = {
    "no consent": (week([eye("A", consent=None)]), Lists(()), ("consent",)),
    "something to settle": (week([eye("A", unsettled=("the pressure",))]), Lists(()), ("settled",)),
    "an anaesthetist nowhere": (week([eye("A", anaesthetist=True)]), Lists(()), ("anaesthetist",)),
    "agreement not recorded and no consultant": (
        week([eye("A", agreement=None)], [session("one", supervisors=["trainer"])], supervisors=SUPERVISORS[1:]),
        Lists(()),
        ("agreement", "supervisor-fits"),
    ),
    "the ring is in one room, the free consultant in the other": (
        # The hard eye needs a consultant; he is scrubbed in room one, which has no hooks, and room two has them.
        week(
            [eye("A", kit=HOOKS, with_stage=HARD, tier=3), eye("B")],
            [session("one", kit={"iris-hooks": sets(0)}), session("two", kit={"iris-hooks": sets(1)})],
        ),
        BUSY,
        ("supervisor-fits", "supervisor-is-free", "kit-sets"),
    ),
    "hooks come on Thursday, needed by Tuesday": (
        week(
            [eye("A", kit=HOOKS, **NEEDED)],
            [session("one", kit={"iris-hooks": sets(0)}), session("two", day=THURSDAY)],
        ),
        Lists(()),
        ("kit-sets", "deadline"),
    ),
    "needed by Tuesday, and away until Thursday": (
        week([eye("A", not_before=THURSDAY, **NEEDED)], [session("one"), session("two", day=THURSDAY)]),
        Lists(()),
        ("patient-can-come", "deadline"),
    ),
    "away on the only day": (
        week([eye("A", away=frozenset({TUESDAY}))], [session("one")]),
        Lists(()),
        ("patient-can-come",),
    ),
    "no room on the one list": (
        week([eye(name) for name in "ABCDEFGH"], [session("one")]),
        lists(*(f"one: {name} - consultant" for name in "BCDEFGH")),
        ("overrun",),
    ),
    "the other eye, and the last day": (
        week(
            [eye("A", patient="P", **NEEDED), eye("B", patient="P")], [session("one"), session("two", day=A_WEEK_LATER)]
        ),
        BUSY,
        ("one-eye-a-day", "deadline"),
    ),
}


@pytest.mark.parametrize(("instance", "kept", "rules"), INFEASIBLE.values(), ids=INFEASIBLE)
def test_why_a_case_has_no_place(instance: Instance, kept: Lists, rules: tuple[str, ...]) -> None:
    assert check(instance, kept).stands
    found = match(instance, kept)
    blocked = next(one for one in found.blocked if one.case == key("A"))
    barred = barred_by(instance, found.lists, key("A"))
    assert_it_is_a_smallest_block(frozenset(blocked.rules), barred)
    assert blocks(frozenset(rules), barred) and len(rules) == len(blocked.rules), blocked.rules
    assert blocked.nearest and all(near.broken for near in blocked.nearest)
    fewest = min(map(len, barred))
    assert {len({broken.rule for broken in near.broken}) for near in blocked.nearest} == {fewest}


def assert_it_is_a_smallest_block(rules: frozenset[str], barred: set[frozenset[str]]) -> None:
    """The rules bar every place; without any one of them there is a place; no smaller set bars every place."""
    assert blocks(rules, barred)
    assert not any(blocks(rules - {rule}, barred) for rule in rules)
    assert len(rules) == smallest(barred)


def chance_week(seed: int) -> Instance:
    """A small week drawn at random, tight enough that something is often left out."""
    draw = random.Random(seed)
    cases = []
    for name in "ABC":
        cases.append(
            eye(
                name,
                **drawn_tier(draw),
                patient=draw.choice(["P", f"P-{name}"]),
                kit=HOOKS if draw.random() < 0.4 else {},
                anaesthetist=draw.choice([False, False, True, None]),
                agreement=draw.choice([True, True, None, False]),
                consent=draw.choice([True, True, True, None]),
                order={"latex-first": draw.choice([False, True, None]), "infection-last": draw.choice([False, True])},
                last_day=draw.choice([None, TUESDAY]),
                why_then="needed by Tuesday",
            )
        )
    sessions = [
        session(
            "one", minutes=draw.choice([60, 110]), anaesthetist=True, kit={"iris-hooks": sets(draw.choice([0, 1]))}
        ),
        session("two", minutes=100, day=draw.choice([TUESDAY, THURSDAY]), supervisors=["consultant"]),
    ]
    trainees = (PEOPLE[0], replace(PEOPLE[1], leave=frozenset({draw.choice([TUESDAY, THURSDAY])})))
    # Drawn apart, so that the weeks stay what they were but for two eyes and one theatre.
    more = random.Random(f"eyes and theatres {seed}")
    if more.random() < 0.5:
        sessions[1] = sessions[1].model_copy(update={"theatre": "One ", "starts": datetime.time(11)})
    done = Fellow("the left eye", TUESDAY - datetime.timedelta(days=more.choice([3, 10])), more.random() < 0.5)
    if more.random() < 0.3:
        cases[0] = replace(cases[0], fellow=done, reviewed_on=more.choice([None, TUESDAY - datetime.timedelta(days=1)]))
    return replace(week(cases, sessions, trainees), days_between_eyes=more.choice([1, 2, 7]))


@pytest.mark.parametrize("seed", seeds(40, 10))
def test_chance_weeks(seed: int) -> None:
    instance = chance_week(seed)
    found = match(instance)
    assert found.verdict.stands
    assert {placing.case for placing in found.lists.placings} | {one.case for one in found.blocked} == set(
        instance.cases
    )
    for blocked in found.blocked:
        assert_it_is_a_smallest_block(frozenset(blocked.rules), barred_by(instance, found.lists, blocked.case))


@pytest.mark.long
def test_chance_weeks_are_worth_testing() -> None:
    found = [match(chance_week(seed)) for seed in range(40)]
    rules = {rule for one in found for blocked in one.blocked for rule in blocked.rules}
    assert len(rules) >= 5, rules
    assert any(not one.blocked for one in found) and any(len(one.lists.placings) == 2 for one in found)


def test_near_the_fullest_there_can_be() -> None:
    weeks = [chance_week(seed) for seed in range(draws(10, 40))]
    placed = [len(match(instance).lists.placings) for instance in weeks]
    fullest = [most_placed(instance) for instance in weeks]
    assert all(some <= most for some, most in zip(placed, fullest, strict=True))
    # Not promised for other weeks.
    assert placed == fullest


def test_the_demonstration(demo: Instance, demo_matched: Matched) -> None:
    found = demo_matched
    assert found.verdict.stands and check(demo, found.lists).stands
    assert {blocked.case[0]: blocked.rules for blocked in found.blocked} == {
        # Two eyes that need hooks by Wednesday, one set that week, which the wishes give to a tier just beyond what the
        # trainee has shown; consent, a pressure and a latex allergy to settle.
        "L-410": ("kit-sets", "deadline"),
        "L-420": ("consent",),
        "L-430": ("settled",),
        "L-440": ("settled",),
    }
    for placed, reason in found.reasons.items():
        without = replace(found.lists, placings=tuple(p for p in found.lists.placings if p.case != placed))
        assert reason.total == pytest.approx(found.worth - of_lists(demo, without), abs=0.001), placed
    alone = [placing.case[0] for placing in found.lists.placings if placing.trainee is None]
    assert set(alone) == {"L-405", "L-418"}, "agreement refused, or not recorded"


@pytest.mark.long
def test_the_same_input_gives_the_same_lists(demo: Instance, demo_matched: Matched) -> None:
    first = demo_matched
    again = match(replace(demo, cases=dict(reversed(demo.cases.items()))))
    assert again.lists == first.lists and again.reasons == first.reasons


def test_what_is_kept_stays() -> None:
    instance = week([eye("A"), eye("B")])
    found = match(instance, lists("two: B late consultant"))
    kept = next(placing for placing in found.lists.placings if placing.case == key("B"))
    assert (kept.session, kept.trainee, kept.supervisor) == ("two", "late", "consultant")
    assert key("B") not in found.reasons and key("A") in found.reasons


def test_nothing_is_put_before_what_is_in_hand() -> None:
    # By the wish for the hardest first, and by the fixed order, others would come before it.
    latex = eye("C", order={"latex-first": True, "infection-last": False})
    cases = [eye("A"), eye("B", tier=3, with_stage=HARD), latex, eye("D")]
    kept = lists("one: A late trainer")
    instance = replace(week(cases, [session("one")], wishes=Wishes(hardest="first")), begun=frozenset({key("A")}))
    for found in (match(instance, kept), best(instance, kept, effort=2)):
        assert found.verdict.stands
        first, *others = sorted(found.lists.placings)
        assert first.case == key("A") and {p.case[0] for p in others} == {"B", "D"}
        assert [blocked.case for blocked in found.blocked] == [key("C")], "no longer first, so not on this list"
    assert "begun-first" in {
        one.rule for one in check(instance, lists("one: D late trainer", "one: A late trainer")).broken
    }


def test_a_reason_counts_the_better_places_that_are_barred() -> None:
    # Worth most is the trainer's supervision; on the day he is scrubbed elsewhere, both his places are barred.
    kept = lists("one: B early trainer")
    instance = week([eye("A"), eye("B")], [session("one", minutes=60), session("two")], PEOPLE[:2])
    reason = match(instance, kept).reasons[key("A")]
    assert reason.barred > 0 and reason.worth["closer_than_needed"] == -1
    assert match(instance).reasons[key("A")].barred == 0


def whole(found: Matched) -> list[str | None]:
    return [placing.trainee for placing in found.lists.placings]


def test_wishes_weigh() -> None:
    cases = [eye("A"), eye("B")]
    one = [session("one")]
    assert set(whole(match(week(cases, one)))) == {"early", "late"}, "shares are fair"
    unfair = Wishes(fair_share=0)
    assert len(set(whole(match(week(cases, one, wishes=unfair))))) == 1
    no_training = Wishes(placed=0, whole_operation=0, named_steps=0, fair_share=1, closer_than_needed=0)
    later = [session("late", day=THURSDAY), session("soon")]
    (placing,) = match(week([eye("A")], later, wishes=no_training)).lists.placings
    assert placing.session == "soon", "waiting counts"


def test_a_trainee_has_what_they_still_need() -> None:
    def operating(wishes: Wishes, *cases: ListCase, **of_early: Any) -> list[str | None]:
        early = replace(PEOPLE[0], **of_early)
        return whole(match(week(list(cases), [session("one")], (early, PEOPLE[1]), wishes=wishes)))

    plain = Wishes(fair_share=0, closer_than_needed=0)
    late_first = Wishes(fair_share=0, closer_than_needed=1, toward_target=6)
    assert operating(late_first, eye("A"), eye("B"), target=1).count("early") >= 1
    assert set(operating(plain, eye("A"), eye("B"), needs=frozenset({"lens"}))) == {"early"}
    assert set(operating(plain, eye("A", tier=2), shown_tier=1)) == {"early"}
    # A tier they have shown already, or two beyond it, adds nothing: equal places go by the file's order.
    late = replace(PEOPLE[1], shown_tier=1)
    for tier, who in ((1, "early"), (2, "late"), (3, "early")):
        found = match(week([eye("A", tier=tier)], [session("one")], (PEOPLE[0], late), wishes=plain))
        assert whole(found) == [who], tier


def test_hard_eyes_are_spread_and_stand_where_the_unit_wishes() -> None:
    hard = [eye(name, tier=3, with_stage=HARD) for name in "AB"]
    both = [session("one"), session("two", starts="13:30")]
    plain = {"fair_share": 0, "waiting": 0}
    spread = match(week(hard, both, wishes=Wishes(**plain, hard_together=2)))
    assert {placing.session for placing in spread.lists.placings} == {"one", "two"}
    assert (
        len({p.session for p in match(week(hard, both, wishes=Wishes(**plain, hard_together=0))).lists.placings}) == 1
    )

    latex = eye("Z", order={"latex-first": True, "infection-last": False})
    for hardest, order in (("first", "ZBA"), ("last", "ZAB")):
        cases = [eye("A"), eye("B", tier=3, with_stage=HARD), latex]
        found = match(week(cases, [session("one")], wishes=Wishes(hardest=hardest)))
        assert "".join(p.case[0] for p in sorted(found.lists.placings)) == order and found.verdict.stands


def test_the_pressing_come_first() -> None:
    cases = [eye("A"), eye("B", **NEEDED)]
    short = [session("one", minutes=60), session("two", minutes=60, day=THURSDAY)]
    found = match(week(cases, short))
    assert {placing.case[0]: placing.session for placing in found.lists.placings} == {"B": "one", "A": "two"}


@pytest.mark.parametrize("nobody", ["at all", "on the sessions"])
def test_a_week_without_supervisors_says_what_bars(nobody: str) -> None:
    supervisors = () if nobody == "at all" else SUPERVISORS
    instance = week([eye("A")], [session("one", supervisors=[])], supervisors=supervisors)
    (blocked,) = match(instance).blocked
    assert blocked.rules == ("supervisor-fits",)
    text = "\n".join(blocked_lines(blocked))
    assert "Barred everywhere by this rule" in text and RULES["supervisor-fits"].words in text.replace("\n    ", " ")


def test_every_rule_has_its_words() -> None:
    assert set(RULES.ids) == set(RULES.ids)


def test_lists_matched_again_stay_close_to_those_published() -> None:
    cases = [eye(f"A-{n}") for n in range(1, 4)]
    plain = week(cases, [session("one"), session("two", day=THURSDAY)], wishes=Wishes(waiting=0.0, fair_share=0.0))
    # By the wishes alone everything is equal on Thursday and on Tuesday, so the first session is filled.
    assert {placing.session for placing in match(plain).lists.placings} == {"one"}
    seen = Lists(tuple(Placing("two", n, case.key, "late", "consultant") for n, case in enumerate(cases, 1)))
    again = match(replace(plain, published=seen)).lists
    assert {(p.session, p.case, p.trainee, p.supervisor) for p in again.placings} == {
        (p.session, p.case, p.trainee, p.supervisor) for p in seen.placings
    }
    without = replace(plain, published=seen, wishes=Wishes(waiting=0.0, fair_share=0.0, few_changes=0.0))
    assert match(without).lists == match(plain).lists
