"""Dangling references and cycles: every id that an entry names must exist, and nothing may rest on itself."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import Any

from planner.claims import Basis, Entry
from planner.conditions import Condition, factors_in, findings_in, options_in
from planner.errors import Fault
from planner.rulebook.rulebook import Rulebook
from planner.rulebook.shapes import STAGES


def dangling(rulebook: Rulebook) -> list[Fault]:
    """Every fault of reference in a loaded rulebook; empty when all ids resolve and nothing is circular."""
    return [*_references(rulebook), *_cycles(rulebook), *_tables(rulebook)]


def entries(rulebook: Rulebook) -> Iterator[tuple[str, Any]]:
    """Each top entry with the `file:line` it stands at."""
    groups: list[tuple[str, Iterable[Any]]] = [
        ("factors", rulebook.factors.values()),
        ("choices", rulebook.choices.values()),
        ("drills", rulebook.drills.values()),
        ("cautions", rulebook.cautions.values()),
        ("steps", rulebook.steps),
        ("models", [rulebook.odds, *rulebook.scores]),
        ("raises", rulebook.interactions.raises),
        ("rules", rulebook.interactions.rules),
        ("settle", rulebook.readiness.settle),
        ("equipment", rulebook.kit.equipment),
        ("drugs", rulebook.kit.drugs),
        ("findings", rulebook.vocabulary.findings),
        ("overrides", rulebook.supervision.overrides),
        ("impossible_together", rulebook.vocabulary.impossible_together),
        ("odd_together", rulebook.vocabulary.odd_together),
        ("sulcus_tables", rulebook.lens.sulcus_tables),
    ]
    for key, group in groups:
        for entry in group:
            yield rulebook.lines.get((key, entry.id), key), entry
    yield "tiers.yaml:1", rulebook.tiers
    yield "stages.yaml:1", rulebook.stages
    yield "supervision.yaml:1", rulebook.supervision


def parts(entry: Any) -> Iterator[Any]:
    """The entry and every entry and condition inside it."""
    yield entry
    if isinstance(entry, Condition):
        return
    inner = [getattr(entry, name) for name in type(entry).model_fields] if isinstance(entry, Entry) else []
    inner = inner or (entry if isinstance(entry, list) else list(entry.values()) if isinstance(entry, dict) else [])
    for part in inner:
        if isinstance(part, Entry | Condition | list | dict):
            yield from parts(part)


def _references(rulebook: Rulebook) -> Iterator[Fault]:
    equipment = {item.id for item in rulebook.kit.equipment}
    drugs = {drug.id for drug in rulebook.kit.drugs}
    findings = set(rulebook.vocabulary.by_id)
    options = {f"{choice.id}.{option.id}" for choice in rulebook.choices.values() for option in choice.options}
    steps = {step.id for step in rulebook.steps}

    def missing(where: str, kind: str, names: Iterable[str], known: Any) -> Iterator[Fault]:
        known = set(known)
        for name in sorted(set(names) - known):
            yield Fault(
                where,
                f"no {kind} {name!r}",
                hint=f"one of: {', '.join(sorted(known)[:12])}{' ...' if len(known) > 12 else ''}",
            )

    for where, entry in entries(rulebook):
        for part in parts(entry):
            if isinstance(part, Condition):
                yield from missing(where, "factor", factors_in(part), rulebook.factors)
                yield from missing(where, "option", options_in(part), options)
            if isinstance(part, Basis) and part.source:
                yield from missing(where, "source", [part.source], rulebook.sources)
            for attribute in ("essential", "preferred"):
                if type(part).__name__ == "KitNeeds":
                    yield from missing(where, "equipment", getattr(part, attribute), equipment)
            for attribute in ("because", "harm"):
                if type(part).__name__ == "Factor":
                    yield from missing(where, "finding", re.findall(r"\{(\w+)\}", getattr(part, attribute)), findings)
        name = type(entry).__name__
        if name == "Factor" and entry.correctable:
            yield from missing(where, "finding", [entry.correctable.finding], findings)
            if entry.correctable.finding in findings:
                try:
                    rulebook.vocabulary.by_id[entry.correctable.finding].read(entry.correctable.to)
                except ValueError as error:
                    yield Fault(where, f"correctable.to: {error}")
        if name == "Choice":
            own = {option.id for option in entry.options}
            if len(own) != len(entry.options):
                yield Fault(where, f"an option id stands twice in the choice {entry.id!r}")
            for option in entry.options:
                yield from missing(where, f"option of {entry.id}", option.outranks, own)
                yield from missing(where, "drug", option.drugs, drugs)
            yield from missing(where, "step", [entry.step], steps)
        if name == "Drill":
            yield from missing(where, "equipment", entry.kit, equipment)
        if name == "Rule":
            kind, target = next(iter(entry.of.items()))
            yield from missing(
                where, kind, [target], {"option": options, "kit": equipment, "drug": drugs, "step": steps}[kind]
            )
        if name == "OddsModel":
            yield from missing(where, "factor", [blind.factor for blind in entry.blind_to], rulebook.factors)
            yield from missing(where, "source", [entry.source], rulebook.sources)
        if name == "PointScore":
            yield from missing(where, "source", [entry.source], rulebook.sources)
        if name == "Finding":
            yield from missing(
                where, "section", [entry.section], [section.id for section in rulebook.vocabulary.sections]
            )
        if name == "Pair":
            yield from missing(where, "finding", entry.doubt, findings)
    yield from missing("kit.yaml:1", "equipment", rulebook.kit.always, equipment)


def _cycles(rulebook: Rulebook) -> Iterator[Fault]:
    factors = {factor.id: factors_in(factor.when) for factor in rulebook.factors.values()}
    asked = {f.id: findings_in(f.asked_when) for f in rulebook.vocabulary.findings if f.asked_when is not None}
    graphs = [("factors", "factor rests on itself", factors), ("findings", "asked_when rests on itself", asked)]
    graphs += [
        ("choices", "outranks runs in a ring", {o.id: set(o.outranks) for o in c.options})
        for c in rulebook.choices.values()
    ]
    for key, what, graph in graphs:
        ring = _ring(graph)
        if ring:
            yield Fault(
                rulebook.lines.get((key, ring[0]), key),
                f"a {what}: {' -> '.join(ring)}",
                hint="break the ring at one of these",
            )


def _ring(graph: dict[str, set[str]]) -> list[str]:
    done: set[str] = set()

    def search(name: str, path: list[str]) -> list[str]:
        if name in path:
            return [*path[path.index(name) :], name]
        if name in done:
            return []
        for nearer in sorted(graph.get(name, ())):
            found = search(nearer, [*path, name])
            if found:
                return found
        done.add(name)
        return []

    for name in sorted(graph):
        found = search(name, [])
        if found:
            return found
    return []


def _tables(rulebook: Rulebook) -> Iterator[Fault]:
    """Tables that must be complete: bands start at the bottom, tier x stage has every cell."""
    bands = rulebook.tiers.points_bands
    if (
        [band.tier for band in bands] != [1, 2, 3, 4]
        or bands[0].at_least != 0
        or sorted(bands, key=lambda b: b.at_least) != bands
    ):
        yield Fault("tiers.yaml:1", "points_bands must run from tier 1 at 0 points to tier 4, rising")
    for tier in (1, 2, 3, 4):
        for stage in STAGES:
            if stage not in rulebook.supervision.matrix.get(tier, {}):
                yield Fault("supervision.yaml:1", f"the matrix has no cell for tier {tier}, stage {stage}")
    for missing in [stage for stage in STAGES if stage not in [s.id for s in rulebook.stages.stages]]:
        yield Fault("stages.yaml:1", f"the stage {missing!r} is missing")
