"""One pseudonym is one patient: what two cases cannot both say of one is refused before any list is made."""

from __future__ import annotations

from typing import Any

import pytest

from planner.case import Case, read_case
from planner.errors import PlannerError
from planner.lists.roster.shapes import Roster
from planner.lists.week.gather import Gathered
from planner.lists.week.one_patient import contradictions
from planner.rulebook.rulebook import Rulebook
from planner.unit import Unit


def case(rulebook: Rulebook, reference: str, eye: str = "right", on: str = "2026-11-10", **findings: Any) -> Case:
    headings = {"case": reference, "patient": findings.pop("patient", "P-1"), "eye": eye, "recorded_on": on}
    return read_case(headings | {"findings": {"sex": "female", "age_years": 70} | findings}, rulebook.vocabulary)


# What the second case says otherwise, and what is then told; the first is of the right eye of a woman of 70.
CONTRADICTED: dict[str, tuple[dict[str, Any], str]] = {
    "two sexes": ({"sex": "male"}, "P-1 is female in A-1 and male in A-2"),
    "two years older on one day": ({"age_years": 72}, "70 years old in A-1, recorded on 10 November 2026"),
    "two years younger on one day": ({"age_years": 68}, "and 68 in A-2"),
    "two years older after a month": ({"age_years": 72, "on": "2026-12-10"}, "recorded on 10 December 2026"),
    "no older after two years": ({"age_years": 70, "on": "2028-11-12"}, "and 70 in A-2"),
    "one eye twice": ({"eye": "right"}, "P-1 has the right eye in both A-1 and A-2"),
}
AGREEING: dict[str, dict[str, Any]] = {
    "the other eye": {},
    "another patient": {"patient": "P-2", "sex": "male", "age_years": 40, "eye": "right"},
    "no pseudonym": {"patient": None, "sex": "male"},
    "a birthday between": {"age_years": 71, "on": "2026-12-10"},
    "a birthday before the one operation and after the other": {"age_years": 71},
    "a year later": {"age_years": 71, "on": "2027-11-10"},
    "not recorded": {"age_years": "not-recorded", "sex": "not-recorded"},
}


def second(rulebook: Rulebook, otherwise: dict[str, Any]) -> Case:
    return case(rulebook, "A-2", **({"eye": "left"} | otherwise))


@pytest.mark.parametrize(("otherwise", "told"), CONTRADICTED.values(), ids=CONTRADICTED)
@pytest.mark.parametrize("backwards", [False, True])
def test_what_cannot_be(rulebook: Rulebook, otherwise: dict[str, Any], told: str, backwards: bool) -> None:
    cases = [case(rulebook, "A-1"), second(rulebook, otherwise)]
    (found,) = contradictions(cases[::-1] if backwards else cases)
    assert backwards or told in found.says
    assert "A-1, right eye" in str(found.fault) and "A-2" in str(found.fault) and "try: " in str(found.fault)


@pytest.mark.parametrize("otherwise", AGREEING.values(), ids=AGREEING)
def test_what_may_be(rulebook: Rulebook, otherwise: dict[str, Any]) -> None:
    assert contradictions([case(rulebook, "A-1"), second(rulebook, otherwise)]) == []


def test_without_a_date_ages_are_not_compared(rulebook: Rulebook) -> None:
    undated = {"case": "A-2", "patient": "P-1", "eye": "left", "findings": {"age_years": 80}}
    assert contradictions([case(rulebook, "A-1"), read_case(undated, rulebook.vocabulary)]) == []


def test_every_contradiction_is_told_at_once(rulebook: Rulebook, demo_roster: Roster, demo_unit: Unit) -> None:
    cases = [case(rulebook, "A-1"), second(rulebook, {"sex": "male", "age_years": 50})]
    with pytest.raises(PlannerError) as caught:
        Gathered(cases, rulebook, demo_unit, demo_roster)
    assert len(caught.value.faults) == 2
    assert "10 November 2026" in str(caught.value)


@pytest.mark.parametrize("other", ["p-1", "P 1", "P\u20111"])
def test_one_pseudonym_spelt_in_two_ways_is_refused(rulebook: Rulebook, other: str) -> None:
    """Found by using it: `P-1` and `p-1` in two theatres at one hour, and "every rule kept"."""
    (found,) = contradictions([case(rulebook, "A-1"), case(rulebook, "A-2", "left", patient=other)])
    assert "in other letters" in found.says and "in one way" in found.fault.hint
