"""`check(folder)`: what a rulebook that loads may still get wrong. Faults must be put right, warnings looked at."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations, pairwise
from pathlib import Path

from planner.claims import Basis
from planner.conditions import ALWAYS, Test, findings_in
from planner.errors import Fault, PlannerError
from planner.readings import quadrants
from planner.rulebook.citations import citations
from planner.rulebook.load import load
from planner.rulebook.plan_shapes import SulcusBand
from planner.rulebook.references import entries, every_part, parts
from planner.rulebook.rulebook import Rulebook
from planner.rulebook.shapes import Review
from planner.rulebook.table_checks import breaks_rise, closer_rises, matrix_rises, stages_meet, stages_rise

NOT_APPROVED = "not yet approved"
QUADRANTS = quadrants(12, 12, "right")


@dataclass(frozen=True)
class Report:
    """What was found in one folder; `rulebook` is None where it did not load."""

    rulebook: Rulebook | None
    faults: tuple[Fault, ...]
    warnings: tuple[Fault, ...] = ()


def check(folder: Path) -> Report:
    """Load the rulebook in `folder` and look it over. Faults are returned, with `file:line`, and never raised."""
    try:
        rulebook = load(folder)
    except PlannerError as error:
        return Report(None, tuple(error.faults))
    looks = (
        *(_points, _groups, _floors, _plain_values, _hidden, _coarse, _drugs, _claims, _approval, _defaults),
        *(matrix_rises, closer_rises, stages_meet, stages_rise, breaks_rise, _sulcus),
    )
    faults = tuple(fault for look in looks for fault in look(rulebook))
    return Report(rulebook, faults, (*_uncited(rulebook), *_unwanted(rulebook)))


def counts_of(rulebook: Rulebook) -> dict[str, int]:
    """How many entries of each kind there are."""
    return {
        "findings": len(rulebook.vocabulary.findings),
        "factors": len(rulebook.factors),
        "published models": 1 + len(rulebook.scores),
        "steps": len(rulebook.steps),
        "choices": len(rulebook.choices),
        "options": len(rulebook.options),
        "lines with force": len(rulebook.interactions.rules),
        "drills": len(rulebook.drills),
        "cautions": len(rulebook.cautions),
        "equipment": len(rulebook.kit.equipment),
        "drugs": len(rulebook.kit.drugs),
        "sources": len(rulebook.sources),
    }


def _points(rulebook: Rulebook) -> Iterator[Fault]:
    """Points are anchored to the odds ratio they cite."""
    for factor in rulebook.factors.values():
        basis, spot = factor.points_basis, rulebook.spots[("factors", factor.id)]
        if basis is None or basis.odds_ratio is None:
            continue
        if basis.odds_ratio <= 0:
            yield Fault(spot.at("points_basis", "odds_ratio"), f"{basis.odds_ratio:g} is not an odds ratio")
            continue
        anchored = max(round(2 * math.log2(basis.odds_ratio)), 0)
        if factor.points != anchored:
            what = f"{factor.id}: {factor.points} points for an odds ratio of {basis.odds_ratio:g}"
            why = "points are round(2 x log2(odds ratio))"
            hint = f"points: {anchored}, or a basis of its own without odds_ratio"
            yield Fault(spot.at("points"), what, why, hint)
        if basis.interval is not None and not basis.interval[0] <= basis.odds_ratio <= basis.interval[1]:
            what = f"{factor.id}: the odds ratio {basis.odds_ratio:g} lies outside its interval"
            yield Fault(spot.at("points_basis", "interval"), what, hint="copy both again from the source")


def _groups(rulebook: Rulebook) -> Iterator[Fault]:
    """What counts once does so with something."""
    key, why = "counts_once_with", "a misspelt group would count twice"
    spot = rulebook.spots[("models", rulebook.odds.id)]
    factors = [(f.counts_once_with, rulebook.at("factors", f.id, key)) for f in rulebook.factors.values()]
    terms = [(t.counts_once_with, spot.at("terms", n, key)) for n, t in enumerate(rulebook.odds.terms)]
    yield from (*_of_one(key, factors, why), *_of_one(key, terms, why))


def _of_one(key: str, members: list[tuple[str | None, str]], why: str) -> Iterator[Fault]:
    """A group that a single entry names, with those that others do."""
    names = [name for name, _ in members]
    for name, where in members:
        if name is not None and names.count(name) == 1:
            others = ", ".join(sorted({other for other in names if other and other != name})) or "none"
            yield Fault(where, f"{key} {name!r} names a group of one", why, f"groups there are: {others}")


def _floors(rulebook: Rulebook) -> Iterator[Fault]:
    """What a floor rests on can be made worse, so that something is proved of it."""
    for factor in (factor for factor in rulebook.factors.values() if factor.floor is not None):
        for name in sorted({test.finding for test in rulebook.tests_behind(factor.when)}):
            if rulebook.vocabulary.by_id[name].worse == "none":
                where = rulebook.at("findings", name, "worse")
                what = f"{name} has no direction, and the floor of {factor.id} rests on it"
                yield Fault(where, what, "nothing would be proved of a tier it demands", "say which way it is worse")


def _plain_values(rulebook: Rulebook) -> Iterator[Fault]:
    """What rules test has a plain value, or the eye on record would be left open."""
    tested: dict[str, str] = {}
    vocabulary = rulebook.vocabulary
    others = ((spot, entry) for spot, entry in entries(rulebook) if entry is not vocabulary)
    asking = ((rulebook.spots[("findings", finding.id)], finding) for finding in vocabulary.findings)
    for spot, entry in (*others, *asking):
        for place, part in parts(entry):
            if isinstance(part, Test) and part.how != "recorded":
                tested.setdefault(part.finding, spot.at(*place))
    for name, where in tested.items():
        if vocabulary.by_id[name].plain_value is None and name not in vocabulary.on_record_needs:
            what = f"{name} has no plain value, and is tested at {where}"
            hint = "give it `plain` or `unremarkable`, or name it under on_record_needs"
            yield Fault(rulebook.at("findings", name, "id"), what, "the eye on record would be left open", hint)


def _hidden(rulebook: Rulebook) -> Iterator[Fault]:
    """What hides a finding is not itself hidden: a case is read in that order."""
    for finding in rulebook.vocabulary.findings:
        for name in sorted(findings_in(finding.hidden_when) if finding.hidden_when is not None else ()):
            if rulebook.vocabulary.by_id[name].hidden_when is not None:
                where = rulebook.at("findings", finding.id, "hidden_when")
                what = f"{finding.id} is hidden by {name}, which something may hide as well"
                yield Fault(where, what, "whether a section vouches for it would hang on the order of the file")


def _coarse(rulebook: Rulebook) -> Iterator[Fault]:
    """A finer finding is read into values that the coarser one has."""
    by_id = rulebook.vocabulary.by_id
    for finding in rulebook.vocabulary.findings:
        coarse = finding.coarse
        if coarse is None:
            continue
        spot, into = rulebook.spots[("findings", finding.id)], by_id[coarse.into]
        kind, read = ("set", sorted(QUADRANTS)) if coarse.clock else ("choice", list(coarse.grades))
        if into.kind != kind or set(into.values) != set(read):
            what = f"{finding.id} is read as {', '.join(read)}, and {into.id} is a {into.kind} of other values"
            yield Fault(spot.at("coarse", "into"), what, hint=f"a {kind} of exactly these")
        if finding.kind != "number" or (coarse.width is not None and by_id[coarse.width].kind != "number"):
            what = f"{finding.id}: only a number is read coarsely, and only a number is a `width`"
            yield Fault(spot.at("coarse"), what)
        grades = sorted(coarse.grades.items(), key=lambda grade: grade[1])
        for (one, (_, top)), (other, (bottom, _)) in pairwise(grades):
            if bottom <= top:
                what = f"{finding.id}: the grades {one} and {other} overlap from {bottom:g} to {top:g}"
                yield Fault(spot.at("coarse", "grades"), what, "the first would be taken")
        for grade, (low, high) in grades:
            if low > high:
                yield Fault(spot.at("coarse", "grades"), f"{finding.id}: {grade} runs from {low:g} down to {high:g}")


def _drugs(rulebook: Rulebook) -> Iterator[Fault]:
    """A line that gives a drug stands with an option that names it; of one group there are at least two."""
    for choice in rulebook.choices.values():
        for n, option in enumerate(choice.options):
            for m, line in enumerate(option.drug_lines):
                if line.drug not in option.drugs:
                    where = rulebook.at("choices", choice.id, "options", n, "drug_lines", m)
                    what = f"{choice.id}.{option.id} gives {line.drug}, which is not among its drugs"
                    why = "it would be missing from what is made ready"
                    yield Fault(where, what, why, f"drugs: [..., {line.drug}]")
    groups = [(drug.one_of, rulebook.at("drugs", drug.id, "one_of")) for drug in rulebook.kit.drugs]
    yield from _of_one("one_of", groups, "of a misspelt group two could be given")


def _claims(rulebook: Rulebook) -> Iterator[Fault]:
    """Nothing is called seen in a source that nobody has seen."""
    called: dict[str, list[str]] = {}
    for spot, place, part in every_part(rulebook):
        if isinstance(part, Basis) and part.source is not None and part.known == "seen":
            called.setdefault(part.source, []).append(spot.at(*place))
    for name, places in sorted(called.items()):
        if rulebook.sources[name].known != "seen":
            more = f", and {len(places) - 1} more" if places[1:] else ""
            what = f"{name} is cited from memory here, and called seen at {places[0]}{more}"
            hint = "known: from-memory there, or read the source"
            yield Fault(rulebook.at("sources", name, "known"), what, "nobody has read it", hint)


def _approval(rulebook: Rulebook) -> Iterator[Fault]:
    """A rulebook in force has been approved, and so has each thing in it."""
    header, spot = rulebook.header, rulebook.spots[("rulebook.yaml", "")]
    if header.status != "in-force":
        return
    if not header.approvers or header.effective_from is None:
        what = "in force without approvers and effective_from"
        yield Fault(spot.at("status"), what, "a rulebook comes into force by name and date", "status: draft until then")
    for inner, place, part in every_part(rulebook):
        if isinstance(part, Basis) and part.approver == NOT_APPROVED:
            yield Fault(inner.at(*place), "not yet approved, in a rulebook in force", hint="name who approved it")
        if isinstance(part, Review) and part.status == "draft":
            yield Fault(inner.at(*place), "a draft, in a rulebook in force", hint="status: in-force once reviewed")


def _defaults(rulebook: Rulebook) -> Iterator[Fault]:
    """The usual way of a choice gives way to every other."""
    for choice in rulebook.choices.values():
        usual = next(option for option in choice.options if option.when == ALWAYS)
        over = {name.split(".", 1)[1] for name in rulebook.outranking[f"{choice.id}.{usual.id}"]}
        for place, option in enumerate(choice.options):
            if option is not usual and option.id not in over:
                where = rulebook.at("choices", choice.id, "options", place, "outranks")
                what = f"{choice.id}.{option.id} does not outrank {usual.id}, which is always open"
                yield Fault(where, what, "both would win whenever it holds", f"outranks: [{usual.id}]")


def _sulcus(rulebook: Rulebook) -> Iterator[Fault]:
    """No lens power falls into two bands of one table."""
    for table in rulebook.lens.sulcus_tables:
        for (_, one), (place, other) in combinations(enumerate(table.bands), 2):
            (start, end), (other_start, other_end) = _ends(one), _ends(other)
            low, high = max(start, other_start), min(end, other_end)
            if low <= high:
                where = rulebook.at("sulcus_tables", table.id, "bands", place)
                what = f"{table.id}: this band overlaps one above it"
                yield Fault(where, what, "a power in both would take the first", "say which takes the shared limit")


def _ends(band: SulcusBand) -> tuple[tuple[float, int], tuple[float, int]]:
    """Where a band starts and ends, open ends just beyond their limit."""
    low = [(limit, beyond) for limit, beyond in ((band.at_least, 0), (band.more_than, 1)) if limit is not None]
    high = [(limit, beyond) for limit, beyond in ((band.at_most, 0), (band.less_than, -1)) if limit is not None]
    return max(low, default=(-math.inf, 0)), min(high, default=(math.inf, 0))


def _uncited(rulebook: Rulebook) -> Iterator[Fault]:
    """Sources that no entry cites, in a basis or by name in its words."""
    for resting in citations(rulebook):
        if resting.is_uncited:
            name = resting.source.id
            where = rulebook.at("sources", name, "id")
            yield Fault(where, f"nothing cites {name}", hint="cite it, or take it out")


def _unwanted(rulebook: Rulebook) -> Iterator[Fault]:
    """Equipment and drugs that nothing in the rulebook wants."""
    kit, options = rulebook.kit, rulebook.options.values()
    wanted = {*kit.always, *(rule.of["kit"] for rule in rulebook.interactions.rules if "kit" in rule.of)}
    wanted.update(*(drill.kit for drill in rulebook.drills.values()))
    wanted.update(*((*option.kit.essential, *option.kit.preferred) for option in options))
    drugs = {drug for option in options for drug in option.drugs}
    for key, items, used in (("equipment", kit.equipment, wanted), ("drugs", kit.drugs, drugs)):
        for item in items:
            if item.id not in used:
                where = rulebook.at(key, item.id, "id")
                yield Fault(where, f"nothing wants {item.id}", hint="name it where it is used, or take it out")
