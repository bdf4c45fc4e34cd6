"""The rules as objects: what each reads is what it says it reads, and cases of one kind are one to all of them."""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations
from pathlib import Path

import pytest
from lists import test_checker
from lists.drawn_weeks import drawn_week
from lists.watched import NAMES, READ, watched

from planner.lists.matching.equivalence import Alike
from planner.lists.rules.patient import deadline
from planner.lists.rules.registry import RULES
from planner.lists.rules.rule import Broken, ListRule
from planner.lists.rules.scaffold import NOT_YET
from planner.lists.week.instance import Instance, Key, Lists
from planner.lists.week.week import Week

ROOT, SEEDS = Path(__file__).resolve().parents[2], range(250)


@pytest.fixture(scope="module")
def weeks() -> list[tuple[Instance, Lists]]:
    made = [*test_checker.STANDS.values(), *test_checker.BREAKS.values()]
    return [*((one.instance, one.lists) for one in made), *map(drawn_week, SEEDS)]


@pytest.mark.parametrize("rule", RULES.every, ids=RULES.ids)
def test_a_rule_reads_what_it_says_and_nothing_else(rule: ListRule, weeks: list[tuple[Instance, Lists]]) -> None:
    read = set[str]()
    for instance, lists in weeks:
        for broken in rule.judge(Week(watched(instance), lists)):
            assert str(broken)
        read |= READ
    assert read - NAMES == {fact.name for fact in rule.reads}


def test_a_fact_that_is_not_declared_is_noticed() -> None:
    instance, lists = drawn_week(0)
    held = watched(instance)
    assert [case.lens_power for case in held.cases.values()] and "case.lens_power" in READ
    assert not Counter(RULES.broken(Week(held, lists))) - Counter(RULES.broken(Week(instance, lists)))


def exchanged(lists: Lists, one: Key, other: Key) -> Lists:
    """Each in the place of the other, or in none where the other has none."""
    swap = {one: other, other: one}
    return replace(lists, placings=tuple(replace(p, case=swap.get(p.case, p.case)) for p in lists.placings))


def told(broken: Broken, swap: dict[Key, Key]) -> tuple[object, ...]:
    """What is broken, in numbers and without the words; the cases under each other's names."""
    numbers = frozenset((name, fact) for name, fact in broken.facts.items() if isinstance(fact, int | float))
    cases = frozenset(swap.get(key, key) for key in broken.cases)
    return broken.rule, broken.session, cases, broken.people, numbers


def pairs_of_a_kind(instance: Instance, lists: Lists) -> Iterator[tuple[Key, Key]]:
    alike, placed = Alike(instance), {placing.case for placing in lists.placings}
    kinds: dict[int, list[Key]] = defaultdict(list)
    for key in instance.cases:
        kinds[alike.kind(key)].append(key)
    for keys in kinds.values():
        yield from (pair for pair in combinations(keys, 2) if placed.intersection(pair))


def test_cases_of_one_kind_can_be_exchanged_under_every_rule(weeks: list[tuple[Instance, Lists]]) -> None:
    met, broke = 0, Counter[str]()
    for instance, lists in weeks:
        alike = Alike(instance)
        for one, other in pairs_of_a_kind(instance, lists):
            then, swap = exchanged(lists, one, other), {one: other, other: one}
            same_deadline = alike.deadline(one) == alike.deadline(other)
            for rule in RULES.every:
                if rule is deadline and not same_deadline:
                    continue
                before = {told(broken, swap) for broken in rule.judge(Week(instance, lists))}
                after = {told(broken, {}) for broken in rule.judge(Week(instance, then))}
                assert before == after, f"{rule.id} tells {one} from {other}"
                broke.update(rule.id for broken in before if {one, other}.intersection(broken[2]))  # type: ignore[arg-type]
            met += 1
    assert met >= 300 and len(broke) >= 15, broke


def test_hundreds_of_cases_are_a_few_dozen_kinds() -> None:
    from bench.weeks import made

    instance = made(300, 20, 8, 8, 1)
    alike = Alike(instance)
    assert 5 <= len({alike.kind(key) for key in instance.cases}) <= 60


def test_readme_tells_every_rule_and_none_is_left_unwritten() -> None:
    table = (ROOT / "README.md").read_text(encoding="utf-8").split("| rule | what it asks |\n|---|---|\n")[1]
    rows = [row for row in table.split("\n\n")[0].splitlines() if row]
    assert {name for row in rows for name in re.findall(r"`([a-z-]+)`", row.split("|")[1])} == set(RULES.ids)
    assert not [row for row in rows if NOT_YET in row]
    assert not [rule.id for rule in RULES.every if NOT_YET in (rule.judge.__doc__ or "")]
