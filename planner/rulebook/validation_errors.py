"""Data read by its shape; where it does not fit, a fault with file and line, what was found, and what is allowed."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Any, TypeVar, get_args, get_origin

from pydantic import BaseModel, ValidationError

from planner.conditions import ConditionError
from planner.errors import Fault, PlannerError, did_you_mean
from planner.rulebook.rulebook import Spot
from planner.rulebook.shapes import Model, OddsModel, PointScore
from planner.strict_yaml import Document, Place

_MODELS: dict[str, type[BaseModel]] = {"odds": OddsModel, "points": PointScore}
_KINDS = (
    ("string", "text"),
    ("int", "a whole number"),
    ("float", "a number"),
    ("date", "a date as YYYY-MM-DD"),
    ("list", "a list"),
    ("tuple", "a list"),
    ("dict", "`key: value` lines"),
    ("model", "`key: value` lines"),
)
_BOUNDS = {
    "greater_than": "above",
    "greater_than_equal": "at least",
    "less_than": "below",
    "less_than_equal": "at most",
}


_Shape = TypeVar("_Shape", bound=BaseModel)


def read_as(shape: type[_Shape], document: Document) -> tuple[_Shape, Spot]:
    """A whole document read by its shape, with its spot. Raises PlannerError with every fault."""
    spot = Spot(document)
    try:
        return shape.model_validate(document.data), spot
    except ValidationError as error:
        raise PlannerError(list(faults_of(error, shape, spot))) from None


def faults_of(error: ValidationError, shape: Any, spot: Spot) -> Iterator[Fault]:
    """One fault for each thing that does not fit `shape` in the data read at `spot`."""
    for detail in error.errors(include_url=False):
        loc, fits = detail["loc"], shape
        if shape is Model and loc:  # pydantic puts the kind of model first
            loc, fits = loc[1:], _MODELS[str(loc[0])]
        yield replace(_fault(detail, loc, fits, spot), place=(*spot.place, *loc))


def _fault(detail: Any, loc: Place, shape: Any, spot: Spot) -> Fault:
    kind, ctx, raw = detail["type"], detail.get("ctx", {}), detail["input"]
    written = [part for n, part in enumerate(loc) if (*spot.place, *loc[: n + 1]) in spot.document.lines]
    where, name = spot.at(*loc), ".".join(_names(spot, written))
    value = f"`{name}` is {_short(raw)}" if name else f"this is {_short(raw)}"
    if loc and loc[-1] == "[key]":
        value = f"unknown key {_short(raw)}"
    match kind:
        case "missing":
            what = ".".join((*_names(spot, written), str(loc[-1])))
            why = "a claim without its basis does not load" if "basis" in str(loc[-1]) else "nothing is assumed for it"
            return Fault(where, f"`{what}` is missing", why, f"{loc[-1]}: ...")
        case "extra_forbidden":
            allowed = _keys(shape, loc[:-1])
            why, hint = f"allowed here: {', '.join(allowed)}", did_you_mean(loc[-1], allowed)
            return Fault(where, f"unknown key {loc[-1]!r}", why, hint)
        case "literal_error":
            allowed = re.findall(r"'([^']*)'", ctx["expected"])
            return Fault(where, value, f"it is one of {', '.join(allowed)}", did_you_mean(raw, allowed))
        case "union_tag_invalid" | "union_tag_not_found":
            what = f"`kind` is {ctx['tag']!r}" if "tag" in ctx else "`kind` is missing"
            return Fault(spot.at("kind"), what, "it says what sort of model this is", "kind: odds, or kind: points")
        case "string_pattern_mismatch":
            joined = "small_pupil" if "_" in ctx["pattern"] else "small-pupil"
            return Fault(where, value, "it is an id, which other entries name", f"lower-case words like {joined}")
        case "too_short" | "too_long":
            bound = f"at least {ctx['min_length']}" if kind == "too_short" else f"at most {ctx['max_length']}"
            return Fault(where, f"`{name}` has {ctx['actual_length']} items", f"{bound} can stand here")
        case "value_error":
            error = ctx["error"]
            if isinstance(error, ConditionError):
                where = spot.at(*loc, *error.place)
            said = str(error).removeprefix(f"{name.rpartition('.')[2]}: ")  # some say their own name
            return Fault(where, f"`{name}`: {said}" if name else said)
    if kind in _BOUNDS:
        return Fault(where, value, "it lies outside what this can be", f"{_BOUNDS[kind]} {next(iter(ctx.values())):g}")
    for start, words in _KINDS:
        if kind.startswith(start):
            return Fault(where, value, f"it should be {words}", "see a neighbouring entry")
    return Fault(where, f"{value}: {detail['msg']}")


def _names(spot: Spot, loc: Iterable[str | int]) -> Iterator[str]:
    """The parts of a place inside an entry as a reader knows them: an item of a list by its id, or counted from 1."""
    data = spot.document.data
    for part in spot.place:
        data = data[part]
    for part in loc:
        data = data[part]
        named = isinstance(part, int) and isinstance(data, dict) and isinstance(data.get("id"), str)
        yield data["id"] if named else str(part + 1) if isinstance(part, int) else part


def _short(raw: object) -> str:
    text = "empty" if raw is None else repr(raw)
    return text if len(text) <= 60 else text[:57] + "..."


def _keys(shape: Any, loc: Iterable[str | int]) -> list[str]:
    """The keys allowed at a place inside a shape."""
    for part in loc:
        shape = _inside(shape, part)
    return [field.alias or name for name, field in shape.model_fields.items()] if _is_model(shape) else []


def _inside(shape: Any, part: str | int) -> Any:
    """The model or container that stands under one key or index of a shape, None when neither does."""
    arguments = get_args(shape)
    if get_origin(shape) in (list, dict, tuple):
        return _plain(arguments[-1])
    fields = shape.model_fields.items() if _is_model(shape) else ()
    return next((_plain(field.annotation) for name, field in fields if part in (name, field.alias)), None)


def _plain(shape: Any) -> Any:
    """A shape without what annotates it or makes it optional."""
    while get_args(shape) and get_origin(shape) not in (list, dict, tuple):
        shape = get_args(shape)[0]
    return shape


def _is_model(shape: Any) -> bool:
    return isinstance(shape, type) and issubclass(shape, BaseModel)
