"""Which differences between two rulebooks one case can feel at all, told without planning it.

A piece whose condition is decided the same way under both rulebooks is so in every completion of the case, so moving
that condition changes nothing for it; a piece that holds in no completion of either changes nothing whatever it says.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from planner.assess.compiled import Compiled, EyeTruths, Values
from planner.compare.rulebook_differences import Difference
from planner.truth import Truth

# How the compiled rulebook calls the conditions of a piece; an option by when it is open, its withholds included.
_COMPILED_AS = {
    "factor": "factor",
    "option": "open",
    "rule": "rule",
    "line": "line",
    "drill": "drill",
    "caution": "caution",
    "contraindication": "drug",
    "reason to settle first": "settle",
    "override": "override",
    "raise": "raise",
    "pair": "impossible",
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


class Touch:
    """Ready to say of each case which of the differences it can feel."""

    def __init__(self, differences: Iterable[Difference], old: Compiled, new: Compiled) -> None:
        self.old, self.new = old, new
        deciding = [difference for difference in differences if difference.decides]
        self.names = {difference: names_of(difference, (old, new)) for difference in deciding}

    def felt(self, before: Values, after: Values) -> list[Felt]:
        """What the case can feel; `before` and `after` are its values as either rulebook's vocabulary orders them."""
        old, new = EyeTruths(self.old, before), EyeTruths(self.new, after)
        return [felt for difference, names in self.names.items() for felt in _felt(difference, names, old, new)]


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
