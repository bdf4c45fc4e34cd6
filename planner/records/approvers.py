"""Who may approve: nobody what they entered themselves, nor a case with nothing recorded, unless the unit says so."""

from __future__ import annotations

import json
from typing import Any

from sqlalchemy import Connection, select

from planner.errors import Fault
from planner.records import schema
from planner.records.case_versions import case_in, version_in
from planner.unit import ApprovalPolicy
from planner.vocabulary import NOT_RECORDED


def faults_against(connection: Connection, case_id: int, by: str, allowed: ApprovalPolicy) -> list[Fault]:
    """Why somebody may not approve the case as it stands, with what to do; nothing where they may."""
    case, version = case_in(connection, case_id), version_in(connection, case_id)
    recorded = {name for name, value in version.findings.items() if value not in NOT_RECORDED}
    looked = {"none_found_in"} if version.document.get("none_found_in") else set()
    where, faults = case.in_words, []
    if not recorded | looked and not allowed.nothing_recorded:
        why = "an approval would rest on nothing"
        hint = "send it back to be examined; or the unit's file allows it, approvals: {nothing_recorded: yes}"
        faults.append(Fault(where, "nothing is recorded of this eye", why, hint))
    hands = _hands(connection, case_id, version.by, version.number, recorded | looked, by)
    if hands and not allowed.own_case:
        hint = "another consultant decides; or the unit's file allows it, approvals: {own_case: yes}"
        faults.append(Fault(where, f"{by} may not approve their own work", f"they {' and '.join(hands)}", hint))
    return faults


def _hands(connection: Connection, case_id: int, saved_by: str, number: int, names: set[str], person: str) -> list[str]:
    """What somebody did themselves of what is to be approved. `names` are the findings in it."""
    versions, submissions = schema.case_versions, schema.submissions
    entered: dict[str, str] = {}
    saved = select(versions.c.by, versions.c.changed).where(versions.c.case_id == case_id)
    for row in connection.execute(saved.order_by(versions.c.number)):
        entered |= dict.fromkeys(json.loads(row.changed), row.by)
    own = sum(entered.get(name) == person for name in names)
    same: Any = (submissions.c.case_id == case_id, submissions.c.version == number)
    submitted = set(connection.scalars(select(submissions.c.by).where(*same)))
    said = {
        "saved the version that would be approved": saved_by == person,
        f"entered {own} of its {len(names)} findings": own > 0,
        "submitted it": person in submitted,
    }
    return [words for words, holds in said.items() if holds]
