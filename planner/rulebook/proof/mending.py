"""Impossible pairs stand in no one's way: where a move of one finding meets one, moves of others undo it.

With `worse-points`, `worse-tier` and `plain-least` this carries over to partly recorded cases what is proved of
complete ones. Say that P and W are partly recorded cases that are not refused, and W records one finding worse than P.
A completion of W with that finding milder is a completion of P no heavier, unless it meets an impossible pair; then a
finding of that pair is not recorded, and it has a milder value, or does not apply, with which no pair is met. So the
least of P is no more than the least of W. By the same steps the other way its most is no more than the most of W. And
from every completion of P one comes to its plain eye, as the engine mends it, by steps to plain or milder values that
meet no pair: so the plain eye attains the least, and the reading on record is never lower for W than for P.

The findings that pairs tie together are tried with every value that any condition can tell apart. Where a pair could be
undone only by a value that is neither milder nor worse, nothing is claimed, and a note says of what.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Collection, Iterator
from typing import Any

from planner.conditions import Value, findings_in
from planner.harm import is_worse
from planner.rulebook.proof.inquiry import PARTLY, Bench, Inquiry
from planner.rulebook.proof.report import Claim
from planner.rulebook.rulebook import Rulebook
from planner.truth import Truth
from planner.vocabulary import Finding, Pair

State = dict[str, Value | None]


def pairs_mend(bench: Bench, plain_eye: Callable[[list[Any]], list[Any] | None] | None = None) -> Claim:
    """`plain_eye` is the engine's own, which is examined too where it is given."""
    text = (
        "where a finding made milder, worse or plain meets an impossible pair, another finding of the pair that is not "
        "recorded has a value as mild, or as bad, that undoes it"
    )
    inquiry = Inquiry(bench, "pairs-mend", text, PARTLY)
    for pairs in _tied(bench.rulebook):
        group = _Group(bench, pairs)
        for state in group.states:
            group.look(inquiry, state)
            if plain_eye is not None:
                group.look_at_plain(inquiry, state, plain_eye)
        inquiry.notes += sorted(group.not_claimed)
    return inquiry.claim()


def _tied(rulebook: Rulebook) -> list[list[Pair]]:
    """The impossible pairs, those that share a finding together."""
    groups: list[list[Pair]] = []
    for pair in rulebook.vocabulary.impossible_together:
        tied = [group for group in groups if any(findings_in(pair.when) & findings_in(other.when) for other in group)]
        groups = [group for group in groups if group not in tied]
        groups.append([*itertools.chain(*tied), pair])
    return groups


class _Group:
    """Findings that some pairs tie together, with every allowed way that they can be; None where one is absent."""

    def __init__(self, bench: Bench, pairs: list[Pair]) -> None:
        self.bench, self.rulebook, self.pairs = bench, bench.rulebook, pairs
        named = set().union(*(findings_in(pair.when) for pair in pairs))
        self.findings = [finding for finding in bench.rulebook.vocabulary.findings if finding.id in named]
        self.nothing: State = dict.fromkeys(bench.rulebook.vocabulary.by_id)
        # Every value to try, and none where the finding may not apply.
        self.values: dict[str, list[Value | None]] = {
            each.id: [*bench.plain.values(each), *([] if each.asked_when is None else [None])] for each in self.findings
        }
        product = itertools.product(*self.values.values())
        states = (dict(zip(self.values, state, strict=True)) for state in product)
        self.states = [state for state in states if self.is_complete(state) and not self.met(state)]
        self.not_claimed: set[str] = set()
        self._eyes: dict[tuple[tuple[str, Value | None], ...], State | None] = {}

    def met(self, state: State) -> list[Pair]:
        return [pair for pair in self.pairs if self.rulebook.judge(pair.when, self.nothing | state)]

    def is_complete(self, state: State) -> bool:
        """Whether nothing is absent that these findings alone say applies."""
        return all(value is not None or self._applies(name, state) is not True for name, value in state.items())

    def look(self, inquiry: Inquiry, state: State) -> None:
        """Every move of one finding to a milder or worse value, from one state."""
        for finding in self.findings:
            was = state[finding.id]
            for value, lighter in itertools.product(self.bench.plain.values(finding), (True, False)):
                if was is None or not is_worse(finding, *((was, value) if lighter else (value, was))):
                    continue
                moved = {**state, finding.id: value}
                if self.met(moved):
                    self._mend(inquiry, state, finding, moved, lighter)
                else:
                    inquiry.checks += 1

    def _mend(self, inquiry: Inquiry, state: State, finding: Finding, moved: State, lighter: bool) -> None:
        """Whatever is not recorded, where the case is not refused, can undo together what is met."""
        value, how = moved[finding.id], "milder" if lighter else "worse"

        def undone(blank: Collection[str], loosely: Collection[str]) -> bool:
            reached = self._reached(state, blank, lighter, loosely)
            return any(self._fits(self._moved(other, finding.id, value, blank)) for other in reached)

        for blank in self._blank(moved, finding.id):
            inquiry.checks += 1
            if undone(blank, ()):
                continue
            unordered = next((some for some in [*((name,) for name in blank), blank] if undone(blank, some)), None)
            if unordered is not None:
                names = ", ".join(unordered)
                self.not_claimed.add(f"nothing is claimed of {finding.id} made {how} while {names} is not recorded")
            elif not inquiry.has_enough:
                pair = self.met(moved)[0].id
                where = inquiry.bench.where("impossible_together", pair)
                says = f"{finding.id} made {how}, {self._shown(finding.id, value)}, meets {pair} from "
                inquiry.fail(f"{where}: {says}{self._words(state)}, and no {how} value of {', '.join(blank)} undoes it")

    def _blank(self, moved: State, name: str) -> list[tuple[str, ...]]:
        """The fewest other findings that are not recorded where some eye can be like this, in every way."""
        fewest: list[tuple[str, ...]] = []
        others = [other for other in moved if other != name]
        for size in range(1, len(others) + 1):
            for blank in itertools.combinations(others, size):
                if any(set(some) <= set(blank) for some in fewest):
                    continue
                recorded = {(other, v) for other, v in moved.items() if other not in blank and v is not None}
                if any(recorded <= state.items() for state in self.states):
                    fewest.append(blank)
        return fewest

    def _moved(
        self, state: State, name: str, value: Value | None, blank: Collection[str], new: State | None = None
    ) -> State:
        """One finding moved. Of those not recorded what cannot apply is absent, what newly does is as in `new`."""
        there = {**state, name: value}
        for other in [*blank] * len(blank):  # again, since what hangs on one may decide of the next
            if other != name and self._applies(other, there) is False:
                there[other] = None
            elif other != name and there[other] is None and new is not None:
                there[other] = new[other]
        return there

    def _applies(self, name: str, state: State) -> Truth:
        return self.rulebook.applies(name, self.nothing | state)

    def _fits(self, state: State) -> bool:
        """Whether no pair is met, with some value for what newly applies."""
        by_id = self.rulebook.vocabulary.by_id
        newly = [name for name, value in state.items() if value is None and self._applies(name, state)]
        some = itertools.product(*(self.bench.plain.values(by_id[name]) for name in newly))
        return any(not self.met({**state, **dict(zip(newly, values, strict=True))}) for values in some)

    def _reached(
        self, state: State, blank: Collection[str], lighter: bool, loosely: Collection[str]
    ) -> Iterator[State]:
        """Every allowed state reached by moves to values as mild (or as bad), or, for those in `loosely`, neither."""
        seen, waiting = [state], [state]
        while waiting:
            here = waiting.pop()
            yield here
            for name in blank:
                finding, was = self.rulebook.vocabulary.by_id[name], here[name]
                for value in self.bench.plain.values(finding) if was is not None else ():
                    assert was is not None
                    milder, worse = is_worse(finding, was, value), is_worse(finding, value, was)
                    there = {**here, name: value}
                    wanted = (milder if lighter else worse) or (name in loosely and not milder and not worse)
                    if wanted and there not in seen and not self.met(there):
                        seen.append(there)
                        waiting.append(there)

    def look_at_plain(self, inquiry: Inquiry, state: State, plain_eye: Callable[[list[Any]], list[Any] | None]) -> None:
        """From a state, whatever of it is not recorded, to the plain eye of the rest."""
        for size in range(1, len(state) + 1):
            for blank in itertools.combinations(state, size):
                inquiry.checks += 1
                eye = self._plain_eye({name: value for name, value in state.items() if name not in blank}, plain_eye)
                if eye is None or inquiry.has_enough or self._comes_to(state, eye, blank):
                    continue
                where = inquiry.bench.where("findings", blank[0], "plain")
                says = f"{', '.join(blank)} not recorded, the plain eye has {self._words(eye)}, and no steps to plain"
                inquiry.fail(f"{where}: {says} or milder values lead there from {self._words(state)}")

    def _plain_eye(self, recorded: State, plain_eye: Callable[[list[Any]], list[Any] | None]) -> State | None:
        """What the engine reads on record; None where it finds no plain eye and searches for the least instead."""
        key = tuple(recorded.items())
        if key not in self._eyes:
            eye = plain_eye(list((self.nothing | recorded).values()))
            index = {name: place for place, name in enumerate(self.nothing)}
            self._eyes[key] = None if eye is None else {name: eye[index[name]] for name in self.values}
        return self._eyes[key]

    def _comes_to(self, state: State, eye: State, blank: Collection[str]) -> bool:
        """Whether steps, each of one finding to its plain or a milder value, lead there without meeting a pair."""
        by_id = self.rulebook.vocabulary.by_id
        if all(state[name] == eye[name] or eye[name] is None for name in blank):
            return True
        for name in blank:
            was, now = state[name], eye[name]
            if was is None or now is None or was == now:
                continue
            if now == by_id[name].plain_value or is_worse(by_id[name], was, now):
                there = self._moved(state, name, now, blank, eye)
                if not self.met(there) and self._comes_to(there, eye, blank):
                    return True
        return False

    def _words(self, state: State) -> str:
        return ", ".join(f"{name} {self._shown(name, value)}" for name, value in state.items())

    def _shown(self, name: str, value: Value | None) -> str:
        return "absent" if value is None else self.rulebook.vocabulary.by_id[name].shown(value)
