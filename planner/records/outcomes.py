"""What happened in theatre, and the notices that people must hear of."""

from __future__ import annotations

import datetime
import json
from collections.abc import Collection, Sequence

from sqlalchemy import select

from planner.errors import PlannerError
from planner.records import schema
from planner.records.repository import Repository, checked_steps, checked_text, steps_json
from planner.records.roles import PREPARERS
from planner.records.rows import Notice, OperatedEye, OperationOutcome, StepChange
from planner.records.trail import canonical
from planner.records.transaction import is_newest, with_endings


class Outcomes(Repository):
    def record_outcome(
        self,
        case_id: int,
        day: datetime.date,
        operated_by: str,
        by: str,
        supervised_by: str | None = None,
        steps: Sequence[StepChange] = (),
        complications: Sequence[str] = (),
        note: str = "",
        corrects: int | None = None,
    ) -> OperationOutcome:
        """Enter what happened; no complication: there was none. A further outcome says which it `corrects`."""
        note = checked_text(note, "note")
        named = [checked_text(item, "complications", required=True) for item in complications]
        done = checked_steps(steps)
        with self._changing(by, *PREPARERS, signed=True) as change:
            case = change.case(case_id)
            change.known_person(operated_by, "operated by")
            if supervised_by is not None:
                change.known_person(supervised_by, "supervised by")
            table = schema.outcomes
            last = change.last_row(table, table.c.case_id == case_id)
            if (last.id if last else None) != corrects:
                why = f"by {last.by}, {last.at[:10]}" if last else "nothing was entered to correct"
                what = f"{case.in_words}, has " + ("an outcome already" if last else "no outcome yet")
                raise PlannerError.one(what, why=why, hint="enter a correction of the last one")
            return change.enter(
                OperationOutcome,
                table,
                "outcome corrected" if last else "outcome entered",
                before=None if last is None else last._mapping,
                case_id=case_id,
                day=day.isoformat(),
                operated_by=operated_by,
                supervised_by=supervised_by,
                steps=steps_json(done),
                complications=canonical(named),
                note=note,
                corrects=corrects,
            )

    def outcomes(self, case_id: int) -> tuple[OperationOutcome, ...]:
        """Every outcome entered for a case; the last one holds."""
        return self._of_case(OperationOutcome, schema.outcomes, case_id)

    def outcomes_in_force(self) -> dict[int, OperationOutcome]:
        """The outcome that holds of each case that has one, by the row of the case."""
        every = self._all(OperationOutcome, select(schema.outcomes).order_by(schema.outcomes.c.id))
        return {outcome.case_id: outcome for outcome in every}

    def operated(self) -> tuple[OperatedEye, ...]:
        """Every eye whose operation was entered, by case, with the day of the outcome that holds."""
        cases, outcomes, versions = schema.cases.c, schema.outcomes.c, schema.case_versions.c
        query = (
            select(cases.reference, cases.eye, outcomes.day, versions.id.label("version"))
            .join(schema.outcomes, outcomes.case_id == cases.id)
            .join(schema.case_versions, versions.case_id == cases.id)
            .where(is_newest(outcomes.case_id), is_newest(versions.case_id))
            .order_by(cases.id)
        )
        return self._all(OperatedEye, query)

    def patients(self, versions: Collection[int]) -> dict[int, str | None]:
        """The pseudonym that each of these versions names, None where it names none."""
        table = schema.case_versions
        with self._reading() as reading:
            rows = reading.rows(select(table.c.id, table.c.document).where(table.c.id.in_(versions)))
        return {row.id: json.loads(row.document).get("patient") for row in rows}


class Notices(Repository):
    def notices(self, for_whom: str, unseen_only: bool = True) -> tuple[Notice, ...]:
        """A person's notices, the newest first."""
        query = with_endings(schema.notices, schema.notices.c.for_whom == for_whom, open_only=unseen_only)
        query = query.add_columns(schema.endings.c.at.label("seen")).order_by(None).order_by(schema.notices.c.id.desc())
        return self._all(Notice, query)

    def see_notice(self, notice_id: int, by: str) -> None:
        """Enter that a notice was seen, by the person it is for; once. Raises PlannerError for anybody else."""
        with self._changing(by) as change:
            row = change.one_of(schema.notices, notice_id, "notice")
            if row.for_whom != by:
                raise PlannerError.one(f"the notice is for {row.for_whom}")
            if row.ended_kind is None:
                change.end(schema.notices, row, "seen", "", "notice seen")
