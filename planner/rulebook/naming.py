"""What each piece of a rulebook is called: its kind and its id, below the ids of whatever it stands in."""

from __future__ import annotations

from collections.abc import Collection, Iterator
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
    plan_shapes.StepLine: "line",
    plan_shapes.Choice: "choice",
    plan_shapes.Option: "option",
    plan_shapes.Raise: "raise",
    plan_shapes.InteractionRule: "rule",
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
class Piece:
    """A piece with an id, or a whole file without one: `name` joins the ids around it and its own with points."""

    kind: str
    name: str
    entry: Any
    spot: Spot
    place: Place

    @property
    def at(self) -> str:
        return self.spot.at(*self.place)

    @property
    def title(self) -> str:
        """Kind and name, which no other piece has both of."""
        return f"{self.kind} {self.name}"

    def written(self) -> Any:
        """Its plain data as the file has it; of pieces inside it that have an id of their own only the id."""
        others = {place for place, part in parts(self.entry) if place and _has_id(part)}
        data = self.spot.document.data
        for key in (*self.spot.place, *self.place):
            data = data[key]
        return _without(data, (), others)

    def within(self) -> Iterator[tuple[Place, Any]]:
        """What belongs to this piece itself, with the place inside it; pieces with an id of their own are left out."""
        others: list[Place] = []
        for place, part in parts(self.entry):
            if place and _has_id(part):
                others.append(place)
            if not any(place[: len(other)] == other for other in others):
                yield place, part


def pieces(rulebook: Rulebook) -> Iterator[Piece]:
    """Every piece of the rulebook that can be called by name, each file in the order it is written."""
    for spot, whole in (*entries(rulebook), (rulebook.spots["rulebook.yaml", ""], rulebook.header)):
        names: dict[Place, str] = {}
        if not _has_id(whole):
            yield Piece("file", PurePosixPath(spot.document.name).stem, whole, spot, ())
        for place, part in parts(whole):
            if _has_id(part):
                around = next((names[place[:n]] for n in range(len(place) - 1, -1, -1) if place[:n] in names), "")
                names[place] = f"{around}.{part.id}" if around else part.id
                yield Piece(KINDS[type(part)], names[place], part, spot, place)


def _has_id(part: Any) -> bool:
    return type(part) in KINDS


def _without(data: Any, place: Place, others: Collection[Place]) -> Any:
    if place in others:
        return data["id"]
    if isinstance(data, dict):
        return {key: _without(value, (*place, key), others) for key, value in data.items()}
    if isinstance(data, list):
        return [_without(value, (*place, index), others) for index, value in enumerate(data)]
    return data
