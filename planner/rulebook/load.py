"""From a folder of YAML to a `Rulebook`: strict reading, shapes, then conditions typed and references followed.

All faults of a stage are reported at once, each with file and line, what is allowed, and what to try.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from functools import lru_cache
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter, ValidationError

from planner import strict_yaml
from planner.claims import Entry
from planner.conditions import Condition, ConditionError, Test, bind
from planner.errors import Fault, PlannerError
from planner.rulebook import list_shapes, plan_shapes, references, shapes, table_checks, validation_errors
from planner.rulebook.rulebook import Rulebook, Spot
from planner.shipped import rules_folder
from planner.vocabulary import Vocabulary

LARGEST_FILE = 2_000_000

# One file each.
SINGLE: dict[str, type[Entry]] = {
    "rulebook.yaml": shapes.RulebookHeader,
    "findings.yaml": Vocabulary,
    "tiers.yaml": shapes.Tiers,
    "stages.yaml": shapes.Stages,
    "supervision.yaml": shapes.SupervisionRules,
    "interactions.yaml": plan_shapes.Interactions,
    "kit.yaml": plan_shapes.Kit,
    "readiness.yaml": plan_shapes.ReadinessRules,
    "lens.yaml": plan_shapes.Lens,
    "theatre.yaml": plan_shapes.Theatre,
    "durations.yaml": list_shapes.Durations,
    "lists.yaml": list_shapes.ListRules,
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


class _FolderReader:
    """Reads the files of one folder, gathering faults and the spot of every entry."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.faults: list[Fault] = []
        self.spots: dict[tuple[str, str], Spot] = {}
        self.digest = hashlib.sha256()

    def document(self, path: Path) -> strict_yaml.Document | None:
        name = path.relative_to(self.folder.parent).as_posix()
        if not path.exists():
            self.faults.append(Fault(name, "is missing", "a rulebook has one", "copy it from the shipped rulebook"))
            return None
        try:
            content = strict_yaml.read_bytes(path, LARGEST_FILE)
            self.digest.update(path.relative_to(self.folder).as_posix().encode() + b"\0" + content + b"\0")
            document = strict_yaml.read(strict_yaml.decode(content, name), name)
        except PlannerError as error:
            self.faults.extend(error.faults)
            return None
        if not isinstance(document.data, dict):
            self.faults.append(Fault(f"{name}:1", "is empty or not a mapping", hint="start it with `key: value` lines"))
            return None
        self.faults.extend(_repeated_ids(document, document.data, ()))
        return document

    def files(self, name: str) -> list[Path]:
        path = self.folder / name
        if name.endswith(".yaml"):
            return [path]
        paths = sorted(p for p in path.glob("*.yaml") if not p.name.endswith(".cases.yaml"))
        if not paths:
            self.faults.append(Fault(str(path), "has no .yaml files", hint="is this a rulebook's folder?"))
        return paths

    def shaped(self, shape: Any, data: Any, spot: Spot) -> Any:
        try:
            return _adapter(shape).validate_python(data)
        except ValidationError as error:
            self.faults.extend(validation_errors.faults_of(error, shape, spot))
            return None

    def single(self, name: str, shape: type[Entry]) -> Any:
        document = self.document(self.folder / name)
        if document is None:
            return None
        self.spots[(name, "")] = Spot(document)
        for key, items in document.data.items():
            for index, item in enumerate(items if isinstance(items, list) else []):
                if isinstance(item, dict) and isinstance(item.get("id"), str):
                    self.spots[(key, item["id"])] = Spot(document, (key, index))
        return self.shaped(shape, document.data, Spot(document))

    def listed(self, name: str, key: str, shape: type[Entry]) -> list[Any]:
        entries: dict[str, Any] = {}
        for path in self.files(name):
            document = self.document(path)
            if document is None:
                continue
            for extra in [k for k in document.data if k != key]:
                hint = f"this file holds only `{key}:`"
                self.faults.append(Fault(document.at((extra,)), f"unknown key {extra!r}", hint=hint))
            items = document.data.get(key)
            if not isinstance(items, list) or not items:
                hint = f"start the file with `{key}:` and `- id: ...` lines"
                self.faults.append(Fault(document.at((key,)), f"`{key}:` must be a list of entries", hint=hint))
                continue
            for index, item in enumerate(items):
                spot = Spot(document, (key, index))
                entry = self.shaped(shape, item, spot)
                if entry is None:
                    continue
                first = self.spots.setdefault((key, entry.id), spot)
                if first.document is not document:
                    self.faults.append(_stands_twice(entry.id, spot.at("id"), first.at("id")))
                entries[entry.id] = entry
        return list(entries.values())

    def models(self) -> tuple[list[shapes.OddsModel], list[shapes.PointScore]]:
        """The odds models, of which there must be one, and the scores by their ids."""
        models: dict[str, Any] = {}
        for document in filter(None, map(self.document, self.files("models"))):
            model, spot = self.shaped(shapes.Model, document.data, Spot(document)), Spot(document)
            if model is not None and model.id in models:
                self.faults.append(_stands_twice(model.id, spot.at("id"), self.spots[("models", model.id)].at("id")))
            elif model is not None:
                models[model.id], self.spots[("models", model.id)] = model, spot
        odds = [model for model in models.values() if isinstance(model, shapes.OddsModel)]
        for second in odds[1:]:
            first, where = (self.spots[("models", model.id)].at("kind") for model in (odds[0], second))
            why = f"first at {first}; published odds are never mixed"
            self.faults.append(Fault(where, f"a second odds model, {second.id}", why, "keep one"))
        scores = [model for model in models.values() if isinstance(model, shapes.PointScore)]
        return odds, sorted(scores, key=lambda score: score.id)


def _repeated_ids(document: strict_yaml.Document, data: Any, place: strict_yaml.Place) -> Iterator[Fault]:
    """Ids that stand twice in one list, at any depth."""
    items = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    seen: dict[str, str] = {}
    for key, item in items:
        if isinstance(data, list) and isinstance(item, dict) and isinstance(item.get("id"), str):
            where = document.at((*place, key, "id"))
            first = seen.setdefault(item["id"], where)
            if first != where:
                yield _stands_twice(item["id"], where, first)
        yield from _repeated_ids(document, item, (*place, key))


def _stands_twice(name: str, where: str, first: str) -> Fault:
    return Fault(where, f"the id {name!r} stands twice", f"first at {first}", "ids are unique and never reused")


def rewrite(
    entry: Any, change: Callable[[Condition, strict_yaml.Place], Condition], place: strict_yaml.Place = ()
) -> Any:
    """The same entry with every condition in it, at any depth, replaced by `change(condition, its place)`."""
    if isinstance(entry, Condition):
        return change(entry, place)
    if isinstance(entry, Entry):
        fields = type(entry).model_fields
        new = {n: rewrite(getattr(entry, n), change, (*place, field.alias or n)) for n, field in fields.items()}
        changed = {name: value for name, value in new.items() if value is not getattr(entry, name)}
        if not changed:
            return entry
        copy = entry.model_copy(update=changed)
        for cached in set(vars(copy)) - set(fields):
            del vars(copy)[cached]  # worked out from the unchanged entry
        return copy
    if isinstance(entry, list):
        items = [rewrite(item, change, (*place, index)) for index, item in enumerate(entry)]
        return items if any(a is not b for a, b in zip(items, entry, strict=True)) else entry
    return entry


def load(folder: Path) -> Rulebook:
    """Load the rulebook in `folder`. Raises PlannerError with every fault of the first stage that has any."""
    if not folder.is_dir():
        what = "is not a folder" if folder.exists() else "is not there"
        raise PlannerError.one(what, str(folder), "a rulebook is the folder that holds rulebook.yaml")
    reader = _FolderReader(folder)
    singles = {name: reader.single(name, shape) for name, shape in SINGLE.items()}
    lists: dict[str, list[Any]] = {key: reader.listed(name, key, shape) for name, (key, shape) in LISTS.items()}
    models, scores = reader.models()
    if not models and not reader.faults:
        what = "holds no odds model"
        reader.faults.append(Fault(str(folder / "models"), what, "tier and probability rest on one", "kind: odds"))
    if reader.faults:
        raise PlannerError(reader.faults)
    [odds], vocabulary = models, singles["findings.yaml"]

    def bound(entry: Any, key: str, name: str = "") -> Any:
        spot = reader.spots[(key, name)]

        def change(condition: Condition, place: strict_yaml.Place) -> Condition:
            try:
                return bind(condition, vocabulary.typed)
            except ConditionError:
                reader.faults.extend(_untyped(condition, vocabulary, spot, place))
                return condition

        return rewrite(entry, change)

    named = {"rulebook.yaml": "header", "findings.yaml": "vocabulary"}
    whole: dict[str, Any] = {
        named.get(name, name.removesuffix(".yaml")): bound(single, name) for name, single in singles.items()
    }
    for key, listed in lists.items():
        whole[key] = {each.id: bound(each, key, each.id) for each in sorted(listed, key=lambda each: str(each.id))}
    whole["odds"] = bound(odds, "models", odds.id)
    whole["scores"] = [bound(score, "models", score.id) for score in scores]
    # In the order of the operation.
    whole["steps"] = [whole["steps"][name] for name in shapes.STEP_IDS if name in whole["steps"]]
    rulebook = Rulebook(sha256=reader.digest.hexdigest(), spots=reader.spots, **whole)
    if not reader.faults:
        reader.faults.extend([*references.faults_of(rulebook), *table_checks.faults_of(rulebook)])
    if reader.faults:
        raise PlannerError(reader.faults)
    return rulebook


def _untyped(condition: Condition, vocabulary: Vocabulary, spot: Spot, place: strict_yaml.Place) -> Iterator[Fault]:
    """The comparisons of a condition that the vocabulary cannot type, each with its line."""
    for inner, part in references.parts(condition, place):
        if isinstance(part, Test):
            try:
                vocabulary.typed(part.finding, part.how, part.limit)
            except ConditionError as error:
                yield Fault(spot.at(*inner, part.how), str(error))


@lru_cache(maxsize=1)
def shipped() -> Rulebook:
    """The rulebook that comes with the program, loaded once a process."""
    return load(rules_folder())
