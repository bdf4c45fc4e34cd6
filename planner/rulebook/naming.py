"""What each piece of a rulebook is called: its kind and its id, below the ids of whatever it stands in."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import Any

from planner.claims import Entry
from planner.rulebook import list_shapes, plan_shapes, shapes
from planner.rulebook.references import entries, parts
from planner.rulebook.rulebook import Rulebook, Spot
from planner.strict_yaml import Place
from planner.vocabulary import Finding, Pair, Section

KINDS: dict[type[Entry], str] = {
    shapes.Source: "source",
    shapes.Factor: "factor",
    shapes.OddsModel: "model",
    shapes.PointScore: "score",
    shapes.Term: "term",
    shapes.Operator: "operator",
    shapes.ScoreItem: "item",
    shapes.StageShape: "stage",
    shapes.Override: "override",
    plan_shapes.Step: "step",
    plan_shapes.Line: "line",
    plan_shapes.Choice: "choice",
    plan_shapes.Option: "option",
    plan_shapes.Raise: "raise",
    plan_shapes.Rule: "rule",
    plan_shapes.Caution: "caution",
    plan_shapes.Drill: "drill",
    plan_shapes.Equipment: "equipment",
    plan_shapes.Drug: "drug",
    plan_shapes.Contraindication: "contraindication",
    plan_shapes.Settle: "reason to settle first",
    plan_shapes.SulcusTable: "table",
    list_shapes.Grade: "grade",
    list_shapes.FixedPlace: "place on a list",
    Finding: "finding",
    Pair: "pair",
    Section: "section",
}


@dataclass(frozen=True)
class Named:
    """A piece with an id, or a whole file without one: `name` joins the ids around it and its own with points."""

    kind: str
    name: str
    entry: Any
    spot: Spot
    place: Place

    @property
    def at(self) -> str:
        return self.spot.at(*self.place)

    def within(self) -> Iterator[tuple[Place, Any]]:
        """What belongs to this piece itself, with the place inside it; pieces with an id of their own are left out."""
        others: list[Place] = []
        for place, part in parts(self.entry):
            if any(place[: len(other)] == other for other in others):
                continue
            if place and _has_id(part):
                others.append(place)
                continue
            yield place, part


def named(rulebook: Rulebook) -> Iterator[Named]:
    """Every piece of the rulebook that can be called by name, each file in the order it is written."""
    spots = rulebook.spots
    without_claims = (spots["rulebook.yaml", ""], rulebook.header), (spots["theatre.yaml", ""], rulebook.theatre)
    for spot, whole in (*entries(rulebook), *without_claims):
        names: dict[Place, str] = {}
        if not _has_id(whole):
            yield Named("file", PurePosixPath(spot.document.name).stem, whole, spot, ())
        for place, part in parts(whole):
            if _has_id(part):
                around = next((names[place[:n]] for n in range(len(place) - 1, -1, -1) if place[:n] in names), "")
                names[place] = f"{around}.{part.id}" if around else part.id
                yield Named(KINDS[type(part)], names[place], part, spot, place)


def _has_id(part: Any) -> bool:
    return type(part) in KINDS
