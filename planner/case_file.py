"""A case back in the form of a case file: plain data for JSON, or the YAML that a unit writes by hand."""

from __future__ import annotations

import datetime
import json
import re
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from planner.case import Case
from planner.conditions import Value

# What a case file is called inside the plan that was made from it.
EMBEDDED_NAME = "case.json"
NOT_RECORDED = "not-recorded"
# What YAML reads back as the same word without quotes.
_BARE = re.compile(r"[A-Za-z0-9][A-Za-z0-9_./-]*|-[0-9][0-9.]*")


def case_file(case: Case) -> dict[str, Any]:
    """The case as a case file gives it, headings in order, without what was derived; `read_case` takes it back."""
    headings = {
        "case": case.reference,
        "patient": case.patient,
        "eye": case.eye,
        "planned_stage": case.planned_stage,
        "listed_on": case.listed_on.isoformat() if case.listed_on else None,
        "recorded_on": case.recorded_on.isoformat() if case.recorded_on else None,
        "none_found_in": list(case.none_found_in) or None,
        "examined_by": case.examined_by,
    }
    derived = case.from_section | case.from_finer
    written = {name: _written(value) for name, value in case.findings.items() if name not in derived}
    findings = {**written, **dict.fromkeys(sorted(case.left_unknown), NOT_RECORDED)}
    return {**{name: value for name, value in headings.items() if value is not None}, "findings": findings}


def yaml_of(data: Mapping[str, Any]) -> str:
    """The YAML of what `case_file` gives: headings, then one finding a line. Strict reading gives the same words."""
    lines = []
    for name, value in data.items():
        if isinstance(value, Mapping):
            lines += [f"{name}:", *(f"  {inner}: {_scalar(given)}" for inner, given in value.items())]
        else:
            lines.append(f"{name}: {_scalar(value)}")
    return "\n".join(lines) + "\n"


def _written(value: Value) -> Any:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, frozenset):
        return sorted(value) or "none"
    if isinstance(value, datetime.date):
        return value.isoformat()
    return int(value) if isinstance(value, float) and value.is_integer() else value


def _scalar(value: Any) -> str:
    if isinstance(value, list):
        return f"[{', '.join(_scalar(item) for item in value)}]"
    if isinstance(value, int | float):
        # Every figure, and none of the exponents that a case file may not have.
        return f"{Decimal(repr(value)):f}"
    text = str(value)
    plain = _BARE.fullmatch(text) and text != "null"
    # A JSON string is a double-quoted YAML scalar.
    return text if plain else json.dumps(text, ensure_ascii=False)
