"""A trainee's stage by the unit's file: clearance first, then whole operations, then time away from operating."""

from __future__ import annotations

import pytest

from planner.case import Stage
from planner.errors import PlannerError
from planner.rulebook.rulebook import Rulebook
from planner.unit import Unit, UnitTrainee

# By the limits in rules/stages.yaml (unit policy), both sides of each.
STAGES: list[tuple[int, bool, int, Stage]] = [
    (500, False, 0, "steps-only"),  # no number of operations stands for clearance
    (0, False, 0, "steps-only"),
    (1, True, 0, "early"),
    (99, True, 0, "early"),
    (100, True, 0, "middle"),
    (199, True, 0, "middle"),
    (200, True, 0, "late"),
    (349, True, 0, "late"),
    (350, True, 0, "independent"),
    (350, True, 7, "independent"),
    (350, True, 8, "late"),
    (350, True, 25, "late"),
    (350, True, 26, "middle"),
    (1, True, 52, "steps-only"),
]


@pytest.mark.parametrize(("operations", "cleared", "away", "stage"), STAGES)
def test_the_stage_of_a_trainee(operations: int, cleared: bool, away: int, stage: Stage, rulebook: Rulebook) -> None:
    trainee = UnitTrainee(
        id="trainee-1", whole_operations=operations, cleared_for_whole_operations=cleared, weeks_away=away
    )
    assert Unit(unit="invented", trainees=[trainee]).stage_of("trainee-1", rulebook) == stage


def test_a_trainee_whom_the_unit_does_not_know_has_none(rulebook: Rulebook) -> None:
    with pytest.raises(PlannerError, match="no trainee 'trainee-9' in invented; try: one of: none"):
        Unit(unit="invented").stage_of("trainee-9", rulebook)
