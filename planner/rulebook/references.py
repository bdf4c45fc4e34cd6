"""What entries say of each other: ids resolve, nothing rests on itself, conditions ask only what is already decided."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator
from typing import Any

from planner import conditions
from planner.claims import Entry, Names
from planner.conditions import ALWAYS, Condition, FactorHolds, Not, OptionWins, Test, factors_in, findings_in
from planner.errors import Fault, did_you_mean
from planner.rulebook import plan_shapes, shapes
from planner.rulebook.plan_shapes import Settle
from planner.rulebook.rulebook import Rulebook, Spot
from planner.strict_yaml import Place
from planner.vocabulary import Finding, Pair

# Entries by what their conditions may speak of. Findings and pairs are read before anything is judged; what is in the
# second row is judged before any option is chosen; only the third may ask whether something was recorded.
_OF_FINDINGS_ONLY = (Finding, Pair)
_BEFORE_CHOICES = (shapes.Factor, shapes.Level, shapes.ScoreItem, plan_shapes.Option, plan_shapes.Raise, Settle)
_OF_RECORDS = (Settle, plan_shapes.Caution)
_SLOT = re.compile(r"\{(\w+)\}")


def faults_of(rulebook: Rulebook) -> list[Fault]:
    """Everything in how entries refer to each other that keeps the rulebook from being used."""
    return [*_references(rulebook), *_speech(rulebook), *_cycles(rulebook)]


def entries(rulebook: Rulebook) -> Iterator[tuple[Spot, Any]]:
    """Each entry that was read as a whole, a file or an item of a list, with its spot."""
    for key in ("sources", "factors", "models", "steps", "choices", "drills", "cautions"):
        group: Any = [rulebook.odds, *rulebook.scores] if key == "models" else getattr(rulebook, key)
        for entry in group.values() if isinstance(group, dict) else group:
            yield rulebook.spots[(key, entry.id)], entry
    yield rulebook.spots[("findings.yaml", "")], rulebook.vocabulary
    names = "tiers stages supervision interactions kit readiness lens theatre durations lists"
    for name in names.split():
        yield rulebook.spots[(f"{name}.yaml", "")], getattr(rulebook, name)


def every_part(rulebook: Rulebook) -> Iterator[tuple[Spot, Place, Any]]:
    """Every part of every entry, with the entry's spot and its place inside that."""
    return ((spot, place, part) for spot, entry in entries(rulebook) for place, part in parts(entry))


def parts(entry: Any, place: Place = ()) -> Iterator[tuple[Place, Any]]:
    """The entry and every entry, list and condition inside it, with its place as the file has it."""
    yield place, entry
    inner: Iterable[tuple[str | int, Any]] = ()
    match entry:
        case Entry():
            inner = ((field.alias or name, getattr(entry, name)) for name, field in type(entry).model_fields.items())
        case dict():
            inner = ((str(key), value) for key, value in entry.items())
        case list() | tuple():
            inner = enumerate(entry)
        case conditions.All(listed):
            inner = (("all", listed),)
        case conditions.Any_(listed):
            inner = (("any", listed),)
        case conditions.NumberOf(listed, _):
            inner = (("number_of", listed),)
        case Not(condition):
            inner = (("not", condition),)
    for key, part in inner:
        if isinstance(part, Entry | Condition | list | tuple | dict):
            yield from parts(part, (*place, key))


def _references(rulebook: Rulebook) -> Iterator[Fault]:
    findings = rulebook.vocabulary.by_id
    equipment, steps = {item.id for item in rulebook.kit.equipment}, {step.id for step in rulebook.steps}
    named: dict[str, Any] = {
        "equipment": equipment,
        "drug": {drug.id for drug in rulebook.kit.drugs},
        "step": steps,
        "section": {section.id for section in rulebook.vocabulary.sections},
        "finding": findings,
        "factor": rulebook.factors,
        "source": rulebook.sources,
        "option": rulebook.options,
        "kit": equipment,
        "grade": {grade.id for grade in rulebook.durations.grades},
        "look": {look.id for look in rulebook.vocabulary.looks},
        "step, nor sign-in,": {"sign-in", *steps},
        "reason to settle first": {settle.id for settle in rulebook.readiness.settle},
    }

    def absent(spot: Spot, place: Place, kind: str, name: str) -> Iterator[Fault]:
        if name not in named[kind]:
            yield Fault(spot.at(*place), f"no {kind} {name!r}", hint=nearest(name, named[kind]))

    for spot, place, part in every_part(rulebook):
        for key, kind, value in _names(part):
            for inner, name in enumerate(value) if isinstance(value, list) else ((None, value),):
                yield from absent(spot, (*place, key) if inner is None else (*place, key, inner), kind, name)
        match part:
            case FactorHolds(factor):
                yield from absent(spot, (*place, "factor"), "factor", factor)
            case OptionWins(option):
                yield from absent(spot, (*place, "option"), "option", option)
            case shapes.Factor() | plan_shapes.Caution():
                for key in ("because", "harm", "text"):
                    for name in _SLOT.findall(getattr(part, key, "")):
                        yield from absent(spot, (*place, key), "finding", name)
            case shapes.Correctable() if part.finding in findings:
                yield from _unreachable(spot.at(*place, "to"), findings[part.finding], part.to)
            case plan_shapes.Choice():
                yield from _outranked(spot, part)
            case plan_shapes.InteractionRule():
                kind, target = next(iter(part.of.items()))
                yield from absent(spot, (*place, "of", kind), kind, target)


def _names(part: Any) -> Iterator[tuple[str, str, Any]]:
    """The keys of an entry that hold ids of others: the key, what it names, and what stands there."""
    for key, field in type(part).model_fields.items() if isinstance(part, Entry) else ():
        marks = [mark for mark in field.metadata if isinstance(mark, Names)]
        if marks and getattr(part, key) is not None:
            yield key, marks[0].kind, getattr(part, key)


def nearest(name: str, known: Iterable[str]) -> str:
    """What to try instead of a name that is not known: the nearest one, or the first few there are."""
    known = sorted(known)
    return did_you_mean(name, known, f"one of: {', '.join(known[:12])}{' ...' if known[12:] else ''}")


def unknown(
    spot: Spot, place: Place, kind: str, name: str | None, known: Collection[str], where: str = "", why: str = ""
) -> Iterator[Fault]:
    """A fault where a name, read at a place inside the spot, is not known: `no session 'tue-9'`, with what to try."""
    if name is not None and name not in known:
        yield spot.fault(place, f"no {kind} {name!r}{where}", why, nearest(name, known))


def _unreachable(where: str, finding: Finding, raw: str) -> Iterator[Fault]:
    try:
        value = finding.read(raw)
    except ValueError as error:
        yield Fault(where, f"{finding.id} cannot be brought to this: {error}")
        return
    if value is None:
        yield Fault(where, f"{finding.id} cannot be brought to not recorded", hint=f"write {finding.allowed}")


def _outranked(spot: Spot, choice: plan_shapes.Choice) -> Iterator[Fault]:
    own = [option.id for option in choice.options]
    for index, option in enumerate(choice.options):
        for place, name in enumerate(option.outranks):
            if name not in own:
                where = spot.at("options", index, "outranks", place)
                yield Fault(where, f"no option {name!r} in the choice {choice.id}", hint=nearest(name, own))
    defaults = [index for index, option in enumerate(choice.options) if option.when == ALWAYS]
    if not defaults:
        what = f"the choice {choice.id} has no option with `when: always`"
        yield Fault(spot.at("options"), what, "some eye would get no option at all", "end it with the usual way")
    for index in defaults[1:]:
        what = f"a second option of the choice {choice.id} has `when: always`"
        first = spot.at("options", defaults[0])
        yield Fault(spot.at("options", index, "when"), what, f"first at {first}; one could never win", "say when it is")


def _speech(rulebook: Rulebook) -> Iterator[Fault]:
    """Conditions that speak of what is not yet decided where they stand, or of what was recorded."""
    for spot, place, owner in every_part(rulebook):
        if not isinstance(owner, Entry):
            continue
        rule = owner if isinstance(owner, plan_shapes.InteractionRule) else None
        withholds = rule is not None and rule.force == "withhold" and "option" in rule.of
        for key in type(owner).model_fields:
            condition = getattr(owner, key)
            if not isinstance(condition, Condition):
                continue
            for inner, part in parts(condition, (*place, key)):
                where = spot.at(*inner)
                match part:
                    case OptionWins(option) if withholds or isinstance(owner, _OF_FINDINGS_ONLY + _BEFORE_CHOICES):
                        what = f"the option {option!r} cannot be asked about here"
                        yield Fault(where, what, "it is chosen only after this", "say it in findings and factors")
                    case FactorHolds(factor) if isinstance(owner, _OF_FINDINGS_ONLY):
                        what = f"the factor {factor!r} cannot be asked about here"
                        yield Fault(where, what, "it is judged only after this", "say it in findings")
                    case Test(finding, "recorded") if not isinstance(owner, _OF_RECORDS):
                        what = f"whether {finding} is recorded cannot be asked here"
                        why = "what is not recorded could be either; only readiness and cautions may ask"
                        yield Fault(where, what, why, "test its value")


def _cycles(rulebook: Rulebook) -> Iterator[Fault]:
    hint = "break the ring at one of these"
    if ring := _ring({factor.id: factors_in(factor.when) for factor in rulebook.factors.values()}):
        where = rulebook.at("factors", ring[0], "when")
        yield Fault(where, f"a factor rests on itself: {' -> '.join(ring)}", "it could never be judged", hint)
    asked = {f.id: f.asked_when for f in rulebook.vocabulary.findings if f.asked_when is not None}
    if ring := _ring({name: findings_in(when) for name, when in asked.items()}):
        where = rulebook.at("findings", ring[0], "asked_when")
        yield Fault(where, f"asked_when rests on itself: {' -> '.join(ring)}", "none of them could be asked", hint)
    for choice in rulebook.choices.values():
        if ring := _ring({option.id: set(option.outranks) for option in choice.options}):
            index = [option.id for option in choice.options].index(ring[0])
            where = rulebook.at("choices", choice.id, "options", index, "outranks")
            yield Fault(where, f"outranks runs in a ring: {' -> '.join(ring)}", "none of them could win", hint)


def _ring(graph: dict[str, set[str]]) -> list[str]:
    done: set[str] = set()

    def search(name: str, path: list[str]) -> list[str]:
        if name in path:
            return [*path[path.index(name) :], name]
        if name in done:
            return []
        for nearer in sorted(graph.get(name, ())):
            if ring := search(nearer, [*path, name]):
                return ring
        done.add(name)
        return []

    for name in sorted(graph):
        if ring := search(name, []):
            return ring
    return []
