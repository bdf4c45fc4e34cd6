"""From a folder of YAML to a `Rulebook`: strict reading, shapes, then conditions typed and references followed.

All faults of a stage are reported at once, each with file and line, what is allowed, and what to try.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable
from functools import lru_cache
from pathlib import Path
from typing import Any

from pydantic import BaseModel, TypeAdapter, ValidationError

from planner import strict_yaml
from planner.claims import Entry
from planner.conditions import Condition, ConditionError, bind
from planner.errors import Fault, PlannerError
from planner.rulebook import plan_shapes, references, shapes
from planner.rulebook.rulebook import Rulebook
from planner.shipped import rules_folder
from planner.vocabulary import Vocabulary

LARGEST_FILE = 2_000_000

# One file each.
SINGLE: dict[str, type[Entry]] = {
    "rulebook.yaml": shapes.RulebookHeader,
    "findings.yaml": Vocabulary,
    "tiers.yaml": shapes.Tiers,
    "stages.yaml": shapes.Stages,
    "supervision.yaml": shapes.Supervision,
    "interactions.yaml": plan_shapes.Interactions,
    "kit.yaml": plan_shapes.Kit,
    "readiness.yaml": plan_shapes.Readiness,
    "lens.yaml": plan_shapes.Lens,
    "theatre.yaml": plan_shapes.Theatre,
}
# A list under one key, in one file or in every file of a folder.
LISTS: dict[str, tuple[str, type[Entry]]] = {
    "sources.yaml": ("sources", shapes.Source),
    "factors": ("factors", shapes.Factor),
    "steps.yaml": ("steps", plan_shapes.Step),
    "choices": ("choices", plan_shapes.Choice),
    "drills": ("drills", plan_shapes.Drill),
    "cautions.yaml": ("cautions", plan_shapes.Caution),
}


_adapter = lru_cache(maxsize=None)(TypeAdapter)


class _Reader:
    """Reads the files of one folder, gathering faults and the line of every entry."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.faults: list[Fault] = []
        self.lines: dict[tuple[str, str], str] = {}
        self.digest = hashlib.sha256()
        self.used: set[Path] = set()

    def document(self, path: Path) -> strict_yaml.Document | None:
        name = path.relative_to(self.folder.parent).as_posix()
        try:
            content = strict_yaml.read_bytes(path, LARGEST_FILE)
            self.digest.update(path.relative_to(self.folder).as_posix().encode() + b"\0" + content + b"\0")
            self.used.add(path)
            document = strict_yaml.read(strict_yaml.decode(content, name), name)
        except PlannerError as error:
            self.faults.extend(error.faults)
            return None
        if not isinstance(document.data, dict):
            self.faults.append(Fault(f"{name}:1", "is empty or not a mapping", hint="start it with `key: value` lines"))
            return None
        return document

    def files(self, name: str) -> list[Path]:
        path = self.folder / name
        if name.endswith(".yaml"):
            return [path]
        found = sorted(p for p in path.glob("*.yaml") if not p.name.endswith(".cases.yaml"))
        if not found:
            self.faults.append(Fault(str(path), "has no .yaml files", hint="is this a rulebook's folder?"))
        return found

    def shaped(self, shape: Any, data: Any, document: strict_yaml.Document, place: strict_yaml.Place) -> Any:
        try:
            return _adapter(shape).validate_python(data)
        except ValidationError as error:
            for detail in error.errors(include_url=False):
                self.faults.append(_fault(detail, shape, document, place))
            return None

    def single(self, name: str, shape: type[Entry]) -> Any:
        document = self.document(self.folder / name)
        if document is None:
            return None
        entry = self.shaped(shape, document.data, document, ())
        for key, items in document.data.items():
            for index, item in enumerate(items if isinstance(items, list) else []):
                if isinstance(item, dict) and isinstance(item.get("id"), str):
                    self.lines[(key, item["id"])] = document.at((key, index))
        return entry

    def listed(self, name: str, key: str, shape: type[Entry]) -> list[Any]:
        entries: dict[str, Any] = {}
        for path in self.files(name):
            document = self.document(path)
            if document is None:
                continue
            for extra in [k for k in document.data if k != key]:
                self.faults.append(
                    Fault(document.at((extra,)), f"unknown key {extra!r}", hint=f"this file holds only `{key}:`")
                )
            items = document.data.get(key)
            if not isinstance(items, list):
                self.faults.append(
                    Fault(
                        document.at(()),
                        f"`{key}:` must be a list",
                        hint=f"start the file with `{key}:` and `- id: ...` lines",
                    )
                )
                continue
            for index, item in enumerate(items):
                place = (key, index)
                entry = self.shaped(shape, item, document, place)
                if entry is None:
                    continue
                where, name_ = document.at(place), entry.id
                if name_ in entries:
                    self.faults.append(
                        Fault(
                            where,
                            f"the id {name_!r} stands twice",
                            f"first at {self.lines[(key, name_)]}",
                            "ids are unique and never reused",
                        )
                    )
                entries[name_] = entry
                self.lines[(key, name_)] = where
        return list(entries.values())

    def models(self) -> tuple[shapes.OddsModel | None, list[shapes.PointScore]]:
        odds: list[shapes.OddsModel] = []
        scores: list[shapes.PointScore] = []
        for path in self.files("models"):
            document = self.document(path)
            if document is None:
                continue
            model = self.shaped(shapes.Model, document.data, document, ())
            if isinstance(model, shapes.OddsModel):
                odds.append(model)
            elif model is not None:
                scores.append(model)
            if model is not None:
                self.lines[("models", model.id)] = document.at(())
        if len(odds) > 1:
            self.faults.append(
                Fault(
                    self.lines[("models", odds[1].id)],
                    "a second odds model",
                    "published odds are never mixed",
                    "keep one",
                )
            )
        return (odds[0] if odds else None), sorted(scores, key=lambda score: score.id)


def _fault(detail: Any, shape: Any, document: strict_yaml.Document, place: strict_yaml.Place) -> Fault:
    loc: list[str | int] = [part for part in detail["loc"] if part not in ("odds", "points") or isinstance(part, int)]
    spot = (*place, *loc)
    where, dotted = document.at(spot), ".".join(str(part) for part in loc)
    match detail["type"]:
        case "extra_forbidden":
            allowed = ", ".join(_keys_at(shape, loc[:-1])) or "see a neighbouring entry"
            return Fault(where, f"unknown key {loc[-1]!r}", hint=f"allowed here: {allowed}")
        case "missing":
            what = f"`{dotted}` is missing"
            return Fault(
                document.at((*place, *loc[:-1])),
                what,
                "a claim without its basis does not load" if "basis" in str(loc[-1]) else "",
            )
    message = detail["msg"].removeprefix("Value error, ")
    return Fault(where, f"`{dotted}`: {message}" if dotted else message)


def _keys_at(shape: Any, loc: Iterable[str | int]) -> list[str]:
    """The keys allowed at a place inside a shape, as far as they can be told."""
    for part in loc:
        if not (isinstance(shape, type) and issubclass(shape, BaseModel)):
            return []
        if isinstance(part, str):
            field = shape.model_fields.get(part)
            shape = None if field is None else next((a for a in _classes(field.annotation)), None)
    if isinstance(shape, type) and issubclass(shape, BaseModel):
        return [field.alias or name for name, field in shape.model_fields.items()]
    return []


def _classes(annotation: Any) -> Iterable[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for argument in getattr(annotation, "__args__", ()):
        yield from _classes(argument)


def rewrite(entry: Any, change: Callable[[Condition], Condition]) -> Any:
    """The same entry with every condition in it, at any depth, replaced by `change(condition)`."""
    if isinstance(entry, Condition):
        return change(entry)
    if isinstance(entry, Entry):
        new = {name: rewrite(getattr(entry, name), change) for name in type(entry).model_fields}
        changed = {name: value for name, value in new.items() if value is not getattr(entry, name)}
        if not changed:
            return entry
        copy = entry.model_copy(update=changed)
        for cached in set(vars(copy)) - set(type(copy).model_fields):
            del vars(copy)[cached]  # worked out from the unchanged entry
        return copy
    if isinstance(entry, list):
        items = [rewrite(item, change) for item in entry]
        return items if any(a is not b for a, b in zip(items, entry, strict=True)) else entry
    return entry


def load(folder: Path) -> Rulebook:
    """Load the rulebook in `folder`. Raises PlannerError with every fault of the first stage that has any."""
    reader = _Reader(folder)
    singles = {name: reader.single(name, shape) for name, shape in SINGLE.items()}
    lists: dict[str, list[Any]] = {key: reader.listed(name, key, shape) for name, (key, shape) in LISTS.items()}
    odds, scores = reader.models()
    if odds is None and not reader.faults:
        reader.faults.append(Fault(str(folder / "models"), "has no odds model"))
    if reader.faults:
        raise PlannerError(reader.faults)
    vocabulary: Any = singles["findings.yaml"]

    def bound(entry: Any, where: str) -> Any:
        def change(condition: Condition) -> Condition:
            try:
                return bind(condition, vocabulary.typed)
            except ConditionError as error:
                reader.faults.append(Fault(where, str(error)))
                return condition

        return rewrite(entry, change)

    def by_id(key: str) -> dict[str, Any]:
        return {e.id: bound(e, reader.lines[(key, e.id)]) for e in sorted(lists[key], key=lambda e: e.id)}

    def one(name: str) -> Any:
        entry: Any = singles[name]
        return bound(entry, f"{folder.name}/{name}:1")

    assert odds is not None
    rulebook = Rulebook(
        header=one("rulebook.yaml"),
        sha256=reader.digest.hexdigest(),
        sources=by_id("sources"),
        vocabulary=one("findings.yaml"),
        factors=by_id("factors"),
        odds=bound(odds, reader.lines[("models", odds.id)]),
        scores=[bound(score, reader.lines[("models", score.id)]) for score in scores],
        tiers=one("tiers.yaml"),
        stages=one("stages.yaml"),
        supervision=one("supervision.yaml"),
        steps=_in_trade_order([bound(step, reader.lines[("steps", step.id)]) for step in lists["steps"]]),
        choices=by_id("choices"),
        interactions=one("interactions.yaml"),
        drills=by_id("drills"),
        cautions=by_id("cautions"),
        kit=one("kit.yaml"),
        readiness=one("readiness.yaml"),
        lens=one("lens.yaml"),
        theatre=one("theatre.yaml"),
        lines=reader.lines,
    )
    if not reader.faults:
        reader.faults.extend(references.dangling(rulebook))
    if reader.faults:
        raise PlannerError(reader.faults)
    return rulebook


def _in_trade_order(steps: list[Any]) -> list[Any]:
    order = list(shapes.STEP_IDS)
    return sorted(steps, key=lambda step: order.index(step.id))


@lru_cache(maxsize=1)
def shipped() -> Rulebook:
    """The rulebook that comes with the program, loaded once a process."""
    return load(rules_folder())
