"""Which differences between two rulebooks one case can feel at all, and which of them a changed result rests on.

What is felt is told without planning the case. A piece whose condition is decided the same way under both rulebooks is
so in every completion of the case, so moving that condition changes nothing for it; a piece that holds in no completion
of either changes nothing whatever it says.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass

from planner.assess.compiled import Compiled, EyeTruths, Values
from planner.compare.outcome import What
from planner.compare.rulebook_differences import Difference
from planner.conditions import FactorHolds, OptionWins, walk
from planner.truth import Truth

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
# How the compiled rulebook calls the conditions of a piece; an option by when it is open, its withholds included.
_COMPILED_AS = {
    **{kind: kind for kind in ("factor", "rule", "line", "drill", "caution", "override", "raise")},
    **{"option": "open", "contraindication": "drug", "reason to settle first": "settle", "pair": "impossible"},
    "term": "level",
}
_SAID: dict[Truth, str] = {True: "holds", False: "does not hold", None: "may hold"}


@dataclass(frozen=True)
class Felt:
    """A difference that a case can feel. A piece that is judged has its compiled `names` and its truth either way."""

    difference: Difference
    names: tuple[str, ...] = ()
    before: Truth = None
    after: Truth = None

    @property
    def words(self) -> str:
        """The piece, and what became of it in this case where it is judged."""
        name = f"{self.difference.kind} {self.difference.name}"
        before, after = _SAID[self.before], _SAID[self.after]
        if not self.names:
            return name
        return f"{name}: {before}" + (f" -> {after}" if before != after else ", and differs")


def names_of(difference: Difference, rulebooks: Iterable[Compiled]) -> tuple[str, ...]:
    """The compiled names of a piece; none when it has no condition that is judged."""
    word = _COMPILED_AS.get(difference.kind)
    if word is None:
        return ()
    if word == "level":
        start = f"level:{difference.name.split('.', 1)[1]}:"
        return tuple(sorted({name for made in rulebooks for name in made.core_names if name.startswith(start)}))
    name = difference.name if word == "open" else difference.name.replace(".", ":", 1)
    return (f"{word}:{name}",) if any(f"{word}:{name}" in made.conditions for made in rulebooks) else ()


class Because:
    """Ready to say of each case which of the differences it can feel, and which of those a changed result rests on."""

    def __init__(self, differences: Iterable[Difference], old: Compiled, new: Compiled) -> None:
        self.both = old, new
        self.names = {each: names_of(each, self.both) for each in differences if each.decides}
        self._closed: dict[tuple[Result, bool, bool], frozenset[str]] = {}

    def felt(self, before: Values, after: Values) -> list[Felt]:
        """What the case can feel; `before` and `after` are its values as either rulebook's vocabulary orders them."""
        eyes = EyeTruths(self.both[0], before), EyeTruths(self.both[1], after)
        return [felt for each, names in self.names.items() for felt in _felt(each, names, *eyes)]

    def reasons(self, result: Result, felt: Iterable[Felt], changed: Collection[Result]) -> list[Felt]:
        """Those of `felt` behind one result. `changed` are all that changed: supervision rests on a tier that moved."""
        felt = list(felt)
        moved = ("tier", "") in changed, ("supervision", "") in changed
        key = (result, *moved)
        if key not in self._closed:
            self._closed[key] = frozenset().union(*(self._closure(made, result, *moved) for made in self.both))
        names = self._closed[key]
        return [
            each
            for each in felt
            if (not names.isdisjoint(each.names) if each.names else _reaches(each.difference, result))
        ] or felt

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


def _felt(difference: Difference, names: tuple[str, ...], old: EyeTruths, new: EyeTruths) -> Iterator[Felt]:
    """At most one for a piece: the first of its conditions that makes a difference."""
    if not names:
        yield Felt(difference)
        return
    for name in names:
        # What a rulebook does not have never holds.
        before, after = (name in eye.compiled.conditions and eye.truth(name) for eye in (old, new))
        same = before is after
        decided = before is not None and same
        if (decided and difference.only_moves_its_condition) or (before is False and after is False):
            continue
        yield Felt(difference, names, before, after)
        return
