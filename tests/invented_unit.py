"""An invented unit for tests of the store: its people, a case, an assessment, and one case's whole story."""

from __future__ import annotations

import datetime
from typing import Any

from planner.records.roles import COMMAND_LINE
from planner.records.rows import CaseVersion, RosterChange, Seen, Snapshot, StepChange, StoredApproval
from planner.records.store import Store

RULEBOOK = "a" * 64
DAY = datetime.date(2026, 11, 20)
SUPERVISOR = {"id": "consultant-1", "grade": "consultant", "can": ["scrubbed"]}


def people(store: Store) -> None:
    store.add_person("admin-1", "A Minn", "administrator", COMMAND_LINE)
    for code, role in {
        "trainee-3": "trainee",
        "trainee-5": "trainee",
        "consultant-1": "consultant",
        "consultant-2": "consultant",
        "organiser-1": "organiser",
    }.items():
        store.add_person(code, f"Invented {code}", role, "admin-1", code if role == "trainee" else None)


def document(reference: str = "A-104", eye: str = "right", **findings: Any) -> dict[str, Any]:
    return {
        "case": reference,
        "patient": "P-0381",
        "eye": eye,
        "planned_stage": "middle",
        "none_found_in": ["history", "lens"],
        "findings": {"age_years": 71, "iop_mmhg": 15, "iop_date": "2026-11-10"} | findings,
    }


def plan(reference: str = "A-104", eye: str = "right", tier: int = 2, sha256: str = RULEBOOK) -> dict[str, Any]:
    """What is kept of a plan, in the form that `planner plan --format json` gives."""
    return {
        "assessment": {
            "case": reference,
            "eye": eye,
            "rulebook": {"id": "invented", "version": "0.1.0", "sha256": sha256, "status": "draft"},
            "tier": {"working": tier, "least": tier - 1, "most": tier, "decided_by": []},
        },
        "supervision": {"mode": "in-theatre", "by": "trainer", "stage": "middle"},
    }


def prepared(
    store: Store, reference: str = "A-104", tier: int = 2, by: str = "trainee-3"
) -> tuple[CaseVersion, Snapshot]:
    """A case with its first version assessed."""
    version = store.new_case(document(reference), by)
    return version, store.keep_snapshot(version.case_id, 1, plan(reference, tier=tier), by)


def seen(store: Store, case_id: int) -> Seen:
    """What a form carries that was made this moment."""
    return store.case_now(case_id).seen


def approved(
    store: Store, version: CaseVersion, snapshot: Snapshot, by: str = "consultant-1", **given: Any
) -> StoredApproval:
    """The version submitted by trainee-3, then approved as the rulebook has it, or as `given`."""
    case = version.case_id
    store.submit(case, version.number, snapshot.id, "trainee-3", seen=seen(store, case))
    given = {"tier": 2, "mode": "in-theatre", "seen": seen(store, case)} | given
    return store.approve(case, version.number, snapshot.id, by, **given)


def whole_story(store: Store) -> CaseVersion:
    """One case from its first version to its outcome, leaving at least one row in every table."""
    store.set_password_hash("trainee-3", "$argon2id$invented", "admin-1")
    version, snapshot = prepared(store)
    case = version.case_id
    store.submit(case, 1, snapshot.id, "trainee-3", "ready, I think")
    question = store.send_back(case, 1, "is the pupil small?", "consultant-1", seen=seen(store, case))
    store.answer(question.id, "7 mm after drops", "trainee-3")
    store.save_case(case, 1, {"dilated_pupil_mm": 7}, "trainee-3")
    second = store.keep_snapshot(case, 2, plan(), "trainee-3")
    store.submit(case, 2, second.id, "trainee-3")
    steps = (StepChange("hydro", "supervisor", "for a first time"),)
    store.approve(
        case, 2, second.id, "consultant-1", 3, "scrubbed", steps, "pressure below 21", "a first time",
        seen=seen(store, case),
    )  # fmt: skip
    store.allocate(case, DAY, "theatre 2", 1, "consultant-1", "organiser-1", "trainee-3", "tue-2")
    store.hand_over(case, "trainee-3", "trainee-5", "trainee-3", "another rotation")
    store.lock(case, "the only day with a ring", "organiser-1")
    store.publish(
        DAY, "tue-2", {"rows": [{"case": "A-104", "eye": "right", "place": 1}]}, "organiser-1", "first", after=0
    )
    store.change_roster([RosterChange("supervisor", "consultant-1", 0, SUPERVISOR)], "organiser-1", "from the rota")
    store.change_roster([RosterChange("supervisor", "consultant-1", 1, None)], "organiser-1", "left the unit")
    store.see_notice(store.notices("consultant-1")[0].id, "consultant-1")
    first = store.record_outcome(case, DAY, "trainee-3", "trainee-3", "consultant-1", steps, ["iris-prolapse"], "long")
    store.record_outcome(case, DAY, "trainee-3", "consultant-1", "consultant-1", steps, [], "none", first.id)
    return store.version(case)
