"""Cases as they stand now: the table of cases, what waits for a consultant, and the lists."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterable, Sequence
from typing import Any

from sqlalchemy import Row, Select, Table, func, select

from planner.errors import PlannerError
from planner.records import schema
from planner.records.owning import owners_in
from planner.records.repository import Repository
from planner.records.rows import (
    CaseNow,
    CaseVersion,
    ListPlace,
    Snapshot,
    State,
    StoredApproval,
    StoredCase,
    Submission,
)
from planner.records.submissions import brief_snapshots
from planner.records.transaction import Entity, ReadTransaction, entity, is_newest, with_endings


class Overview(Repository):
    def case_now(self, case_id: int) -> CaseNow:
        """One case as it stands. Raises PlannerError where there is none."""
        with self._reading() as reading:
            reading.case(case_id)
            return _as_they_stand(reading, [case_id])[0]

    def cases(
        self,
        state: State | None = None,
        tier: int | None = None,
        patient: str | None = None,
        by: str | None = None,
        reference: str | None = None,
        operated: bool = False,
    ) -> tuple[CaseNow, ...]:
        """Cases by reference, each filter narrowing them; those operated on only when asked for.

        `tier` is the working tier of the current version, `by` whoever saved it, `reference` part of one, in any case.
        """
        query = select(schema.cases.c.id)
        if not operated and state != "operated":
            query = query.where(schema.cases.c.id.not_in(select(schema.outcomes.c.case_id)))
        if reference is not None:
            query = query.where(func.lower(schema.cases.c.reference).contains(reference.lower(), autoescape=True))
        with self._reading() as reading:
            cases = _as_they_stand(reading, query)
        return tuple(
            now
            for now in cases
            if (state is None or now.state == state)
            and (tier is None or (now.snapshot is not None and now.snapshot.tier_working == tier))
            and (patient is None or now.version.document.get("patient") == patient)
            and (by is None or now.version.by == by)
        )

    def waiting(self) -> tuple[CaseNow, ...]:
        """Cases that wait for a consultant: the highest tier first, then the longest wait."""
        query = with_endings(schema.submissions, open_only=True).with_only_columns(schema.submissions.c.case_id)
        with self._reading() as reading:
            cases = _as_they_stand(reading, query.order_by(None))

        def first(now: CaseNow) -> tuple[int, str]:
            return -(now.snapshot.tier_working if now.snapshot else 0), now.submission.at if now.submission else ""

        return tuple(sorted(cases, key=first))

    def list_of(self, day: datetime.date) -> tuple[CaseNow, ...]:
        """The cases on the lists of a day, by theatre and place."""
        return self.lists(day, day)

    def lists(self, first: datetime.date, last: datetime.date) -> tuple[CaseNow, ...]:
        """The cases on the lists from one day to another, both counted, by day, theatre and place."""
        if last < first:
            raise PlannerError.one(f"{last} comes before {first}")
        table = schema.allocations
        days = (table.c.day >= first.isoformat(), table.c.day <= last.isoformat())
        query = with_endings(table, *days, open_only=True).with_only_columns(table.c.case_id).order_by(None)
        with self._reading() as reading:
            cases = _as_they_stand(reading, query)
        placed = [(now.allocation, now) for now in cases if now.allocation is not None]
        return tuple(now for at, now in sorted(placed, key=lambda one: (one[0].day, one[0].theatre, one[0].place)))


def _as_they_stand(reading: ReadTransaction, ids: Select[Any] | Iterable[int]) -> list[CaseNow]:
    """These cases, by reference and eye: one query a table, whatever their number."""
    versions, snapshots = schema.case_versions, schema.snapshots
    is_current = is_newest(versions.c.case_id, versions.c.case_id.in_(ids))
    current = {row.case_id: entity(CaseVersion, row) for row in reading.rows(select(versions).where(is_current))}
    of_current = snapshots.join(
        versions, (versions.c.case_id == snapshots.c.case_id) & (versions.c.number == snapshots.c.version)
    )
    latest = select(func.max(snapshots.c.id)).select_from(of_current).where(is_current).group_by(snapshots.c.case_id)
    assessed = {row.case_id: entity(Snapshot, row) for row in reading.rows(brief_snapshots(latest))}

    def standing(kind: type[Entity], table: Table) -> dict[int, Entity]:
        """By case what has not ended."""
        query = with_endings(table, table.c.case_id.in_(ids), open_only=True)
        return {row.case_id: entity(kind, row) for row in reading.rows(query)}

    submissions = standing(Submission, schema.submissions)
    approvals = standing(StoredApproval, schema.approvals)
    places = standing(ListPlace, schema.allocations)
    resting = [approval.snapshot_id for approval in approvals.values()]
    approved_from = {row.id: entity(Snapshot, row) for row in reading.rows(brief_snapshots(resting))}
    outcomes = schema.outcomes
    operated = {row.case_id for row in reading.rows(select(outcomes.c.case_id).where(outcomes.c.case_id.in_(ids)))}
    owners = owners_in(reading, list(current))
    sent_back = _sent_back(reading.rows(with_endings(schema.submissions, schema.submissions.c.case_id.in_(ids))))
    cases = []
    for row in reading.rows(select(schema.cases).where(schema.cases.c.id.in_(ids))):
        submission, approval, place = submissions.get(row.id), approvals.get(row.id), places.get(row.id)
        states: dict[State, bool] = {
            "operated": row.id in operated,
            "listed": place is not None and approval is not None,
            "approved": approval is not None,
            "submitted": submission is not None,
            "sent-back": row.id in sent_back,
            "draft": True,
        }
        cases.append(
            CaseNow(
                entity(StoredCase, row),
                current[row.id],
                next(state for state, holds in states.items() if holds),
                assessed.get(row.id),
                submission,
                approval,
                place,
                owners[row.id],
                None if approval is None else approved_from[approval.snapshot_id],
            )
        )
    return sorted(cases, key=lambda now: (_as_counted(now.case.reference), now.case.eye))


def _as_counted(reference: str) -> list[tuple[int, int, str]]:
    """A key that puts A-2 before A-10, and does so in every database."""
    parts = re.findall(r"[0-9]+|[^0-9]+", reference.lower())
    return [(0, int(part), "") if part.isdecimal() else (1, 0, part) for part in parts]


def _sent_back(submissions: Sequence[Row[Any]]) -> set[int]:
    """Cases whose last submission was sent back. `submissions` come in the order they were made."""
    last = {row.case_id: row.ended_kind for row in submissions}
    return {case_id for case_id, kind in last.items() if kind == "sent-back"}
