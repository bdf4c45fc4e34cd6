"""What looks alike on a list, so that one could be taken for the other: shown and said aloud, never reordered.

No published rule says how to order eyes by side or lens; the mix-ups are published (`rules/lists.yaml`), so a clash is
a thing to say at the brief, not a rule that is broken.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations, pairwise

from planner.lists.week.instance import Instance, ListCase, Lists, Placing
from planner.lists.week.week import Week
from planner.wording.words import day_words


@dataclass(frozen=True)
class Clash:
    """`cases` are those it is about, as told; `session` is where the first of them is."""

    kind: str
    session: str
    cases: tuple[str, ...]
    says: str
    do: str


def clashes(instance: Instance, lists: Lists) -> tuple[Clash, ...]:
    """Every clash of every list, session by session. Pure; raises nothing."""
    week = Week(instance, lists)
    found: list[Clash] = []
    for session in week.sessions:
        placings = week.list_of(session.id)
        found += [*_lenses(week, placings), *_sides(week, placings), *_references(week, placings)]
    return (*found, *_eyes(week))


def _lenses(week: Week, placings: tuple[Placing, ...]) -> Iterator[Clash]:
    """Neighbours with the same or a near power, and powers that cannot be compared."""
    if len(placings) < 2:
        return
    for one, other in pairwise(placings):
        first, second = week.case(one), week.case(other)
        if first.lens_power is None or second.lens_power is None:
            continue
        materials = {first.lens_material, second.lens_material}
        if len(materials - {None}) == 2 or abs(first.lens_power - second.lens_power) > week.instance.near_powers:
            continue
        same = first.lens_power == second.lens_power
        of = f" of {next(iter(materials))}" if len(materials) == 1 and None not in materials else ""
        says = (
            f"Numbers {one.place} and {other.place}: {first.in_words}, {_dioptres(first)}, then {second.in_words}, "
            f"{_dioptres(second)}: {'the same power' if same else 'near powers'}{of}"
            f"{', and the same side' if first.eye == second.eye else ''}."
        )
        do = "One patient's lenses in the room at a time; read power and eye aloud from the signed biometry."
        yield Clash("near-lens", one.session, (first.in_words, second.in_words), says, do)
    missing = [week.case(placing) for placing in placings if week.case(placing).lens_power is None]
    if missing:
        told = tuple(case.in_words for case in missing)
        says = f"Lens power not recorded, so it cannot be compared: {'; '.join(told)}."
        yield Clash("lens-not-recorded", placings[0].session, told, says, "Take it from the signed biometry, by two.")


def _sides(week: Week, placings: tuple[Placing, ...]) -> Iterator[Clash]:
    """Left and right by turns: one note for the list."""
    changes = [other for one, other in pairwise(placings) if one.case[1] != other.case[1]]
    if changes:
        where = _listed([str(placing.place) for placing in changes])
        says = f"The side changes at number{'s' if changes[1:] else ''} {where}: "
        says += ", ".join(f"{placing.place} {placing.case[1]}" for placing in placings) + "."
        do = "Turn the room round between those cases only against the marked eye and the consent form."
        yield Clash("side-changes", placings[0].session, tuple(week.case(one).in_words for one in changes), says, do)


def _references(week: Week, placings: tuple[Placing, ...]) -> Iterator[Clash]:
    """References of one list that differ in a single letter, or by two that changed places."""
    names = sorted({placing.case[0] for placing in placings})
    pairs = [(one, other) for one, other in combinations(names, 2) if similar(one, other)]
    if pairs:
        alike = tuple(dict.fromkeys(name for pair in pairs for name in pair))
        says = f"References that look alike: {', '.join(' and '.join(pair) for pair in pairs)}."
        do = "Name the patient by two identifiers and the eye, not by the reference alone."
        yield Clash("similar-references", placings[0].session, alike, says, do)


def _eyes(week: Week) -> Iterator[Clash]:
    """Both eyes of one patient on one day, on one list or two."""
    days: dict[tuple[str, str], list[Placing]] = defaultdict(list)
    for placing in sorted(week.lists.placings):
        patient = week.case(placing).patient
        if patient is not None:
            days[(str(week.session(placing).day), patient)].append(placing)
    for (day, patient), placings in days.items():
        if len({placing.case for placing in placings}) > 1:
            told = tuple(week.in_words(placing) for placing in placings)
            says = f"{patient} has more than one eye on {day_words(day)}: {'; '.join(told)}."
            do = "Each eye is an operation of its own: instruments, drugs and lens separate, the side checked anew."
            yield Clash("both-eyes", placings[0].session, tuple(week.case(one).in_words for one in placings), says, do)


def similar(one: str, other: str) -> bool:
    """Whether two references differ in one letter, by one more, or by two neighbours that changed places.

    >>> similar("A-104", "A-140"), similar("A-104", "A-105"), similar("A-104", "A-1040"), similar("A-104", "A-231")
    (True, True, True, False)
    """
    if one == other:
        return False
    if len(one) == len(other):
        at = [n for n, (a, b) in enumerate(zip(one, other, strict=True)) if a != b]
        swapped = len(at) == 2 and at[1] == at[0] + 1 and one[at[0]] == other[at[1]] and one[at[1]] == other[at[0]]
        return len(at) == 1 or swapped
    short, long = sorted((one, other), key=len)
    return len(long) - len(short) == 1 and any(long[:n] + long[n + 1 :] == short for n in range(len(long)))


def _dioptres(case: ListCase) -> str:
    return f"{case.lens_power:g} D"


def _listed(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
