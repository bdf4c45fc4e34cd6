"""A store with cases in every state that a page may meet, each made as the pages make it."""

from __future__ import annotations

import datetime
from pathlib import Path

from planner.case_file import case_file
from planner.desk.plans import PlanCache
from planner.documents.json_form import plan_json
from planner.exchange.case_reader import ReadCase, read_cases
from planner.records.rows import Seen
from planner.records.store import Store
from planner.rulebook.rulebook import Rulebook
from planner.unit import Unit

DEMO = Path(__file__).parents[1] / "demo_cases" / "cases"
# A reference each, both eyes of it entered. The slash is one that a unit may write.
DRAFT, SENT_BACK, SUBMITTED, APPROVED, LISTED = "A-101", "A-102", "A/103", "A-104", "A-105"
STATES = {
    DRAFT: "half-filled",
    SENT_BACK: "tense-white",
    SUBMITTED: "white-cortex-not-recorded",
    APPROVED: "routine",
    LISTED: "small-pupil",
}
EYES = ("right", "left")


def every_state(store: Store, rulebook: Rulebook, unit: Unit | None, today: datetime.date) -> None:
    """Enter ten cases by trainee-3, those decided on by consultant-1, the lists a week from `today`."""
    plans = PlanCache(rulebook, unit)
    for reference, name in STATES.items():
        [read] = read_cases(str(DEMO / f"{name}.yaml"), rulebook.vocabulary)
        assert isinstance(read, ReadCase)
        for place, eye in enumerate(EYES, 1):
            first = store.new_case(case_file(read.case) | {"case": reference, "eye": eye}, "trainee-3")
            if reference == DRAFT:
                continue
            case, plan = first.case_id, plans.planned(first).plan
            assert plan is not None
            kept = store.keep_snapshot(case, 1, plan_json(plan), "trainee-3")
            waits = Seen(store.submit(case, 1, kept.id, "trainee-3", note="invented").id)
            if reference == SENT_BACK:
                store.send_back(case, 1, "how wide is the pupil?", "consultant-1", seen=waits)
            elif reference in (APPROVED, LISTED):
                tier = plan.assessment.tier.working
                store.approve(case, 1, kept.id, "consultant-1", tier, plan.supervision.mode, seen=waits)
            if reference == LISTED:
                day = today + datetime.timedelta(weeks=1)
                store.allocate(case, day, "theatre 2", place, "consultant-1", "organiser-1", "trainee-3")
