"""Each of the 52 conflicts is settled by something that stands in the shipped rulebook, or refused with a reason."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from planner import strict_yaml
from planner.rulebook.rulebook import Rulebook

TABLE = Path(__file__).with_name("interactions_map.yaml")
ROWS: list[dict[str, Any]] = strict_yaml.read(TABLE.read_text(encoding="utf-8"), TABLE.name).data["interactions"]


@pytest.fixture(scope="module")
def standing(rulebook: Rulebook) -> set[str]:
    """Everything a case can meet, by kind and id."""
    lens, kit, plan = rulebook.lens, rulebook.kit, rulebook.interactions
    return {
        *(f"rule:{rule.id}" for rule in plan.rules),
        *(f"raise:{lift.id}" for lift in plan.raises),
        *(f"option:{choice.id}.{option.id}" for choice in rulebook.choices.values() for option in choice.options),
        *(f"line:{step.id}/{line.id}" for step in rulebook.steps for line in step.lines),
        *(f"caution:{name}" for name in rulebook.cautions),
        *(f"drill:{name}" for name in rulebook.drills),
        *(f"drug:{drug.id}/{against.id}" for drug in kit.drugs for against in drug.withhold),
        *(f"settle:{reason.id}" for reason in rulebook.readiness.settle),
        *(f"factor:{name}" for name in rulebook.factors),
        *(f"override:{override.id}" for override in rulebook.supervision.overrides),
        *(f"table:{table.id}" for table in lens.sulcus_tables),
    }


def test_the_table_has_each_of_the_52_conflicts_once() -> None:
    # The count and the ids are those of the evidence the rulebook was built from.
    assert [row["id"] for row in ROWS] == [f"IX{number:02d}" for number in range(1, 53)]


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["id"])
def test_each_conflict_is_settled_or_refused_with_a_reason(row: dict[str, Any], standing: set[str]) -> None:
    assert row["about"]
    assert ("settled_by" in row) != ("refused" in row), "exactly one of settled_by and refused"
    if "refused" in row:
        assert len(row["refused"]) > 40, "a refusal says why"
    else:
        assert row["settled_by"] and set(row["settled_by"]) <= standing, set(row["settled_by"]) - standing
