"""A search from lists on for better ones: OR-Tools CP-SAT on the model, each answer judged by the checker.

One worker, a fixed seed and a limit in deterministic time, so that the same input gives the same lists.
"""

from __future__ import annotations

import contextlib
import signal
import threading
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from types import FrameType
from typing import TYPE_CHECKING

from planner.lists.matching.equivalence import Alike
from planner.lists.matching.greedy import Filling
from planner.lists.matching.insertion import Assignment, taken_off
from planner.lists.matching.objective import Tally
from planner.lists.matching.sequencing import LONGEST_ORDERED, ordered
from planner.lists.rules.eyes import may_both
from planner.lists.rules.registry import RULES
from planner.lists.week.instance import Instance, Key, Lists, Placing
from planner.lists.week.week import Week

if TYPE_CHECKING:
    from planner.lists.matching.constraint_model import ConstraintModel, Solved
    from planner.lists.matching.relaxation import Bound

OF_A_KIND = 6  # waiting cases that no rule can tell apart, in one search of a few sessions
ORDERS = 5  # answers that no order lets stand, after which other sessions are freed
SECONDS = 2.5  # of an ordinary machine for a unit of the solver's deterministic time, with what is done round it


@dataclass(frozen=True)
class _Stage:
    """So many sessions freed at a time, for places by which lists lose no more points than that, with such effort."""

    sessions: int
    losing: float
    effort: float


STAGES = (_Stage(4, 1.0, 1.0), _Stage(6, 2.0, 2.0), _Stage(8, 4.0, 4.0))


@dataclass(frozen=True)
class Solver:
    """The parts that need OR-Tools and HiGHS, which are an extra."""

    bound: type[Bound]
    model: type[ConstraintModel]


def solver() -> Solver | None:
    """None where they are not installed."""
    try:
        from planner.lists.matching.constraint_model import ConstraintModel
        from planner.lists.matching.relaxation import Bound
    except ImportError:
        return None
    return Solver(Bound, ConstraintModel)


class Search:
    """The best lists found so far, and what the solver has said that none can pass."""

    def __init__(self, alike: Alike, best: Lists, most: Bound, model: type[ConstraintModel]) -> None:
        self.instance, self.alike, self.kept, self.best = alike.instance, alike, alike.kept, best
        self.most, self.most_in_parts, self.model = most, most.points, model
        self.progress: Callable[[float, float], object] = lambda worth, bound: None
        self.worth, self.bound, self.took, self.exact = alike.worth(best), most.points, 0.0, True
        self.interrupted = False
        self._at: dict[str, dict[Key, list[tuple[Assignment, float]]]] = defaultdict(dict)
        self._in_vain: set[object] = set()  # what was freed and gained nothing
        for key, options in alike.waiting.items():
            for option, short in zip(options, most.shorts(key), strict=True):
                if short <= STAGES[-1].losing:
                    self._at[option.session].setdefault(key, []).append((option, short))

    @contextlib.contextmanager
    def interruptible(self) -> Iterator[None]:
        """An interrupt is remembered as well as raised: solvers drop one that comes while they read their arguments."""
        if threading.current_thread() is not threading.main_thread():
            yield
            return

        def remember(number: int, frame: FrameType | None) -> None:
            self.interrupted = True
            raise KeyboardInterrupt

        before = signal.signal(signal.SIGINT, remember)
        try:
            yield
        finally:
            signal.signal(signal.SIGINT, before)

    def improve(self, effort: float) -> None:
        """Free a few sessions at a time, neighbours, then spread ones; more of them until the most gain nothing."""
        stage = 0
        while stage < len(STAGES) and self.took < effort:
            stage = 0 if self._round(STAGES[stage], effort) else stage + 1

    def _round(self, stage: _Stage, effort: float) -> bool:
        """Whether freeing so many sessions at a time, all over the lists, gained anything."""
        sessions, gained = list(self.instance.sessions), False
        count = min(stage.sessions, len(sessions))
        strides = dict.fromkeys((1, 3, max(5, len(sessions) // count), 2) if count < len(sessions) else (1,))
        for apart in strides:
            for start in range(0, len(sessions) if count < len(sessions) else 1, max(1, count // 2)):
                if self.interrupted:
                    raise KeyboardInterrupt
                if self.took >= effort:
                    return gained
                free = {sessions[(start + n * apart) % len(sessions)] for n in range(count)}
                gained = self._again(free, stage, effort - self.took) or gained
        return gained

    @property
    def proved(self) -> bool:
        # The solvers count in thousandths of a point.
        return abs(self.bound - self.worth) <= 0.001 * max(1, len(self.best.placings))

    def tighten(self, seconds: float) -> None:
        """Lower the bound; no lists hang on it, since where it proves these the best, no search finds better."""
        self.most.tighten(seconds)
        self.bound = min(self.bound, self.most.points)
        self.progress(self.worth, self.bound)

    def whole(self, effort: float) -> None:
        """Search all sessions at once, for a bound; lists that no order lets stand are forbidden and searched past."""
        end = self.took + effort
        gain = self.most_in_parts - self.worth + 1e-6
        possible = {
            key: [option for option, short in zip(options, self.most.shorts(key), strict=True) if short <= gain]
            for key, options in self.alike.waiting.items()
        }
        model = self.model(self.alike, possible)
        while self.took < end:
            solved = model.solve(self.best, (end - self.took) / SECONDS)
            if self.exact:
                self.bound = min(self.bound, solved.bound)
                self.progress(self.worth, self.bound)
            if self._take(solved, model, None):
                return

    def _again(self, free: set[str], stage: _Stage, effort: float) -> bool:
        """These sessions anew, with what waits; all others as they are. Whether that was worth more."""
        days = {self.instance.sessions[name].day for name in free}
        near = {s.id for s in self.instance.sessions.values() if s.day in days} - free
        fixed = self.kept.placed
        kept = [p for p in self.best.placings if p.case in fixed and p.session in free]
        kept += [p for p in self.best.placings if p.session in near]
        own = {p.case: Assignment.of(p) for p in self.best.placings if p.session in free and p.case not in fixed}
        away = {p.case for p in self.best.placings if p.session not in free} | fixed
        waiting = Counter(self.alike.kind(key) for key in self.alike.waiting if key not in away and key not in own)
        before = frozenset(free), stage, tuple(kept), frozenset(own.items()), frozenset(waiting.items())
        if before in self._in_vain:
            return False
        possible: dict[Key, list[Assignment]] = {}
        for name in sorted(free):
            for key, options in self._at[name].items():
                if key not in away:
                    mine = [option for option, short in options if short <= stage.losing or option == own.get(key)]
                    possible.setdefault(key, []).extend(option for option in mine if self._may_stand(key, option, free))
        for key, option in own.items():
            if option not in possible.setdefault(key, []):
                possible[key].append(option)
        here = Lists(tuple(kept), self.best.both_eyes_agreed)
        others = Tally(self.instance, (p for p in self.best.placings if p.session not in free | near))
        model = self.model(self.alike, self._pressing(possible, free), here, others)
        worth, end = self.worth, self.took + effort
        for _ in range(ORDERS):
            left = (end - self.took) / SECONDS
            if left <= 0 or self._take(model.solve(self.best, min(stage.effort, left), short=True), model, free):
                break
        if self.worth > worth + 1e-6:
            return True
        self._in_vain.add(before)
        return False

    def _may_stand(self, key: Key, option: Assignment, free: set[str]) -> bool:
        """Whether the patient's other eye, outside of the freed sessions, lets the case stand there."""
        others = self.alike.of_patient(key)
        if not others:
            return True
        agreed = self.instance.cases[key].patient in self.best.both_eyes_agreed
        sessions = self.instance.sessions
        return all(
            may_both(self.instance, agreed, sessions[option.session], sessions[p.session])
            for p in self.best.placings
            if p.case in others and p.session not in free
        )

    def _pressing(self, possible: dict[Key, list[Assignment]], free: set[str]) -> dict[Key, list[Assignment]]:
        """Those placed there now, and of those that wait the first so many, kind by kind."""
        chosen = {placing.case for placing in self.best.placings if placing.session in free}
        by_kind: Counter[int] = Counter()
        for key in sorted(possible.keys() - chosen, key=self.instance.turn):
            kind = self.alike.kind(key)
            by_kind[kind] += 1
            if by_kind[kind] <= OF_A_KIND:
                chosen.add(key)
        return {key: options for key, options in possible.items() if key in chosen}

    def _take(self, solved: Solved, model: ConstraintModel, free: set[str] | None) -> bool:
        """Take what was found where it is worth more; forbid lists that no order lets stand, and say if all had one."""
        self.took += solved.took * SECONDS
        if solved.chosen is None:
            return True
        chosen = [placing for placing in solved.chosen if free is None or placing.session in free]
        lists, unordered = _ordered(self.instance, self.kept, chosen)
        for placed in unordered:
            model.forbid(placed)
            # Not every order of a long list was tried, so from now on the solver may miss what could stand.
            self.exact = self.exact and len(placed) <= LONGEST_ORDERED
        if free is not None:
            others = tuple(placing for placing in self.best.placings if placing.session not in free)
            lists = replace(lists, placings=(*others, *lists.placings))
        if unordered or self.alike.worth(lists) <= self.worth + 1e-6:
            return not unordered
        broken = self._broken(lists, chosen)
        for placed in broken:
            model.forbid(placed)
        lists = self._mended(lists) if broken else lists
        if (worth := self.alike.worth(lists)) > self.worth + 1e-6:
            self.best, self.worth = lists, worth
            self.progress(self.worth, self.bound)
        return not broken

    def _broken(self, lists: Lists, chosen: list[Placing]) -> list[list[Placing]]:
        """What of the chosen breaks a rule that the model does not hold: lists that do so alone, or else all of it."""
        rules = RULES.unmodelled
        if RULES.stands(Week(self.instance, lists), rules):
            return []
        alone = []
        for name in self.instance.sessions:
            here = Week(self.instance, replace(lists, placings=tuple(p for p in lists.placings if p.session == name)))
            placed = [placing for placing in chosen if placing.session == name]
            if placed and not RULES.stands(here, rules):
                alone.append(placed)
        return alone or [chosen]

    def _mended(self, lists: Lists) -> Lists:
        """Without the cases that break what the model does not hold, and with others in their stead."""
        while broken := next(RULES.broken(Week(self.instance, lists), RULES.unmodelled), None):
            here = [p.case for p in lists.placings if p.session == broken.session]
            off = next((key for key in (*broken.cases, *reversed(here)) if key not in self.kept.placed), None)
            if off is None:
                return self.best
            lists = taken_off(lists, off)
        filling = Filling(self.alike, lists)
        for key in self.alike.waiting:
            if key not in lists.placed:
                filling.place(key)
        return filling.lists if RULES.stands(Week(self.instance, filling.lists)) else self.best


def _ordered(instance: Instance, kept: Lists, chosen: list[Placing]) -> tuple[Lists, list[list[Placing]]]:
    """The chosen in an order that stands, session by session; and the sessions for which there is none."""
    placings: list[Placing] = []
    without: list[list[Placing]] = []
    for session in instance.sessions:
        here = [placing for placing in chosen if placing.session == session]
        in_order = ordered(instance, kept, here)
        placings += in_order
        if here and not in_order:
            without.append(here)
    return replace(kept, placings=tuple(placings)), without
