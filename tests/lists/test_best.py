"""The solver against brute force and against optima known beforehand; its answers judged by the checker."""

from __future__ import annotations

import contextlib
import random
import signal
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from bench.weeks import made
from lists.brute_force import every_list
from lists.small_weeks import A_WEEK_LATER, PEOPLE, THURSDAY, TUESDAY, eye, key, lists, session, sets, week
from lists.test_match import chance_week
from seeds import seeds

from planner.errors import PlannerError
from planner.lists.matching.best import best
from planner.lists.matching.capacity import CENTS, table, times_of
from planner.lists.matching.equivalence import Alike
from planner.lists.matching.match import filled, match
from planner.lists.matching.objective import of_lists
from planner.lists.matching.relaxation import Bound
from planner.lists.output.match_text import matched_text
from planner.lists.roster.shapes import Wishes
from planner.lists.rules.checker import check
from planner.lists.week.instance import Instance, Lists
from planner.lists.week.overrun import chance_of_overrun

HOOKS = {"iris-hooks": "Iris hooks"}


def most_worth(instance: Instance) -> float:
    return max(of_lists(instance, each) for each in every_list(instance))


@pytest.mark.parametrize("seed", seeds(40, 6))
def test_brute_force_agrees(seed: int) -> None:
    instance = chance_week(seed)
    found = best(instance, effort=5)
    assert found.proved and found.verdict.stands
    assert found.worth == pytest.approx(most_worth(instance), abs=0.01) == pytest.approx(found.bound, abs=0.01)
    assert found.worth >= match(instance).worth - 1e-9


@pytest.mark.parametrize("seed", seeds(40, 6))
def test_brute_force_agrees_on_what_trainees_need(seed: int) -> None:
    drawn = random.Random(seed)
    instance = chance_week(seed)
    trainees = {
        name: replace(
            trainee,
            target=drawn.choice([None, 0, 1, 2]),
            needs=frozenset(drawn.sample(["incisions", "ovd", "lens"], drawn.randint(0, 2))),
            shown_tier=drawn.choice([None, 0, 1, 2]),
        )
        for name, trainee in instance.trainees.items()
    }
    weights = ("placed", "toward_target", "needed_step", "just_beyond", "hard_together", "fair_share")
    wishes = Wishes(**{name: drawn.choice([0, 1, 4, 9]) for name in weights})
    instance = replace(instance, trainees=trainees, wishes=wishes)
    found = best(instance, effort=5)
    assert found.proved and found.verdict.stands
    assert found.worth == pytest.approx(most_worth(instance), abs=0.01) == pytest.approx(found.bound, abs=0.01)
    assert Bound(Alike(instance, Lists(()))).points >= found.worth - 1e-6


@pytest.mark.parametrize("again", [30, 45, 60, 100, None])
def test_brute_force_agrees_where_the_order_decides(again: int | None) -> None:
    # Hooks for two of four, one set: whether both fit hangs on what lies between them.
    cases = [
        eye("A", kit=HOOKS),
        eye("B", kit=HOOKS),
        eye("C"),
        eye("D", order={"latex-first": True, "infection-last": False}),
    ]
    instance = week(cases, [session("one", kit={"iris-hooks": sets(1, again)})], PEOPLE[1:2])
    found = best(instance, effort=5)
    assert found.proved and found.verdict.stands
    assert found.worth == pytest.approx(most_worth(instance), abs=0.01)


def test_a_known_optimum() -> None:
    # 240 minutes hold 7 operations of a consultant within one chance in ten: two mornings hold 14 of 16, no more.
    cases = [eye(f"{number:02}", agreement=False) for number in range(16)]
    instance = week(cases, [session("one"), session("two", starts="13:00")], PEOPLE[:1])
    found = best(instance, effort=10)
    assert found.proved and len(found.lists.placings) == 14


def test_better_than_one_case_at_a_time() -> None:
    # Weeks in which placing the most pressing first leaves one out that fits (test_match.py).
    gained = [len(best(chance_week(seed), effort=5).lists.placings) for seed in (38, 59)]
    assert gained == [len(filled(Alike(chance_week(seed))).placings) + 1 for seed in (38, 59)]


def test_what_is_kept_stays() -> None:
    instance = week([eye("A"), eye("B")])
    found = best(instance, lists("two: B late consultant"), effort=5)
    kept = next(placing for placing in found.lists.placings if placing.case == key("B"))
    assert (kept.session, kept.trainee, kept.supervisor) == ("two", "late", "consultant")
    assert set(found.reasons) == {key("A")}


def test_the_table_holds_what_the_checker_allows() -> None:
    instance = week([eye("A")], trainees=PEOPLE[:2])
    use = times_of(instance)
    times = use.times
    rows = {row[:-1]: row[-1] for row in table(use, 240)}
    # 240 minutes, turnover 9.67, one chance in ten: 7 consultant, 6 senior or 5 junior cases.
    assert [max(row[n] for row in rows if sum(row) == row[n]) for n in range(3)] == [7, 6, 5]
    for row, room in rows.items():
        mine = [time for time, count in zip(times, row, strict=True) for _ in range(count)]
        fixed = len(mine) * instance.turnover
        assert chance_of_overrun(mine, fixed + room / CENTS, 240) <= 0.1
        assert not mine or chance_of_overrun(mine, fixed + (room + 1) / CENTS, 240) > 0.1


def test_the_same_in_another_process() -> None:
    script = (
        "import sys; sys.path.insert(0, 'tests')\n"
        "from lists.test_match import chance_week; from planner.lists.matching.best import best\n"
        "print([best(chance_week(seed), effort=2).lists.placings for seed in range(8)])"
    )
    root = Path(__file__).parents[2]
    said = [
        subprocess.run(
            [sys.executable, "-c", script], cwd=root, env={"PYTHONHASHSEED": seed}, capture_output=True, text=True
        )
        for seed in ("1", "2")
    ]
    assert said[0].stdout and said[0].stdout == said[1].stdout, said[0].stderr


def test_the_solver_is_an_extra(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delitem(sys.modules, "planner.lists.matching.constraint_model", raising=False)
    monkeypatch.setitem(sys.modules, "ortools.sat.python", None)
    with pytest.raises(PlannerError, match=r"the solver is not installed.*\[lists\]"):
        best(week([eye("A")]))


def test_a_deadline_is_a_rule_to_the_solver_too() -> None:
    late = [session("one", minutes=30), session("two", day=THURSDAY)]
    found = best(week([eye("A", last_day=TUESDAY, why_then="needed then")], late), effort=1)
    assert not found.lists.placings and found.blocked[0].rules == ("deadline", "overrun")
    assert check(week([eye("A")], late), found.lists).stands


def test_cases_alike_may_share_a_session_and_two_eyes_may_not() -> None:
    # Alike in everything but the patient, they are one kind to the solver; the eyes of one patient are a kind too.
    strangers = best(week([eye("A"), eye("B"), eye("C")], [session("one")]), effort=2)
    assert len(strangers.lists.placings) == 3
    eyes = [eye("A", patient="P"), eye("B", patient="P"), eye("C", patient="P")]
    one = best(week(eyes, [session("one")]), effort=2)
    assert one.proved and len(one.lists.placings) == 1
    two = best(week(eyes, [session("one"), session("two", day=A_WEEK_LATER)]), effort=2)
    assert two.proved and {p.session for p in two.lists.placings} == {"one", "two"}


def test_a_case_kept_is_not_dealt_out_again_with_those_alike() -> None:
    mornings = [session(f"s{n}", theatre=f"theatre {n}", minutes=70, day=f"2026-12-{n + 1:02}") for n in range(6)]
    instance = week([eye(f"{n:02}") for n in range(14)], mornings)
    kept = lists("s2: 03 late consultant", "s4: 07 late trainer")
    found = best(instance, kept, effort=4)
    assert found.verdict.stands and set(kept.placings) <= {replace(p, place=1) for p in found.lists.placings}
    assert len({p.case for p in found.lists.placings}) == len(found.lists.placings)
    assert found.worth >= match(instance, kept).worth - 1e-9


def test_an_interrupt_that_a_solver_drops_still_ends_the_search() -> None:
    # On this week the search gains, as the last line shows, where nobody ends it.
    instance = made(20, 6, 4, 2)
    worths: list[float] = []

    def told(worth: float, bound: float) -> None:
        if not worths:
            with contextlib.suppress(KeyboardInterrupt):
                signal.raise_signal(signal.SIGINT)
        worths.append(worth)

    before = signal.getsignal(signal.SIGINT)
    stopped = best(instance, effort=5, progress=told)
    assert stopped.worth == pytest.approx(worths[0]) and len(worths) == 1
    assert signal.getsignal(signal.SIGINT) is before
    assert best(instance, effort=5).worth > worths[0] + 1


def test_an_interrupt_after_the_search_leaves_out_the_reasons_alone() -> None:
    instance = made(20, 2, 4, 2)

    def stop() -> None:
        raise KeyboardInterrupt

    whole, cut = best(instance, effort=2), best(instance, effort=2, ended=stop)
    assert cut.lists == whole.lists and cut.verdict == whole.verdict
    assert (cut.bound, cut.proved) == (whole.bound, whole.proved)
    assert whole.explained and whole.reasons and whole.blocked
    assert not (cut.explained or cut.reasons or cut.blocked)
    text = " ".join(matched_text(instance, cut).split())
    assert "Reasons left out: interrupted. Without a place: " in text and "worth most of all" not in text
    assert all(one.told in text for one in whole.blocked)
