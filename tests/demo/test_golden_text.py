"""Golden text of three unlike demo plans, so that a change of wording or order anywhere is seen and meant.

After a change that is meant, renew the files and read what git says of them before committing:

    PLANNER_RENEW_GOLDEN=1 tests/run tests/demo/test_golden_text.py
"""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from planner.documents.plan.text import render_text

if TYPE_CHECKING:
    from conftest import Planned

GOLDEN = Path(__file__).parent / "golden"
# A routine eye; one left open by a missing finding; one that must settle first, with both pressure drugs withheld.
CASES = ["routine", "white-cortex-not-recorded", "phacomorphic-attack"]
SHORTEST_HASH = 7


@pytest.mark.parametrize("name", CASES)
def test_text_is_as_it_was_agreed(plan_of: Callable[[str], Planned], name: str) -> None:
    planned = plan_of(name)
    text = _without_hash(render_text(planned.plan), planned.assessment.rulebook.sha256)
    path = GOLDEN / f"{name}.txt"
    if os.environ.get("PLANNER_RENEW_GOLDEN"):
        GOLDEN.mkdir(exist_ok=True)
        path.write_text(text, encoding="utf-8")
    assert text == path.read_text(encoding="utf-8"), "meant? see the head of this file for how to renew"


@pytest.mark.parametrize("name", CASES)
def test_text_names_the_rulebook_by_its_hash(plan_of: Callable[[str], Planned], name: str) -> None:
    planned = plan_of(name)
    assert planned.assessment.rulebook.sha256[:SHORTEST_HASH] in render_text(planned.plan)


def _without_hash(text: str, sha256: str) -> str:
    """The text with the rulebook's hash, whole or shortened, blanked: it changes with every word of every rule."""
    for length in range(len(sha256), SHORTEST_HASH - 1, -1):
        text = text.replace(sha256[:length], "#" * length)
    return text
