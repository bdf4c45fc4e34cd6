"""The trace of a case says the same whatever was assessed before it."""

from __future__ import annotations

import random

from random_cases import as_case, complete_values

from planner.assess.assess import Assessor
from planner.assess.trace import Tracer
from planner.case import read_case
from planner.rulebook.rulebook import Rulebook


def test_words_never_come_from_another_case(ready: Assessor) -> None:
    draw = random.Random(20)
    used, compared = Tracer(ready.compiled), 0
    for _ in range(150):
        values = complete_values(ready.compiled, draw)
        values = [None if draw.random() < 0.3 else value for value in values]
        case = as_case(ready.compiled, values)
        truths, _ = ready.compiled.core(values)
        afresh = Tracer(ready.compiled).factors(case, values, truths)
        assert used.factors(case, values, truths) == afresh
        compared += len(afresh)
    assert len(used._said) < compared / 3, "words are seldom said twice, so this compared nothing"


def test_a_value_that_no_condition_reads_is_still_this_eyes_own(ready: Assessor, rulebook: Rulebook) -> None:
    # The width of a polar opacity is printed with it, and decides nothing.
    for width in ("2", "5"):
        raw = {"case": "T-1", "eye": "left", "findings": {"posterior_polar_opacity": "yes", "polar_opacity_mm": width}}
        factors = ready.assess(read_case(raw, rulebook.vocabulary), None, None).factors
        assert f"diameter {width} mm" in next(f.because for f in factors if f.id == "posterior-polar-opacity")
