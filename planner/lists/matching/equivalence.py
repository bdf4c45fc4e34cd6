"""What is alike to every rule, so that it need be judged once: hundreds of cases fall into a few dozen kinds.

What makes a kind is what the rules say that they read (`rules/registry.py`), so a new rule's facts count by themselves.
"""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Hashable, Iterable
from dataclasses import dataclass
from functools import cached_property

from planner.lists.matching.insertion import Assignment, alone, options
from planner.lists.matching.objective import Tally, worth_of
from planner.lists.rules.registry import RULES
from planner.lists.week.instance import Instance, Key, Lists, Placing
from planner.lists.week.week import Week

Sort = tuple[int, str | None, bool, datetime.date | None, Key | None]


@dataclass(frozen=True)
class Places:
    """Where cases of a sort may stand on an empty list: each place's own worth and minutes, and those by session."""

    options: list[Assignment]
    worth: list[float]
    minutes: list[float]
    of_session: dict[str, list[int]]


class Alike:
    """Cases that no rule can tell apart, but by their deadline; and where each may stand round what is `kept`."""

    def __init__(self, instance: Instance, kept: Lists | None = None) -> None:
        self.instance, self.kept = instance, kept or instance.empty
        self._kinds: dict[Hashable, int] = {}
        self._of: dict[Key, int] = {}
        self._trainees: dict[tuple[str, str], Hashable] = {}
        self._alone: dict[Hashable, bool] = {}
        self._possible: dict[Hashable, list[Assignment]] = {}
        self._places: dict[Sort, Places] = {}
        self._worth: dict[tuple[Sort, Assignment], float] = {}
        self._week = Week(instance, Lists(()))

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

    def possible(self, key: Key) -> list[Assignment]:
        """Where a case may stand on an otherwise empty list; shared by all of its kind with its deadline."""
        kind = self.kind(key), self.deadline(key)
        if kind not in self._possible:
            self._possible[kind] = [option for option in self.every if self._may_stand(key, option)]
        return self._possible[kind]

    @cached_property
    def waiting(self) -> dict[Key, list[Assignment]]:
        """For every case that is not kept in its place, the most pressing first, where it may stand."""

        def pressing(key: Key) -> tuple[object, ...]:
            *turn, last = self.instance.turn(key)
            return (*turn, len(self.possible(key)), -self.instance.cases[key].tier, last)

        keys = (key for key in self.instance.cases if key not in self.kept.placed)
        return {key: self.possible(key) for key in sorted(keys, key=pressing)}

    @cached_property
    def size(self) -> int:
        """Places of all waiting cases together."""
        return sum(map(len, self.waiting.values()))

    def places(self, key: Key) -> Places:
        """The same for a case with what there is to know of each place beforehand."""
        sort = self.sort(key)
        if sort not in self._places:
            placings = [option.placing(key) for option in self.possible(key)]
            of_session: dict[str, list[int]] = defaultdict(list)
            for n, placing in enumerate(placings):
                of_session[placing.session].append(n)
            minutes = [self._week.with_turnover(placing) for placing in placings]
            self._places[sort] = Places(self.possible(key), [*map(self.worth_of, placings)], minutes, of_session)
        return self._places[sort]

    def by_sort(self, keys: Iterable[Key]) -> dict[Sort, list[Key]]:
        """These cases in their order, those of a sort together."""
        sorts: dict[Sort, list[Key]] = defaultdict(list)
        for key in keys:
            sorts[self.sort(key)].append(key)
        return sorts

    def worth_of(self, placing: Placing) -> float:
        """What a placing is worth whatever else stands on the lists, worked out once for all of a sort."""
        facts = self.sort(placing.case), Assignment.of(placing)
        if facts not in self._worth:
            self._worth[facts] = worth_of(self.instance, placing)
        return self._worth[facts]

    def worth(self, lists: Lists) -> float:
        """What lists are worth altogether, as `objective.of_lists`."""
        return sum(map(self.worth_of, lists.placings)) + sum(Tally(self.instance, lists.placings).points().values())

    def _may_stand(self, key: Key, option: Assignment) -> bool:
        last, day = self.deadline(key), self.instance.sessions[option.session].day
        late = last is not None and day > last
        facts = self.kind(key), late, option.session, self._trainee(option), option.supervisor
        if facts not in self._alone:
            self._alone[facts] = alone(self.instance, self.kept, key, option)
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
