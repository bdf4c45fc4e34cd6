"""Assessments kept as they were shown, so that an approval can say for ever what it rested on."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy import Row, Select, select

from planner import __version__
from planner.errors import PlannerError
from planner.records import schema
from planner.records.case_versions import version_in
from planner.records.repository import Repository
from planner.records.roles import READERS
from planner.records.rows import Document, Snapshot
from planner.records.trail import canonical
from planner.records.transaction import ReadTransaction, entity
from planner.wording.words import eye_words

_BRIEF = [column for column in schema.snapshots.columns if column.name != "assessment"]


class Snapshots(Repository):
    def keep_snapshot(self, case_id: int, version: int, assessment: Document, by: str) -> Snapshot:
        """Keep once an assessment as `assess --json` gives it, or a plan with it, of a version. Raises PlannerError."""
        inner = assessment.get("assessment", assessment)
        planned = assessment.get("supervision") or {}
        try:
            rulebook, tier = inner["rulebook"], inner["tier"]
            values: dict[str, Any] = {
                "case_id": case_id,
                "version": version,
                **{f"rulebook_{name}": str(rulebook[name]) for name in ("id", "version", "sha256")},
                "engine_version": __version__,
                **{f"tier_{name}": int(tier[name]) for name in ("least", "working", "most")},
                "mode": planned.get("mode"),
                "mode_by": planned.get("by"),
                "stage": planned.get("stage"),
                "assessment": canonical(assessment),
            }
        except (KeyError, TypeError, ValueError) as error:
            raise PlannerError.one("is not an assessment to keep", "snapshot", f"{error!r}") from None
        table = schema.snapshots
        with self._changing(by, *READERS) as change:
            case = change.case(case_id)
            version_in(change, case_id, version)
            if (str(inner.get("case")), inner.get("eye")) != (case.reference, case.eye):
                what = f"is of {eye_words(inner.get('case'), inner.get('eye'))}, not of {case.in_words}"
                raise PlannerError.one(what, "snapshot")
            same = select(_BRIEF[0]).where(*(table.c[name] == value for name, value in values.items()))
            kept = change.connection.scalar(same.order_by(table.c.id).limit(1))
            if kept is None:
                kept = change.insert(table, "assessment kept", **values)["id"]
        return self.snapshot(kept)

    def snapshot(self, snapshot_id: int) -> Snapshot:
        """A snapshot with its assessment. Raises PlannerError where there is none."""
        with self._reading() as reading:
            return entity(Snapshot, reading.one_of(schema.snapshots, snapshot_id, "assessment"))


def require_snapshot(reading: ReadTransaction, snapshot_id: int, case_id: int, version: int) -> Row[Any]:
    """The snapshot, which must be of this version of this case. Raises PlannerError."""
    row = reading.one_of(schema.snapshots, snapshot_id, "assessment")
    if (row.case_id, row.version) != (case_id, version):
        raise PlannerError.one("the assessment is of another version of the case", hint="assess the current version")
    return row


def brief_snapshots(ids: Sequence[int] | Any) -> Select[Any]:
    """The selection of these snapshots without their assessments."""
    return select(*_BRIEF).where(schema.snapshots.c.id.in_(ids))
