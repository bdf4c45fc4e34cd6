"""The README's lines for other programs as a program has them; mypy reads them, and `test_api.py` runs them."""

from __future__ import annotations

from pathlib import Path

import planner


def plan_one(case_path: Path, unit_path: Path, pdf_path: Path) -> tuple[int | None, str]:
    """The tier on record and whether the case is ready; the plan is written as PDF."""
    book = planner.load_rulebook()
    case = planner.load_case(case_path, book)
    result = planner.assess_case(case, book)
    plan = planner.make_plan(case, book, unit=unit_path, stage="early")
    plan.pdf(pdf_path)
    return result.tier.on_record, plan.readiness.state


def faults_of(mapping: dict[str, object]) -> list[str]:
    """Every fault of a case given as a mapping, each in words."""
    try:
        planner.load_case(mapping, planner.load_rulebook())
    except planner.PlannerError as error:
        return [str(fault) for fault in error.faults]
    return []
