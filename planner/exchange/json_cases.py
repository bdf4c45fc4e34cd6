"""JSON read strictly: no repeated key, no NaN or infinity, bounded nesting; one value, a list, or one value a line."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from planner.errors import PlannerError
from planner.exchange.case_text import WHY, CaseText


@dataclass(frozen=True)
class JsonItem:
    """One value where a case is expected, or the error that kept it from being read; `text` is the line it stood on."""

    where: str
    value: Any
    text: str = ""
    error: PlannerError | None = None


def read_items(source: CaseText) -> list[JsonItem]:
    """The cases of one JSON text: its object, the members of its list, or one a line.

    A line that is not JSON is an item with its error; a text that is not JSON at all raises PlannerError.
    """
    if source.format == "json-lines":
        lines = enumerate(source.text.splitlines(), 1)
        return [_item(line, f"{source.name}:{number}") for number, line in lines if line.strip()]
    value = parse(source.text, source.name)
    if not isinstance(value, list):
        return [JsonItem(source.name, value)]
    if not value:
        raise PlannerError.one("is an empty list", source.name, hint="give at least one case")
    return [JsonItem(f"{source.name} case {number}", member) for number, member in enumerate(value, 1)]


def _item(text: str, where: str) -> JsonItem:
    try:
        value = parse(text, where)
        if isinstance(value, dict):
            value.pop(WHY, None)
        return JsonItem(where, value, text)
    except PlannerError as error:
        return JsonItem(where, None, text, error)


def parse(text: str, name: str) -> Any:
    """Plain data from one JSON text; whole numbers stay text, to be typed by the vocabulary. Raises PlannerError."""

    def unrepeated(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        result: dict[str, Any] = {}
        for key, value in pairs:
            if key in result:
                what = f"the key {key[:60]!r} stands twice"
                raise PlannerError.one(what, name, "one of the two would be lost", "keep one")
            result[key] = value
        return result

    def constant(word: str) -> Any:
        hint = "leave the finding out, or write not-recorded"
        raise PlannerError.one(f"holds {word}", name, "it is no measurement, and no JSON", hint)

    try:
        return json.loads(text, object_pairs_hook=unrepeated, parse_constant=constant, parse_int=str)
    except json.JSONDecodeError as error:
        where = f"{name}:{error.lineno}" if "\n" in text else name
        hint = "look just before that place: a comma, a quote or a bracket"
        raise PlannerError.one(f"is not JSON (character {error.colno})", where, error.msg, hint) from None
    except RecursionError:
        raise PlannerError.one("is nested too deeply", name, "a case has two levels") from None
