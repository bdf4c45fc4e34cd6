"""What is alike to every rule, so that it need be judged once: hundreds of cases fall into a few dozen kinds.

What makes a kind is what the rules say that they read (`rules/registry.py`), so a new rule's facts count by themselves.
"""

from __future__ import annotations

import datetime
from collections.abc import Hashable
from functools import cached_property

from planner.lists.matching.insertion import Assignment, alone, options
from planner.lists.rules.registry import RULES
from planner.lists.week.instance import Instance, Key, Lists

Sort = tuple[int, str | None, bool, datetime.date | None, Key | None]


class Alike:
    """Cases that no rule can tell apart, but by their deadline; and where each kind may stand on an empty list."""

    def __init__(self, instance: Instance) -> None:
        self.instance = instance
        self._kinds: dict[Hashable, int] = {}
        self._of: dict[Key, int] = {}
        self._trainees: dict[tuple[str, str], Hashable] = {}
        self._alone: dict[Hashable, bool] = {}
        self._possible: dict[Hashable, list[Assignment]] = {}

    @cached_property
    def every(self) -> list[Assignment]:
        """Every session with every pair of it; one object for each, however many cases could have it."""
        return list(options(self.instance))

    def of_patient(self, key: Key) -> frozenset[Key]:
        """The other cases of the same patient."""
        return self.instance.of_patients.get(self.instance.cases[key].patient or "", frozenset()) - {key}

    def kind(self, key: Key) -> int:
        """A number for the kind of a case. A patient with two cases is a kind of their own."""
        if key not in self._of:
            case = self.instance.cases[key]
            facts = tuple(fact.tells(self.instance, case) for fact in RULES.telling("case"))
            self._of[key] = self._kinds.setdefault(facts, len(self._kinds))
        return self._of[key]

    def sort(self, key: Key) -> Sort:
        """Cases of one sort are worth the same in every place: of a kind, as urgent, one deadline, published alone."""
        alone, past = key if key in self.instance.as_published else None, key in self.instance.past_their_date
        return self.kind(key), self.instance.cases[key].urgency, past, self.deadline(key), alone

    def deadline(self, key: Key) -> datetime.date | None:
        """The day after which the rules bar a case; none for one that is past its date."""
        return None if key in self.instance.past_their_date else self.instance.cases[key].last_day

    def possible(self, key: Key, kept: Lists) -> list[Assignment]:
        """Where a case may stand on an otherwise empty list; shared by all of its kind with its deadline."""
        kind, last = self.kind(key), self.deadline(key)
        if (kind, last) not in self._possible:
            self._possible[(kind, last)] = [option for option in self.every if self._may_stand(key, kind, option, kept)]
        return self._possible[(kind, last)]

    def _may_stand(self, key: Key, kind: int, option: Assignment, kept: Lists) -> bool:
        last, day = self.deadline(key), self.instance.sessions[option.session].day
        late = last is not None and day > last
        facts = kind, late, option.session, self._trainee(option), option.supervisor
        if facts not in self._alone:
            self._alone[facts] = alone(self.instance, kept, key, option)
        return self._alone[facts]

    def _trainee(self, option: Assignment) -> Hashable:
        """What the rules tell of the trainee in that session."""
        if option.trainee is None:
            return None
        at = option.trainee, option.session
        if at not in self._trainees:
            trainee, session = self.instance.trainees[option.trainee], self.instance.sessions[option.session]
            self._trainees[at] = tuple(fact.tells(trainee, session) for fact in RULES.telling("trainee"))
        return self._trainees[at]
