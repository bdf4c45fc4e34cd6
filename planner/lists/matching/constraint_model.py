"""The rules of the checker as a model for a constraint solver; what depends on the order of a list is only bounded.

A solution is put into order, and judged, elsewhere (`best.py`). The model never forbids lists that the checker lets
stand, so that its bound holds for them too.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from dataclasses import dataclass
from itertools import combinations, permutations, product
from typing import Any

from ortools.sat.python import cp_model

from planner.lists.matching import capacity, objective
from planner.lists.matching.equivalence import Alike
from planner.lists.matching.insertion import Assignment
from planner.lists.roster.shapes import Session
from planner.lists.rules.eyes import may_both
from planner.lists.rules.people import FROM_OUTSIDE
from planner.lists.rules.sessions import limits_of
from planner.lists.week.instance import FixedOrder, Key, Lists, Placing
from planner.lists.week.week import Week

POINTS = 1000  # of the solver for one of the unit


@dataclass(frozen=True)
class Solved:
    """What was chosen (None: nothing found), in no order as yet, the bound in points, and the deterministic time."""

    chosen: list[Placing] | None
    bound: float
    took: float


class ConstraintModel:
    """A count for each kind of case and option of some sessions; what else is placed stays, and counts as it stands.

    Cases that no rule and no wish can tell apart are one kind: which of them goes where is settled afterwards.
    Objective: the unit's points times POINTS times the number of trainees.
    """

    def __init__(
        self,
        alike: Alike,
        possible: dict[Key, list[Assignment]] | None = None,
        kept: Lists | None = None,
        others: objective.Tally | None = None,
    ) -> None:
        """Without `possible` and `kept` of all cases. `others` counts what is placed outside of this model."""
        self.instance, self.kept, self.model = alike.instance, kept or alike.kept, cp_model.CpModel()
        self.alike, self.tally = alike, others or objective.Tally(self.instance)
        self.scale = POINTS * max(1, len(self.instance.trainees))
        self.week = Week(self.instance, self.kept)
        self.kinds: dict[Key, list[Key]] = {}  # by the first case of each
        self.placings: dict[tuple[Key, Assignment], Any] = {}
        self._of: dict[tuple[str, str, str | None], list[tuple[Key, Assignment, Any]]] = defaultdict(list)
        possible = alike.waiting if possible is None else possible
        for keys in alike.by_sort(possible).values():
            self.kinds[keys[0]] = keys
            mine = [self._variable(keys[0], option, len(keys)) for option in possible[keys[0]]]
            self.model.add(sum(mine) <= len(keys))
        for placing in self.kept.placings:
            option = Assignment.of(placing)
            self.kinds[placing.case] = [placing.case]
            self.model.add(self._variable(placing.case, option, 1) == 1)
        self._kind = {key: kind for kind, keys in self.kinds.items() for key in keys}
        self.sessions = [s for s in self.instance.sessions.values() if self._of.get((s.id, "", None))]
        self.together = capacity.together(self.instance, {session.id for session in self.sessions})
        self._minutes()
        self._supervisors()
        self._trainees()
        self._patients()
        self._rooms()
        self._kit()
        self._limits()
        self._objective()

    def _variable(self, key: Key, option: Assignment, most: int) -> Any:
        if (key, option) not in self.placings:
            variable = self.model.new_bool_var("") if most == 1 else self.model.new_int_var(0, most, "")
            self.placings[(key, option)] = variable
            for what, name in (("", None), ("trainee", option.trainee), ("supervisor", option.supervisor)):
                self._of[(option.session, what, name)].append((key, option, variable))
        return self.placings[(key, option)]

    def _any(self, here: list[tuple[Key, Assignment, Any]]) -> Any:
        """A variable that is 1 where one of these is not 0."""
        some = self.model.new_bool_var("")
        for key, _, variable in here:
            self.model.add(variable <= len(self.kinds[key]) * some)
        self.model.add(sum(variable for _, _, variable in here) >= some) if here else self.model.add(some == 0)
        return some

    def _minutes(self) -> None:
        """One of the fullest lists is chosen for each session, and nothing goes beyond it."""
        use = capacity.times_of(self.instance)
        for session in self.sessions:
            here = self._of[(session.id, "", None)]
            added = {key: capacity.cents(self.instance.cases[key].added_minutes) for key, _, _ in here}
            rows = capacity.fullest(use, session.minutes, frozenset(added.values()))
            chosen = [self.model.new_bool_var("") for _ in rows]
            self.model.add_exactly_one(chosen)
            for n, time in enumerate(use.times):
                mine = [v for key, option, v in here if self.week.time(option.placing(key)) == time]
                if mine:
                    self.model.add(sum(mine) <= sum(row[n] * one for row, one in zip(rows, chosen, strict=True)))
            if any(added.values()):
                takes = sum(added[key] * variable for key, _, variable in here if added[key])
                self.model.add(takes <= sum(row[-1] * one for row, one in zip(rows, chosen, strict=True)))

    def _supervisors(self) -> None:
        for name, supervisor in self.instance.supervisors.items():
            there: dict[str, tuple[Any, Any]] = {}
            for group in self.together:
                mine = [session for session in group if self._of.get((session, "supervisor", name))]
                for session in mine:
                    if session not in there:
                        here = self._of[(session, "supervisor", name)]
                        mode = self.week.mode_served
                        ties = [one for one in here if mode(one[1].placing(one[0])) != FROM_OUTSIDE]
                        there[session] = self._any(here), self._any(ties)
                if len(mine) > 1:
                    self.model.add(sum(there[session][0] for session in mine) <= supervisor.on_site_rooms)
                    for one, other in permutations(mine, 2):
                        self.model.add_at_most_one(there[one][1], there[other][0])

    def _trainees(self) -> None:
        for group, name in product(self.together, self.instance.trainees):
            mine = [here for session in group if (here := self._of.get((session, "trainee", name)))]
            if len(mine) > 1:
                self.model.add_at_most_one(self._any(here) for here in mine)

    def _patients(self) -> None:
        """One patient's eyes where and when both may be. Whoever has two cases shares a kind with nobody else."""
        of_patient: dict[str, list[Key]] = defaultdict(list)
        for key in self._kind:
            if (patient := self.instance.cases[key].patient) is not None:
                of_patient[patient].append(key)
        for patient, of in of_patient.items():
            if len(of) < 2:
                continue
            agreed = patient in self.kept.both_eyes_agreed
            there: list[tuple[Session, Any]] = []
            for session in self.sessions:
                here = [one for one in self._of[(session.id, "", None)] if one[0] in of]
                if here:
                    there.append((session, self._any(here)))
                    if not agreed:
                        self.model.add(sum(variable for _, _, variable in here) <= 1)
            for (one, eye), (other, fellow) in combinations(there, 2):
                if not may_both(self.instance, agreed, one, other):
                    self.model.add_at_most_one(eye, fellow)

    def _rooms(self) -> None:
        """What stands on two lists of one theatre's day is in the fixed order, whatever the order of each."""
        pairs = combinations(sorted(self.sessions, key=lambda session: session.span), 2)
        of_one_room = ((one, other) for one, other in pairs if (one.day, one.room) == (other.day, other.room))
        for (one, other), rule in product(of_one_room, self.instance.order):
            early, late = self._by_rank(one, rule), self._by_rank(other, rule)
            for rank, after in early.items():
                before = [each for lower, cases in late.items() if lower < rank for each in cases]
                if before:
                    self.model.add_at_most_one(self._any(after), self._any(before))

    def _by_rank(self, session: Session, rule: FixedOrder) -> dict[int, list[tuple[Key, Assignment, Any]]]:
        by_rank: dict[int, list[tuple[Key, Assignment, Any]]] = defaultdict(list)
        for each in self._of[(session.id, "", None)]:
            by_rank[rule.rank(self.instance.cases[each[0]])].append(each)
        return by_rank

    def _kit(self) -> None:
        """Each set used as often as its turnround could allow at the very most, whatever the order."""
        for session in self.sessions:
            for item in session.kit:
                here = self._of[(session.id, "", None)]
                users = [v for key, _, v in here if item in self.instance.cases[key].kit]
                self.model.add(sum(users) <= capacity.uses(self.instance, session, item))

    def _limits(self) -> None:
        """The session's own limits of cases, general anaesthetics and places in recovery."""
        for session in self.sessions:
            for most, counts in limits_of(session):
                here = self._of[(session.id, "", None)]
                self.model.add(sum(v for key, _, v in here if counts(self.instance.cases[key])) <= most)

    def _objective(self) -> None:
        trainees, wishes, tally = self.instance.trainees, self.instance.wishes, self.tally
        terms: list[Any] = []
        for (key, option), variable in self.placings.items():
            placing = option.placing(key)
            terms.append(round(self.alike.worth_of(placing) * self.scale) * variable)
            tally.take(placing, variable)
        every, most = sum(tally.had[name] for name in trainees), len(self.instance.cases)
        for name in trainees:
            # As many times more than the mean as there are trainees, so that it is a whole number.
            more = self.model.new_int_var(0, most * len(trainees), "")
            self.model.add(more >= len(trainees) * tally.had[name] - every)
            terms.append(-round(wishes.fair_share * self.scale / len(trainees)) * more)
            wanted, points = self.instance.wanted[name], sum(objective.needed(wishes).values())
            if wanted and points:
                towards = self.model.new_int_var(0, wanted, "")
                self.model.add(towards <= tally.whole[name])
                terms.append(round(points * self.scale) * towards)
        here = [count for session, count in tally.hard.items() if (session, "", None) in self._of]
        for count in here if wishes.hard_together else ():
            together = self.model.new_int_var(0, most, "")
            self.model.add(together >= count - 1)
            terms.append(-round(wishes.hard_together * self.scale) * together)
        self.model.maximize(sum(terms))

    def solve(self, start: Lists, effort: float, short: bool = False) -> Solved:
        """Search from `start` on for `effort` units of deterministic time; `short`: an interrupt waits for the end."""
        hinted = Counter(self._as_kind(placing) for placing in start.placings if placing.case in self._kind)
        self.model.clear_hints()  # type: ignore[no-untyped-call]
        for placed, variable in self.placings.items():
            self.model.add_hint(variable, hinted[placed])
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = 1
        solver.parameters.linearization_level = 2
        solver.parameters.max_deterministic_time = effort
        # A long search ends with what it has when interrupted; a short one is left to end, and the interrupt to Python.
        solver.parameters.catch_sigint_signal = not short
        solved = solver.solve(self.model) in (cp_model.OPTIMAL, cp_model.FEASIBLE)
        values = solver.response_proto.solution if solved else []
        return Solved(
            self._dealt({placed: values[variable.index] for placed, variable in self.placings.items()}, start)
            if solved else None,
            solver.best_objective_bound / self.scale if solved else math.inf,
            max(solver.response_proto.deterministic_time, 0.01),
        )  # fmt: skip

    def _as_kind(self, placing: Placing) -> tuple[Key, Assignment]:
        """What the model counts a placing as."""
        return self._kind[placing.case], Assignment.of(placing)

    def _dealt(self, counts: dict[tuple[Key, Assignment], int], before: Lists) -> list[Placing]:
        """The counts dealt out to the cases of each kind; one that can stay where it was does."""
        left = {placed: count for placed, count in counts.items() if count}
        chosen: dict[Key, Placing] = {}
        for placing in before.placings:
            if placing.case in self._kind and left.get(self._as_kind(placing), 0):
                left[self._as_kind(placing)] -= 1
                chosen[placing.case] = placing
        for (kind, option), count in left.items():
            for key in [key for key in self.kinds[kind] if key not in chosen][:count]:
                chosen[key] = option.placing(key)
        return list(chosen.values())

    def forbid(self, placed: list[Placing]) -> None:
        """Not such cases and no other on the lists of their sessions, since that cannot stand; with others some may."""
        counts = Counter(map(self._as_kind, placed))
        here = [one for name in {placing.session: 0 for placing in placed} for one in self._of[(name, "", None)]]
        ways = []
        for one, count in counts.items():
            ways.append(self.model.new_bool_var(""))
            self.model.add(self.placings[one] != count).only_enforce_if(ways[-1])
        others = [variable for key, option, variable in here if (key, option) not in counts]
        if others:
            ways.append(self.model.new_bool_var(""))
            self.model.add(sum(others) >= 1).only_enforce_if(ways[-1])
        self.model.add_bool_or(ways)
