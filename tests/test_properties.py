"""Relations that hold of every case, so that no one need say what the right answer is.

Cases are random and allowed, on values that the rulebook can tell apart. They run from plain eyes to eyes with every
trouble at once, since in the latter nothing can move the tier.
"""

from __future__ import annotations

import random
import re
import shutil
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import yaml
from random_cases import as_case, complete_values, partly_recorded
from seeds import draws

from planner import strict_yaml
from planner.assess import completions
from planner.assess.assess import Assessor, assess
from planner.assess.assessment import Assessment, Range
from planner.assess.compiled import Values
from planner.case import STAGES, Case, read_case
from planner.documents.json_form import assessment_json, plan_json
from planner.harm import is_worse
from planner.plan.allocation import supervise
from planner.plan.eye_plan import plan_eye
from planner.plan.make import make_plan
from planner.rulebook.load import load
from planner.rulebook.rulebook import Rulebook
from planner.rulebook.shapes import MODES, Supervised
from planner.shipped import rules_folder

MILD = (0.7, 0.9, 0.97)  # shares of findings left plain
Measures = dict[str, tuple[float, float]]


def drawn(ready: Assessor, seed: int) -> tuple[random.Random, Values]:
    draw = random.Random(seed)
    return draw, complete_values(ready.compiled, draw, MILD[seed % len(MILD)])


def some_blank(values: Values, draw: random.Random, share: float) -> Values:
    return [None if draw.random() < share else value for value in values]


def asked(ready: Assessor, values: Values) -> list[object]:
    """Which findings apply in this eye."""
    return [test(values) for test in ready.compiled.asked_tests.values()]


def is_allowed(ready: Assessor, values: Values) -> bool:
    truths, _ = ready.compiled.core(values)
    return not any(truths[place] for place in ready.completions.pair_places)


def worsened(ready: Assessor, values: Values) -> Iterator[tuple[str, Values]]:
    """Every case in which one finding is at a worse value, in the direction claimed for it, and all else is equal.

    Left out are cases in which other findings would apply than before, since then not all else is equal, and cases
    that an impossible pair forbids.
    """
    for place, finding in enumerate(ready.rulebook.vocabulary.findings):
        if values[place] is None:
            continue
        for cell in ready.compiled.cells[place]:
            if is_worse(finding, cell, values[place]):
                worse = [*values[:place], cell, *values[place + 1 :]]
                if asked(ready, worse) == asked(ready, values) and is_allowed(ready, worse):
                    yield f"{finding.id} from {values[place]} to {cell}", worse


def points_and_tier(ready: Assessor, values: Values) -> tuple[float, float]:
    """Points and tier of a complete case."""
    objectives = ready.objectives
    truths, bounds = ready.compiled.core(values)
    both = [objective.bounds(values, truths, bounds) for objective in (objectives.totals["points"], objectives.tier)]
    assert all(low == high for low, high in both)
    return both[0][0], both[1][0]


def supervision(ready: Assessor, case: Case) -> dict[str, Supervised]:
    eye = plan_eye(ready.assess(case, None, None), ready.rulebook)
    return {stage: supervise(eye, ready.rulebook, stage)[0] for stage in STAGES}


def no_looser(now: Supervised, before: Supervised) -> bool:
    nearer = MODES.index(now.mode) >= MODES.index(before.mode)
    return nearer and (now.by == "consultant" or before.by == "trainer")


# -- worse is never better --------------------------------------------------------------------------------------------


def test_worse_never_lowers_points_or_tier(ready: Assessor) -> None:
    tiers: Counter[float] = Counter()
    compared = rises = 0
    cases = draws(300, 900)
    for seed in range(cases):
        _, values = drawn(ready, seed)
        points, tier = points_and_tier(ready, values)
        tiers[tier] += 1
        for what, worse in worsened(ready, values):
            now = points_and_tier(ready, worse)
            assert now[0] >= points and now[1] >= tier, (seed, what)
            compared += 1
            rises += now[1] > tier
    assert min(tiers[tier] for tier in (1, 2, 3, 4)) > cases // 50, "too few cases of some tier"
    assert compared > 11 * cases and rises > cases // 2


def test_worse_never_loosens_supervision_at_any_stage(ready: Assessor) -> None:
    closer = 0
    cases = draws(100, 300)
    for seed in range(cases):
        draw, values = drawn(ready, seed)
        before = supervision(ready, as_case(ready.compiled, values))
        pairs = list(worsened(ready, values))
        for what, worse in draw.sample(pairs, min(4, len(pairs))):
            now = supervision(ready, as_case(ready.compiled, worse))
            for stage in STAGES:
                assert no_looser(now[stage], before[stage]), (seed, what, stage)
                closer += now[stage] != before[stage]
    assert closer > cases // 10


def test_worse_never_lowers_the_working_tier_of_a_case_as_read(ready: Assessor, rulebook: Rulebook) -> None:
    """Through the reader, so that odd pairs put findings in doubt, and with some findings not recorded."""
    compared = doubted = 0
    cases = draws(60, 300)
    for seed in range(cases):
        draw, values = drawn(ready, seed)
        partial = some_blank(values, draw, 0.05)
        case = as_read(partial, rulebook)
        tier = ready.working_tier(case)
        for what, worse in worsened(ready, partial):
            read = as_read(worse, rulebook)
            assert ready.working_tier(read) >= tier, (seed, what)
            compared += 1
            doubted += read.doubted != case.doubted
    assert compared > 10 * cases and doubted > cases // 3


def as_read(values: Values, rulebook: Rulebook) -> Case:
    """The case as a file gives it, without the finer records that may say otherwise than the coarse ones drawn."""
    drawn = [(f, value) for f, value in zip(rulebook.vocabulary.findings, values, strict=True) if f.coarse is None]
    raw = {finding.id: finding.written(value) for finding, value in drawn if value is not None}
    return read_case({"case": "T-1", "eye": "right", "findings": raw}, rulebook.vocabulary)


# -- recording what is missing ----------------------------------------------------------------------------------------


def measures(ready: Assessor, values: Values) -> Measures:
    """The range of points, log odds, floor, raise, published scores and tier."""
    found = {}
    for objective in (*ready.objectives.totals.values(), ready.objectives.tier):
        low, high = ready.ends(values, objective)
        found[objective.key] = (low.value, high.value)
    return found


def within(inner: Measures, outer: Measures) -> list[str]:
    """What does not stay in its range."""
    return [key for key, (low, high) in inner.items() if not outer[key][0] <= low <= high <= outer[key][1]]


def test_recording_a_missing_finding_stays_in_every_range(ready: Assessor) -> None:
    narrowed = 0
    cases = draws(300, 600)
    for seed in range(cases):
        draw, values = drawn(ready, seed)
        partial = some_blank(values, draw, 0.25)
        wide = measures(ready, partial)
        for place in draw.sample(
            [p for p, value in enumerate(partial) if value is None and ready.compiled.cells[p]], 3
        ):
            test = ready.compiled.asked_tests.get(place)
            if test is not None and test(partial) is not True:
                continue
            recorded = [*partial[:place], draw.choice(ready.compiled.cells[place]), *partial[place + 1 :]]
            if not is_allowed(ready, recorded):
                continue
            narrow = measures(ready, recorded)
            assert within(narrow, wide) == [], (seed, ready.rulebook.vocabulary.findings[place].id)
            narrowed += narrow != wide
    assert narrowed > cases // 6


def test_recording_everything_one_by_one_ends_in_the_complete_case(ready: Assessor) -> None:
    """A nest of ranges, down to single numbers: whatever the order in which findings come to be known."""
    for seed in range(40):
        draw, values = drawn(ready, seed)
        partial = some_blank(values, draw, 0.2)
        outer = measures(ready, partial)
        while missing := [p for p, value in enumerate(values) if value is not None and partial[p] is None]:
            ready_now = [
                p for p in missing if p not in ready.compiled.asked_tests or ready.compiled.asked_tests[p](partial)
            ]
            place = draw.choice(ready_now)
            partial[place] = values[place]
            inner = measures(ready, partial)
            assert within(inner, outer) == [], (seed, ready.rulebook.vocabulary.findings[place].id)
            outer = inner
        assert all(low == high for low, high in outer.values()), seed


def test_printed_probabilities_and_scores_nest_too(ready: Assessor) -> None:
    for seed in range(60):
        draw, values = drawn(ready, seed)
        partial = some_blank(values, draw, 0.2)
        wide, exact = (ready.assess(as_case(ready.compiled, v), None, None) for v in (partial, values))
        assert within(printed(exact), printed(wide)) == [], seed


def printed(assessment: Assessment) -> Measures:
    found = {f"score {score.id}": (score.points.least, score.points.most) for score in assessment.published_scores}
    for name, operator in assessment.probability.by_operator.items():
        found[f"probability {name}"] = (operator.least, operator.most)
    found["points"] = (assessment.points.least, assessment.points.most)
    found["tier"] = (assessment.tier.least, assessment.tier.most)
    return found


def test_the_working_tier_is_the_cautious_end(ready: Assessor, rulebook: Rulebook) -> None:
    open_cases = 0
    cases = draws(25, 100)
    for seed in range(cases):
        draw, values = drawn(ready, seed)
        case = as_case(ready.compiled, some_blank(values, draw, 0.2))
        tier = assess(case, rulebook).tier
        assert tier.working == tier.most >= tier.least
        assert tier.label == next(t.label for t in rulebook.tiers.tiers if t.tier == tier.most)
        first = make_plan(assess(case, rulebook), rulebook, None, "late").supervision.because[0]
        assert first.words.startswith(f"tier {tier.most},")
        open_cases += tier.least < tier.most
    assert open_cases > cases // 5


# -- two readings -----------------------------------------------------------------------------------------------------

BLANK = (0.1, 0.3, 0.6)  # shares of findings not recorded
READ = ("points", "log-odds", "tier")


def partly(ready: Assessor, seed: int) -> tuple[random.Random, Values]:
    """A case with all that a reading on record needs, and other findings blank."""
    draw = random.Random(seed)
    mild, missing = MILD[seed % len(MILD)], BLANK[seed // len(MILD) % len(BLANK)]
    return draw, partly_recorded(ready.compiled, draw, mild, missing)


def readings(ready: Assessor, values: Values) -> dict[str, Range]:
    """The range of points, log odds and tier with what is read on record."""
    plain = ready.on_record(as_case(ready.compiled, values), values)
    assert plain is not None
    objectives = {**ready.objectives.totals, "tier": ready.objectives.tier}
    return {name: ready.range(values, objectives[name], plain) for name in READ}


def test_on_record_is_the_least_of_every_range(ready: Assessor) -> None:
    open_ones: Counter[str] = Counter()
    for seed in range(2000):
        _, values = partly(ready, seed)
        for name, read in readings(ready, values).items():
            assert read.on_record is not None and read.proved
            assert read.least - 1e-9 <= read.on_record <= read.most + 1e-9, (seed, name)
            assert read.on_record == pytest.approx(read.least), (seed, name)
            open_ones[name] += read.most > read.least
    assert min(open_ones[name] for name in READ) > 300


def test_the_eye_on_record_is_allowed_and_keeps_what_is_recorded(ready: Assessor) -> None:
    made, mended = ready.compiled, 0
    for seed in range(1000):
        _, values = partly(ready, seed)
        plain = ready.on_record(as_case(made, values), values)
        assert plain is not None and is_allowed(ready, plain)
        for place, finding in enumerate(ready.rulebook.vocabulary.findings):
            if values[place] is not None:
                assert plain[place] == values[place]
            elif made.applies(place, plain) is False:
                assert plain[place] is None, (seed, finding.id)
            elif made.applies(place, plain):
                mended += plain[place] != finding.plain_value
                assert (plain[place] is None) is (finding.plain_value is None), (seed, finding.id)
    assert mended > 20


def test_recording_what_is_asked_narrows_every_range_from_both_ends(ready: Assessor) -> None:
    made, narrowed = ready.compiled, Counter[str]()
    for seed in range(300):
        draw, values = partly(ready, seed)
        wide = readings(ready, values)
        blank = [p for p, v in enumerate(values) if v is None and made.cells[p] and made.applies(p, values) is True]
        for place in draw.sample(blank, min(3, len(blank))):
            recorded = [*values[:place], draw.choice(made.cells[place]), *values[place + 1 :]]
            if ready.plain_eye(recorded) is None:
                continue  # no eye is like this
            narrow = readings(ready, recorded)
            for name in READ:
                assert wide[name].least - 1e-9 <= narrow[name].least, (seed, place, name)
                assert narrow[name].most <= wide[name].most + 1e-9, (seed, place, name)
                narrowed["least"] += narrow[name].least > wide[name].least
                narrowed["most"] += narrow[name].most < wide[name].most
    assert min(narrowed["least"], narrowed["most"]) > 50


def test_recording_what_nothing_asks_for_may_raise_the_tier_and_is_then_listed(ready: Assessor) -> None:
    made, raised = ready.compiled, 0
    for seed in range(2, draws(75, 300), 3):  # the mildest: in the others little can move the tier
        _, values = partly(ready, seed)
        tier = readings(ready, values)["tier"]
        for place, finding in enumerate(ready.rulebook.vocabulary.findings):
            if values[place] is not None or not made.cells[place] or made.applies(place, values) is not False:
                continue
            recorded = [*values[:place], made.cells[place][-1], *values[place + 1 :]]
            if not is_allowed(ready, recorded):
                continue
            assessment = ready.assess(as_case(made, recorded), None, None)
            listed = [note for note in assessment.notes if note.label == finding.label]
            assert bool(listed) is (assessment.tier.working > tier.most), (seed, finding.id)
            raised += bool(listed)
    assert raised >= draws(1, 5)


def test_worse_is_never_better_in_either_reading_of_a_partly_recorded_case(ready: Assessor) -> None:
    made, compared, rises = ready.compiled, 0, Counter[str]()
    for seed in range(250):
        draw, values = partly(ready, seed)
        before = readings(ready, values)
        pairs = [
            (place, cell)
            for place, finding in enumerate(ready.rulebook.vocabulary.findings)
            for cell in made.cells[place]
            if values[place] is not None and is_worse(finding, cell, values[place])
        ]
        for place, cell in draw.sample(pairs, min(6, len(pairs))):
            worse = [*values[:place], cell, *values[place + 1 :]]
            if ready.plain_eye(worse) is None:
                continue  # no eye is like this
            after = readings(ready, worse)
            compared += 1
            for name in ("points", "tier"):
                was, now, what = before[name], after[name], (seed, ready.rulebook.vocabulary.findings[place].id, cell)
                assert was.on_record is not None and now.on_record is not None
                assert now.least >= was.least and now.most >= was.most and now.on_record >= was.on_record, what
                rises[name] += now.on_record > was.on_record
    assert compared >= 500 and min(rises.values()) > 50


def test_a_search_that_runs_out_keeps_the_outer_bound_and_says_so(
    ready: Assessor, rulebook: Rulebook, monkeypatch: pytest.MonkeyPatch
) -> None:
    cases = [partly(ready, seed)[1] for seed in range(draws(60, 200))]
    found = [readings(ready, values) for values in cases]  # before the limit, which holds for both, is put down
    monkeypatch.setattr(completions, "NODES_AT_MOST", 1)
    hasty, unproved = Assessor(rulebook), 0
    for seed, (values, exact) in enumerate(zip(cases, found, strict=True)):
        quick = readings(hasty, values)
        for name in READ:
            assert quick[name].least <= exact[name].least and exact[name].most <= quick[name].most, (seed, name)
            assert exact[name].proved
            assert quick[name].proved <= (
                quick[name].least == exact[name].least and quick[name].most == exact[name].most
            )
        tier = hasty.assess(as_case(ready.compiled, values), None, None).tier
        assert tier.proved is quick["tier"].proved and tier.working == quick["tier"].most
        unproved += sum(not quick[name].proved for name in READ)
    assert unproved > len(cases) // 10


# -- what must not matter ---------------------------------------------------------------------------------------------


def test_left_and_right_are_assessed_and_planned_alike(ready: Assessor, rulebook: Rulebook) -> None:
    for seed in range(draws(15, 60)):
        draw, values = drawn(ready, seed)
        right = as_case(ready.compiled, some_blank(values, draw, 0.15))
        left = replace(right, eye="left")
        one, other = (plan_json(make_plan(assess(case, rulebook), rulebook)) for case in (right, left))
        assert (one["assessment"].pop("eye"), other["assessment"].pop("eye")) == ("right", "left")
        assert one == other, seed


def shuffled(folder: Path, keys: dict[str, tuple[str, ...]]) -> Rulebook:
    """The rules in `folder`, every file of a list renamed so that it is read in another order, its list reversed.

    `keys` names lists inside single files, or inside entries, to be reversed besides.
    """
    names = ("factors", "choices", "drills", "models", "sources.yaml", "steps.yaml", "cautions.yaml", *keys)
    for name in dict.fromkeys(names):
        top = folder / name
        single = top.is_file()
        paths = [top] if single else sorted(p for p in top.glob("*.yaml") if not p.name.endswith(".cases.yaml"))
        for number, path in enumerate(paths):
            data = strict_yaml.read(path.read_text(encoding="utf-8"), path.name).data
            if len(data) == 1:
                (entries,) = data.values()
                entries.reverse()
            for key in keys.get(name, ()):
                reverse(data, key)
            path.unlink()
            new = path if single else path.with_name(f"{len(paths) - number:02}-renamed.yaml")
            new.write_text(yaml.safe_dump(data, allow_unicode=True, sort_keys=False), encoding="utf-8")
    return load(folder)


def reverse(data: Any, key: str) -> None:
    """Reverse every list that stands under `key`, at any depth."""
    for name, inner in data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ():
        if name == key and isinstance(inner, list):
            inner.reverse()
        reverse(inner, key)


def judged(case: Case, rulebook: Rulebook) -> dict[str, Any]:
    """Everything a case is told, but for the hash of the rules."""
    data = plan_json(make_plan(assess(case, rulebook), rulebook))
    assert data["assessment"] == {
        **assessment_json(assess(case, rulebook)),
        "readiness": data["assessment"]["readiness"],
    }
    assert len(data["assessment"]["rulebook"].pop("sha256")) == 64
    return data


@pytest.fixture
def copied(tmp_path: Path) -> Path:
    return Path(shutil.copytree(rules_folder(), tmp_path / "rules"))


def test_the_order_of_files_and_of_the_lists_in_them_changes_nothing(
    ready: Assessor, rulebook: Rulebook, copied: Path
) -> None:
    other = shuffled(copied, {})
    assert other.sha256 != rulebook.sha256
    for seed in range(draws(8, 40)):
        draw, values = drawn(ready, seed)
        case = as_case(ready.compiled, some_blank(values, draw, 0.1))
        assert judged(case, other) == judged(case, rulebook), seed


def test_the_order_of_options_lines_and_levels_decides_nothing(
    ready: Assessor, rulebook: Rulebook, copied: Path
) -> None:
    """Where a list is printed in the order of its file, the same things stand in it, in another order."""
    other = shuffled(
        copied,
        {
            "choices": ("options",),
            "steps.yaml": ("lines",),
            "interactions.yaml": ("rules", "raises", "number_of", "any", "all"),
            "readiness.yaml": ("settle",),
            "kit.yaml": ("equipment", "drugs", "withhold", "always"),
            "models": ("terms", "levels", "operators", "items", "blind_to"),
            "supervision.yaml": ("overrides",),
        },
    )
    for seed in range(draws(8, 40)):
        draw, values = drawn(ready, seed)
        case = as_case(ready.compiled, some_blank(values, draw, 0.1))
        assert in_no_order(judged(case, other)) == in_no_order(judged(case, rulebook)), seed


def in_no_order(data: Any) -> Any:
    """The same data with every list sorted, and the words of phrases too; sums may differ in the last figure."""
    if isinstance(data, float):
        return float(f"{data:.12g}")
    if isinstance(data, dict):
        return {key: in_no_order(value) for key, value in data.items()}
    if isinstance(data, list | tuple):
        return sorted((in_no_order(value) for value in data), key=repr)
    return sorted(re.findall(r"\w+", data.lower())) if isinstance(data, str) else data
