"""Lists as CSV (RFC 4180): a row a case, for a spreadsheet. What a spreadsheet would run as a formula is quoted.

Dates are ISO dates and times those of the clock in theatre. `expected_start` counts minutes from the session's start;
`case_starts` and `case_ends` say by the clock when the operation is expected to begin and, before the turnover, to end.
`not_approved` says how a row is not what a consultant approved; empty where it is, or where nobody was asked.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator

from planner.lists.roster.shapes import Session
from planner.lists.week.instance import Instance, Lists
from planner.lists.week.week import Week
from planner.records.export import csv_text

COLUMNS = (
    "day", "starts", "theatre", "session", "order", "case", "eye", "patient", "tier", "trainee", "trainee_stage",
    "supervisor", "mode", "expected_start", "expected_minutes", "anaesthetist", "lens_power_d", "backup_lens_power_d",
    "lens_material", "kit", "alerts", "alerts_not_recorded", "needed_by", "case_starts",
    "case_ends", "not_approved",
)  # fmt: skip
_ANSWERS = {True: "yes", False: "no", None: ""}


def table_of(instance: Instance, lists: Lists) -> str:
    """The rows under their column names, session by session; minutes are whole, an empty cell is not recorded."""
    return csv_text(COLUMNS, _rows(Week(instance, lists)), "\r\n")


def _rows(week: Week) -> Iterator[list[object]]:
    for session in week.sessions:
        for placing, start in zip(week.list_of(session.id), week.starts(session.id), strict=True):
            case = week.case(placing)
            operating = week.time(placing).mean + case.added_minutes
            mode = "" if placing.trainee is None else week.mode_served(placing) or week.supervision(placing).mode
            yield [
                session.day, f"{session.starts:%H:%M}", session.theatre, session.id, placing.place, case.reference,
                case.eye, case.patient or "", case.tier, placing.trainee or "",
                week.instance.trainees[placing.trainee].stage if placing.trainee else "", placing.supervisor,
                mode, round(start), round(operating + week.instance.turnover), _ANSWERS[case.anaesthetist],
                _power(case.lens_power), _power(case.backup_power), case.lens_material or "",
                "; ".join(case.kit.values()),
                "; ".join(says for says, holds in case.alerts if holds),
                "; ".join(says for says, holds in case.alerts if holds is None), case.last_day or "",
                _clock(session, start), _clock(session, start + operating), week.uncovered(placing),
            ]  # fmt: skip


def _clock(session: Session, minutes: float) -> str:
    return f"{session.span[0] + datetime.timedelta(minutes=round(minutes)):%H:%M}"


def _power(power: float | None) -> str:
    return "" if power is None else f"{power:.2f}"
