"""Enters the invented pool of cases into a store, approved by an invented consultant, so that there are lists to make.

    .venv/bin/python demo_cases/enter_lists.py      # into the store of PLANNER_DATABASE_URL, else planner.db here

Nothing else approves a case but a person at the page: here a machine stands in for an invented one.
"""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Any

from planner.assess.assess import assess
from planner.case import read_case
from planner.case_file import case_file
from planner.documents.json_form import plan_json
from planner.exchange.case_reader import ReadCase, read_cases
from planner.lists.roster.shapes import read_roster
from planner.plan.make import make_plan
from planner.records.roles import COMMAND_LINE
from planner.records.rows import Seen
from planner.records.store import Store
from planner.rulebook.load import shipped
from planner.rulebook.rulebook import Rulebook
from planner.unit import read_unit
from planner.vocabulary import read_day

DEMO = Path(__file__).parent


def enter(store: Store, rulebook: Rulebook, later: datetime.timedelta = datetime.timedelta()) -> int:
    """People of the sessions file who have no account yet, then every case of the pool. Returns how many cases.

    `later` puts every date of the cases that much later.
    """
    unit = read_unit(DEMO / "unit.yaml", rulebook)
    roster = read_roster(DEMO / "lists" / "sessions.yaml", unit, rulebook)
    known = {person.code for person in store.people()}
    trainees = {learner.id for learner in roster.trainees}
    people = dict.fromkeys(trainees, "trainee") | {"organiser-1": "organiser"}
    people |= {one.id: "consultant" if one.grade == "consultant" else "trainee" for one in roster.supervisors}
    for code, role in sorted(people.items()):
        if code not in known:
            store.add_person(code, f"Invented {code}", role, COMMAND_LINE, code if code in trainees else None)
    count = 0
    for item in read_cases(str(DEMO / "lists" / "pool.csv"), rulebook.vocabulary):
        assert isinstance(item, ReadCase)
        case = store.new_case(_moved(case_file(item.case), later), "trainee-3")
        read = read_case(dict(case.document), rulebook.vocabulary)
        plan = make_plan(assess(read, rulebook, unit, None), rulebook, unit)
        kept = store.keep_snapshot(case.case_id, 1, plan_json(plan), "trainee-3")
        waits = Seen(store.submit(case.case_id, 1, kept.id, "trainee-3").id)
        tier, mode = plan.assessment.tier.working, plan.supervision.mode
        store.approve(case.case_id, 1, kept.id, "consultant-1", tier, mode, covers="table", seen=waits)
        count += 1
    return count


def _moved(document: dict[str, Any], later: datetime.timedelta) -> dict[str, Any]:
    """The document with each of its dates that much later."""

    def moved(value: Any) -> Any:
        if isinstance(value, dict):
            return {name: moved(inner) for name, inner in value.items()}
        day = read_day(value) if isinstance(value, str) else None
        return value if day is None else (day + later).isoformat()

    return {name: moved(value) for name, value in document.items()}


if __name__ == "__main__":
    opened = Store.open()
    print(f"{enter(opened, shipped())} invented cases approved, without a place yet")
    opened.close()
