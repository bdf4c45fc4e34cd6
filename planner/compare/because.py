"""Which changed entries a changed result rests on."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator

from planner.assess.compiled import Compiled
from planner.compare.outcome import What
from planner.compare.rulebook_differences import Difference
from planner.compare.touch import Felt
from planner.conditions import FactorHolds, OptionWins, walk

Result = tuple[What, str]
_OF_TIER = {"tier", "supervision", "who"}
# What a piece without a condition can reach; a piece that is not named here reaches everything.
_REACH: dict[str, set[str]] = {
    "model": _OF_TIER,
    "operator": _OF_TIER,
    "stage": {"supervision", "who"},
    "step": {"who", "do"},
    "choice": {"choice", "do"},
    "drug": {"drug"},
}
_REACH_OF_FILE: dict[str, set[str]] = {
    "tiers": _OF_TIER,
    "stages": {"supervision", "who"},
    "supervision": {"supervision", "who"},
}


class Because:
    """Ready to name, of the differences that a case can feel, those that a changed result of it rests on."""

    def __init__(self, old: Compiled, new: Compiled) -> None:
        self.both = (old, new)
        self._closed: dict[tuple[Result, bool, bool], frozenset[str]] = {}

    def reasons(self, result: Result, felt: Iterable[Felt], changed: Collection[Result]) -> list[Felt]:
        """Those of `felt` behind one result. `changed` are all that changed: supervision rests on a tier that moved."""
        felt = list(felt)
        moved = ("tier", "") in changed, ("supervision", "") in changed
        key = (result, *moved)
        if key not in self._closed:
            self._closed[key] = frozenset().union(*(self._closure(made, result, *moved) for made in self.both))
        names = self._closed[key]
        behind = [each for each in felt if self._is_behind(each, result, names)]
        return behind or felt

    def _is_behind(self, felt: Felt, result: Result, names: frozenset[str]) -> bool:
        if felt.names:
            return not names.isdisjoint(felt.names)
        return _reaches(felt.difference, result)

    def _closure(self, made: Compiled, result: Result, tier_moved: bool, supervision_moved: bool) -> set[str]:
        """Every compiled name that a result can rest on, through factors, options and withholds."""
        known = set(made.conditions)
        reached: set[str] = set()
        queue = [name for name in _roots(made, result, tier_moved, supervision_moved) if name in known]
        while queue:
            name = queue.pop()
            if name in reached:
                continue
            reached.add(name)
            if name.startswith("open:"):
                queue += [f"rule:{rule.id}" for rule in made.rulebook.withheld.get(name.removeprefix("open:"), [])]
            for part in walk(made.conditions[name]):
                match part:
                    case FactorHolds(factor):
                        queue.append(f"factor:{factor}")
                    case OptionWins(option):
                        queue += _open(made, option.split(".")[0])
        return reached


def _roots(made: Compiled, result: Result, tier_moved: bool, supervision_moved: bool) -> Iterator[str]:
    what, name = result
    rulebook = made.rulebook
    yield from (f"impossible:{pair.id}" for pair in rulebook.vocabulary.impossible_together)
    match what:
        case "points":
            yield from (f"factor:{factor.id}" for factor in rulebook.factors.values() if factor.points)
        case "tier":
            yield from (f"factor:{factor.id}" for factor in rulebook.factors.values() if factor.points or factor.floor)
            yield from (other for other in made.core_names if other.startswith(("level:", "raise:")))
        case "supervision":
            yield from _roots(made, ("tier", ""), tier_moved, supervision_moved) if tier_moved else ()
            yield from (other for other in made.core_names if other.startswith("level:"))
            yield from (f"override:{override.id}" for override in rulebook.supervision.overrides)
        case "who":
            if supervision_moved:
                yield from _roots(made, ("supervision", ""), tier_moved, supervision_moved)
            yield from (f"factor:{factor.id}" for factor in rulebook.factors.values() if name in factor.harder_steps)
        case "choice":
            yield from _open(made, name)
        case "do":
            for choice in rulebook.choices.values():
                yield from _open(made, choice.id) if choice.step == name else ()
            yield from (other for other in made.rest_place if other.startswith(f"line:{name}:"))
        case "readiness":
            yield from (f"settle:{settle.id}" for settle in rulebook.readiness.settle)
        case "drug":
            yield from (other for other in made.rest_place if other.startswith(f"drug:{name}:"))
            yield from (f"rule:{rule.id}" for rule in rulebook.interactions.rules if rule.of.get("drug") == name)
            for choice in rulebook.choices.values():
                if any(name in option.drugs for option in choice.options):
                    yield from _open(made, choice.id)
        case "rule" | "caution" | "drill":
            yield f"{what}:{name}"


def _open(made: Compiled, choice: str) -> list[str]:
    options = made.rulebook.choices[choice].options if choice in made.rulebook.choices else []
    return [f"open:{choice}.{option.id}" for option in options]


def _reaches(difference: Difference, result: Result) -> bool:
    """Whether a piece without a condition can reach a result at all."""
    what, name = result
    if difference.kind == "file":
        return what in _REACH_OF_FILE.get(difference.name, {what})
    if what not in _REACH.get(difference.kind, {what}):
        return False
    return difference.kind != "step" or difference.name == name
