"""A list rule as one object, and what it says where a list breaks it: data, put into words when they are read."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Hashable, Iterable, Iterator
from dataclasses import dataclass, field
from functools import cache, wraps
from string import Formatter
from typing import Any, Literal

from planner.lists.week.instance import Key, Placing
from planner.lists.week.urgency import days
from planner.lists.week.week import Week
from planner.wording.words import day_words, eye_words, percent

# What beside a case in its own place a rule looks at: what a newly placed case can touch, and whose change mends it.
# `theatre`: the lists of that theatre's day; `supervisor`, `trainee`: the lists of that day with them; `patient`: the
# patient's other cases; `day`: every list of the day. No rule looks further.
Scope = Literal["case", "list", "theatre", "supervisor", "trainee", "patient", "day"]
FactSubject = Literal["case", "trainee", "supervisor"]


@dataclass(frozen=True)
class Fact:
    """What a rule reads, as `case.kit`, and how far it tells one case, trainee or supervisor from another by it.

    `tells` is called with the instance and a case, or with a trainee or a supervisor and a session. Of none, the fact
    tells nobody apart. A fact that is only printed counts as read.
    """

    name: str
    of: FactSubject | None = None
    tells: Callable[..., Hashable] = lambda *read: None


@cache
def as_it_stands(name: str) -> Fact:
    """The fact by which every other value tells another case or person."""
    owner, _, attribute = name.partition(".")
    if owner == "case":
        return Fact(name, "case", lambda instance, case: _hashable(getattr(case, attribute)))
    if owner in ("trainee", "supervisor"):
        of: FactSubject = "trainee" if owner == "trainee" else "supervisor"
        return Fact(name, of, lambda person, session: _hashable(getattr(person, attribute)))
    return Fact(name)


def _hashable(value: object) -> Hashable:
    if isinstance(value, dict):
        return tuple(value.items())
    return tuple(value) if isinstance(value, list) else value


@dataclass(frozen=True)
class Broken:
    """A rule that a list breaks, or a question about it: in which session, for which cases, and with whom.

    The first of `cases` is the one to change; with none it is the list as a whole. `facts` are what the two sentences
    are filled with: placings, cases, people, days and numbers.
    """

    rule: str
    session: str
    cases: tuple[Key, ...]
    people: tuple[str, ...]
    facts: dict[str, Any] = field(hash=False)
    sentences: tuple[str, str]

    @property
    def case(self) -> str | None:
        return eye_words(*self.cases[0]) if self.cases else None

    @property
    def says(self) -> str:
        return _WORDS.vformat(self.sentences[0], (), self.facts)

    @property
    def change(self) -> str:
        return _WORDS.vformat(self.sentences[1], (), self.facts)

    @property
    def data(self) -> dict[str, object]:
        """As other programs get it."""
        words = {"says": self.says, "change": self.change}
        return {"rule": self.rule, "session": self.session, "case": self.case, **words}

    def __str__(self) -> str:
        return f"{self.says} {self.change}"


class _Words(Formatter):
    def format_field(self, value: Any, spec: str) -> str:
        if spec == "percent":
            return percent(value)
        if spec == "days":
            return days(value)
        if isinstance(value, Placing):
            return f"{eye_words(*value.case)}, number {value.place} in {value.session}"
        if isinstance(value, datetime.date) and not spec:
            return day_words(value)
        return eye_words(*value) if isinstance(value, tuple) else str(super().format_field(value, spec))


_WORDS = _Words()
Judge = Callable[[Week], Iterator[Broken]]
CaseJudge = Callable[[Week, Placing], Iterator[Broken]]


@dataclass(frozen=True)
class ListRule:
    """A rule that lists must keep.

    `words` is the rule as people are told it; `judge` says where a week breaks it; `reads` is every fact of cases,
    people, sessions and instance that it reads. `of_order`: whether it is kept hangs on the order of a list too; for
    any other rule one order is as good as another, and one case more never mends it. `modelled`: what the constraint
    model and the ordering after it choose keeps it; what is not modelled is judged after each search instead.
    """

    id: str
    words: str
    judge: Judge
    reads: tuple[Fact, ...]
    scope: Scope
    of_order: bool = False
    modelled: bool = False

    def broken(self, at: Placing | str, says: str, change: str, people: Iterable[str] = (), **facts: Any) -> Broken:
        """The rule broken by a placing, or by the list of a session as a whole. `{at}` in a sentence is that placing.

        A number is filled in as it stands, `{chance:percent}` as a percentage, `{count:days}` with its unit.
        """
        session, facts = at if isinstance(at, str) else at.session, {"at": at} | facts
        cases = [one.case for one in facts.values() if isinstance(one, Placing)]
        cases += [one for one in facts.values() if isinstance(one, tuple)]
        return Broken(self.id, session, tuple(dict.fromkeys(cases)), tuple(people), facts, (says, change))


def rule(
    words: str, *reads: str | Fact, scope: Scope = "day", of_order: bool = False, modelled: bool = False
) -> Callable[[Judge], ListRule]:
    """Makes a rule of the function that judges it; the rule's id is the function's name."""

    def made(judge: Judge) -> ListRule:
        facts = tuple(one if isinstance(one, Fact) else as_it_stands(one) for one in reads)
        return ListRule(judge.__name__.replace("_", "-"), words, judge, facts, scope, of_order, modelled)

    return made


def case_rule(words: str, *reads: str | Fact) -> Callable[[CaseJudge], ListRule]:
    """The same of a function that judges one case in its place. The constraint model takes no place that it bars."""

    def made(judge: CaseJudge) -> ListRule:
        @wraps(judge)
        def every_case(week: Week) -> Iterator[Broken]:
            for placing in week.lists.placings:
                yield from judge(week, placing)

        return rule(words, *reads, scope="case", modelled=True)(every_case)

    return made
