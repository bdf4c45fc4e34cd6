"""What one save changes in a case, and what two people changed at once."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from planner.case import HEADINGS
from planner.errors import Fault, PlannerError
from planner.records.rows import CaseVersion

FIXED = ("case", "eye")
CHANGEABLE = tuple(name for name in HEADINGS if name not in (*FIXED, "findings"))


@dataclass(frozen=True)
class ThreeWayDifference:
    """One heading or finding: as both began from, as the other saved it, as this one would. None is not recorded."""

    name: str
    base: Any
    theirs: Any
    mine: Any


class Conflict(PlannerError):
    """Somebody else saved meanwhile. `current` is what they left; save again, based on it, what is decided."""

    def __init__(
        self, reference: str, base: CaseVersion, current: CaseVersion, differences: Iterable[ThreeWayDifference]
    ):
        self.base = base
        self.current = current
        self.differences = tuple(differences)
        why = f"version {current.number} follows the {base.number} that this began from"
        hint = "look at both, then save what is right"
        super().__init__([Fault(reference, f"{current.by} saved this case meanwhile", why, hint)])


def flat(document: Mapping[str, Any]) -> dict[str, Any]:
    """A document as one mapping of headings and findings, without what is not recorded."""
    headings = {name: document[name] for name in CHANGEABLE if document.get(name) is not None}
    findings = document.get("findings") or {}
    return headings | {name: value for name, value in findings.items() if value is not None}


def changed(document: Mapping[str, Any], changes: Mapping[str, Any]) -> dict[str, Any]:
    """The document with the changes made: None takes away. `case` and `eye` stay."""
    both = flat(document) | dict(changes)
    everything = {name: value for name, value in both.items() if value is not None}
    return {
        **{name: document[name] for name in FIXED},
        **{name: everything.pop(name) for name in CHANGEABLE if name in everything},
        "findings": everything,
    }


def names_changed(before: Mapping[str, Any], after: Mapping[str, Any]) -> tuple[str, ...]:
    """The headings and findings in which two documents differ, in the order of the later one."""
    old, new = flat(before), flat(after)
    return tuple(name for name in {**new, **old} if old.get(name) != new.get(name))


def differences(base: CaseVersion, theirs: CaseVersion, changes: Mapping[str, Any]) -> list[ThreeWayDifference]:
    """What either side changed since the version that both began from."""
    began, now = flat(base.document), flat(theirs.document)
    mine = began | dict(changes)
    names = {**changes, **began, **now}
    return [
        ThreeWayDifference(name, began.get(name), now.get(name), mine.get(name))
        for name in names
        if began.get(name) != now.get(name) or began.get(name) != mine.get(name)
    ]
