"""The rules of the checker as a model for a constraint solver; what depends on the order of a list is only bounded.

A solution is put into order, and judged, elsewhere (`planner/lists/best.py`). The model never forbids lists that the
checker lets stand, so that its bound holds for them too.
"""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass
from itertools import combinations
from typing import Any

from ortools.sat.python import cp_model

from planner.lists import room, worth
from planner.lists.instance import Instance, Key, Lists, Placing
from planner.lists.trials import Option
from planner.lists.week import Week

POINTS = 1000  # of the solver for one of the unit


@dataclass(frozen=True)
class Solved:
    """What was chosen (None: nothing found), the bound in the unit's points, and the deterministic time it took."""

    chosen: list[tuple[Key, Option]] | None
    bound: float
    took: float


class Model:
    """One variable for each case and option. Objective: the unit's points times POINTS times the number of trainees."""

    def __init__(self, instance: Instance, possible: dict[Key, list[Option]], kept: Lists) -> None:
        self.instance, self.kept, self.model = instance, kept, cp_model.CpModel()
        self.scale = POINTS * max(1, len(instance.trainees))
        self.week = Week(instance, kept)
        self.placings: dict[tuple[Key, Option], Any] = {}
        for key, options in possible.items():
            mine = [self._variable(key, option) for option in options]
            self.model.add_at_most_one(mine)
        for placing in kept.placings:
            option = Option(placing.session, placing.trainee, placing.supervisor)
            self.model.add(self._variable(placing.case, option) == 1)
        self.tables: dict[int, list[tuple[int, ...]]] = {}  # by a session's minutes
        self._minutes()
        self._supervisors()
        self._trainees()
        self._patients()
        self._kit()
        self._objective()

    def _variable(self, key: Key, option: Option) -> Any:
        name = f"{key[0]} {key[1]} {option.session} {option.trainee} {option.supervisor}"
        return self.placings.setdefault((key, option), self.model.new_bool_var(name))

    def _where(self, **wanted: str) -> list[tuple[Key, Option, Any]]:
        return [
            (key, option, variable)
            for (key, option), variable in self.placings.items()
            if all(getattr(option, name) == value for name, value in wanted.items())
        ]

    def _placing(self, key: Key, option: Option) -> Placing:
        return Placing(option.session, 1, key, option.trainee, option.supervisor)

    def _any(self, variables: list[Any], name: str) -> Any:
        """A variable that is 1 where one of these is."""
        some = self.model.new_bool_var(name)
        self.model.add_max_equality(some, variables) if variables else self.model.add(some == 0)
        return some

    def _minutes(self) -> None:
        times = room.times_in_use(self.instance)
        tables = self.tables
        for session in self.instance.sessions.values():
            rows = tables.setdefault(session.minutes, room.table(self.instance, session.minutes))
            here = self._where(session=session.id)
            counts: list[Any] = []
            for time in times:
                mine = [v for key, option, v in here if self.week.time(self._placing(key, option)) == time]
                count = self.model.new_int_var(0, max(row[len(counts)] for row in rows), "")
                self.model.add(count == sum(mine))
                counts.append(count)
            spare = self.model.new_int_var(0, max(row[-1] for row in rows), "")
            self.model.add_allowed_assignments([*counts, spare], rows)
            added = {key: math.floor(self.instance.cases[key].added_minutes * room.CENTS) for key, _, _ in here}
            self.model.add(sum(added[key] * variable for key, _, variable in here) <= spare)

    def _together(self) -> list[list[str]]:
        """Groups of sessions that run at one moment, at least two."""
        sessions = self.instance.sessions.values()
        groups = {
            tuple(other.id for other in sessions if other.span[0] <= one.span[0] < other.span[1]) for one in sessions
        }
        return [list(group) for group in sorted(groups) if len(group) > 1]

    def _supervisors(self) -> None:
        for name, supervisor in self.instance.supervisors.items():
            there: dict[str, tuple[Any, Any]] = {}
            for session in dict.fromkeys(session for group in self._together() for session in group):
                here = self._where(session=session, supervisor=name)
                ties = [v for key, option, v in here if self.week.mode_served(self._placing(key, option)) != "on-site"]
                there[session] = self._any([v for _, _, v in here], ""), self._any(ties, "")
            for group in self._together():
                self.model.add(sum(there[session][0] for session in group) <= supervisor.on_site_rooms)
                for one in group:
                    for other in group:
                        if one != other:
                            self.model.add_at_most_one(there[one][1], there[other][0])

    def _trainees(self) -> None:
        for name in self.instance.trainees:
            for group in self._together():
                rooms = [
                    self._any([v for _, _, v in self._where(session=session, trainee=name)], "") for session in group
                ]
                self.model.add_at_most_one(rooms)

    def _patients(self) -> None:
        cases = self.instance.cases
        for one, other in combinations(cases, 2):
            patient = cases[one].patient
            if patient is None or patient != cases[other].patient or patient in self.kept.both_eyes_agreed:
                continue
            for session in self.instance.sessions:
                here = [v for key, _, v in self._where(session=session) if key in (one, other)]
                self.model.add_at_most_one(here)

    def _kit(self) -> None:
        """Each set used as often as its turnround could allow at the very most, whatever the order."""
        times, turnover = room.times_in_use(self.instance), self.instance.turnover
        shortest = min(time.mean for time in times)
        most_added = max((case.added_minutes for case in self.instance.cases.values()), default=0)
        for session in self.instance.sessions.values():
            longest = max(
                sum(count * (time.mean + turnover) for count, time in zip(row, times, strict=False))
                + min(row[-1] / room.CENTS, sum(row[:-1]) * most_added)
                for row in self.tables[session.minutes]
            )
            for item, counted in session.kit.items():
                users = [v for key, _, v in self._where(session=session.id) if item in self.instance.cases[key].kit]
                again, uses = counted.ready_again_after, 1
                if again is not None:
                    uses += max(0, math.floor((longest - shortest - turnover) / (again + shortest)))
                self.model.add(sum(users) <= counted.sets * uses)

    def _objective(self) -> None:
        trainees, weight = list(self.instance.trainees), self.instance.wishes.fair_share
        had = {
            name: sum(variable for (_, option), variable in self.placings.items() if option.trainee == name)
            for name in trainees
        }
        terms = []
        for (key, option), variable in self.placings.items():
            points = sum(worth.of_placing(self.instance, self._placing(key, option)).values())
            terms.append(round(points * self.scale) * variable)
        for name in trainees:
            # As many times more than the mean as there are trainees, so that it is a whole number.
            more = self.model.new_int_var(0, len(self.instance.cases) * len(trainees), "")
            self.model.add(more >= len(trainees) * had[name] - sum(had.values()))
            terms.append(-round(weight * self.scale / len(trainees)) * more)
        self.model.maximize(sum(terms))

    def solve(self, start: Lists, effort: float, free: Collection[str] | None = None) -> Solved:
        """Search from `start` on for `effort` units of deterministic time; only lists of `free` sessions may change."""
        model = self.model.clone()
        chosen = {(p.case, Option(p.session, p.trainee, p.supervisor)) for p in start.placings}
        for placed, variable in self.placings.items():
            own = model.get_bool_var_from_proto_index(variable.index)
            if free is None or placed[1].session in free:
                model.add_hint(own, placed in chosen)
            else:
                model.add(own == (placed in chosen))
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = 1
        solver.parameters.linearization_level = 2
        solver.parameters.max_deterministic_time = effort
        # A long search ends with what it has when interrupted; a short one is left to end, and the interrupt to Python.
        solver.parameters.catch_sigint_signal = free is None
        found = solver.solve(model) in (cp_model.OPTIMAL, cp_model.FEASIBLE)
        values = solver.response_proto.solution if found else []
        return Solved(
            [placed for placed, variable in self.placings.items() if values[variable.index]] if found else None,
            solver.best_objective_bound / self.scale if found else math.inf,
            max(solver.response_proto.deterministic_time, 0.01),
        )

    def forbid(self, placed: list[tuple[Key, Option]]) -> None:
        """Not these and no other on their session's list, since no order of them stands; with others some order may."""
        others = [v for key, option, v in self._where(session=placed[0][1].session) if (key, option) not in placed]
        self.model.add(sum(self.placings[each] for each in placed) - sum(others) <= len(placed) - 1)
