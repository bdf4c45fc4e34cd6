"""What changes between two rulebooks: on the demonstration cases, on drawn eyes, and because of which entry."""

from __future__ import annotations

import itertools
import json
import shutil
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import NamedTuple

import pytest
import yaml
from commands import in_process
from seeds import some_of

from planner.assess.assess import assess, assessor
from planner.case import Case, read_case
from planner.compare.compare import Comparison
from planner.compare.outcome import changed
from planner.compare.sampling import Sampler, told_apart
from planner.exchange.case_reader import ReadCase, read_cases
from planner.plan.make import make_plan
from planner.rulebook.load import load
from planner.rulebook.rulebook import Rulebook
from planner.shipped import rules_folder

DEMO = sorted((Path(__file__).parents[1] / "demo_cases" / "cases").glob("*.yaml"))
# Two that a chamber limit of 2.9 mm changes, and four that it leaves alone.
FEW = [path for path in DEMO if path.stem in ("kit-lacking", "only-eye", "posterior-polar", "routine")]
FEW += [path for path in DEMO if path.stem in ("tense-white", "white-pseudoexfoliation-small-pupil")]
CHAMBER = "factors/pressure-and-chamber.yaml"
PUPIL = "factors/zonule-and-pupil.yaml"
LONG = pytest.mark.long


class Edit(NamedTuple):
    file: str
    old: str
    new: str


def chamber_limit(limit: str) -> Edit:
    depth = "{finding: anterior_chamber_depth_mm, at_most: 2.5}"
    return Edit(CHAMBER, depth, depth.replace("2.5", limit))


NEW_CAUTION = """cautions:
- id: invented-caution
  when: {finding: only_seeing_eye, is: yes}
  text: An invented caution.
  basis: common-practice
"""
NEW_SOURCE = "sources:\n  - {id: invented-2020, citation: An invented work., known: from-memory}\n"
WEAK_BACK = "when: {any: [{factor: posterior-polar-opacity}, {factor: suspected-capsule-breach}]}"
SMALL_FRONT = "{any: [{factor: younger-age}, {factor: shallow-chamber}, {factor: short-eye}]}"
KIDNEY = "{finding: renal_impairment, is_one_of: [moderate, severe-or-anuric]}"
PUPIL_LIMIT = "{finding: dilated_pupil_mm, less_than: 5.0}"
EDITS = {
    "a limit": [chamber_limit("2.6")],
    "points": [Edit(CHAMBER, "at_most: 2.5}\n    points: 1\n", "at_most: 2.5}\n    points: 3\n")],
    "a floor": [Edit(PUPIL, "    floor:\n      tier: 4", "    floor:\n      tier: 3")],
    "a group that counts once": [Edit(CHAMBER, "counts_once_with: small-front", "counts_once_with: zonule")],
    "harder steps": [Edit(CHAMBER, "{incisions: 1, capsule-opening: 1, hydro: 1,", "{incisions: 2, ovd: 1,")],
    "a band of points": [Edit("tiers.yaml", "{tier: 3, at_least: 4,", "{tier: 3, at_least: 5,")],
    "a band of probability": [Edit("tiers.yaml", "at_least: 0.03", "at_least: 0.01")],
    "an odds ratio": [Edit("models/narendran-2009.yaml", "odds_ratio: 1.28", "odds_ratio: 2.9")],
    "the baseline": [Edit("models/narendran-2009.yaml", "probability: 0.0075", "probability: 0.02")],
    "a raise": [Edit("interactions.yaml", "at_least: 2\n", "at_least: 3\n")],
    "a withhold": [Edit("interactions.yaml", WEAK_BACK, "when: {factor: posterior-polar-opacity}")],
    "an option": [Edit("choices/capsule-opening.yaml", SMALL_FRONT, "{factor: younger-age}")],
    "what a step tells to do": [Edit("choices/hydro.yaml", "- Let some OVD out first.", "- First let some OVD out.")],
    "a line of a step": [
        Edit("steps.yaml", "{any: [{factor: short-eye}, {factor: shallow-chamber}]}", "{factor: short-eye}")
    ],
    "a reason to settle": [Edit("readiness.yaml", "less_than: 3}", "less_than: 6}")],
    "a stage": [Edit("stages.yaml", "takes_up_to: 6", "takes_up_to: 4")],
    "a caution": [Edit("cautions.yaml", "polar_opacity_mm, at_least: 4}", "polar_opacity_mm, at_least: 3}")],
    "a new caution": [Edit("cautions.yaml", "cautions:\n", NEW_CAUTION)],
    "a contraindication": [Edit("kit.yaml", KIDNEY, "{finding: renal_impairment, is: severe-or-anuric}")],
    "two at once": [chamber_limit("2.6"), Edit(PUPIL, PUPIL_LIMIT, PUPIL_LIMIT.replace("5.0", "5.5"))],
}


@pytest.fixture(scope="session")
def rules_with(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., Path]:
    """A copy of the shipped rules with some edits made."""

    def made(*edits: Edit) -> Path:
        folder = Path(shutil.copytree(rules_folder(), tmp_path_factory.mktemp("changed") / "rules"))
        for edit in edits:
            text = (folder / edit.file).read_text(encoding="utf-8")
            assert edit.old in text, edit
            (folder / edit.file).write_text(text.replace(edit.old, edit.new, 1), encoding="utf-8")
        return folder

    return made


def drawn(comparison: Comparison, number: int, seed: int = 1) -> Iterator[Case]:
    old, new = assessor(comparison.old).compiled, assessor(comparison.new).compiled
    return Sampler(old, told_apart(old, new)).cases(number, seed)


def names(change: object) -> set[str]:
    return {f"{felt.difference.kind} {felt.difference.name}" for felt in change.because}  # type: ignore[attr-defined]


def eye(rulebook: Rulebook, **findings: str) -> Case:
    sections = ["patient", "allergies", "history", "outer-eye", "pupil-and-zonule", "lens", "view"]
    raw = {"case": "T-1", "eye": "right", "planned_stage": "middle", "none_found_in": sections, "findings": findings}
    return read_case(raw, rulebook.vocabulary)


# -- the demonstration cases ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("limit", some_of(["2.4", "2.6", "2.9"], "2.9"))
def test_a_moved_limit_changes_the_demonstration_cases_between_old_and_new(
    rulebook: Rulebook, rules_with: Callable[..., Path], limit: str
) -> None:
    """The depths are read from the files by another reader; 2.5 mm is the shipped limit, and at it the factor holds."""
    low, high = sorted((2.5, float(limit)))
    expected = set()
    for path in DEMO:
        depth = yaml.safe_load(path.read_text(encoding="utf-8"))["findings"].get("anterior_chamber_depth_mm")
        if depth is not None and low < depth <= high:
            expected.add(path.stem)
    assert expected or limit == "2.6", "no demonstration eye is between 2.5 and 2.6 mm deep"
    comparison = Comparison(rulebook, load(rules_with(chamber_limit(limit))))
    found = {}
    for path in DEMO:
        (item,) = read_cases(str(path), rulebook.vocabulary)
        assert isinstance(item, ReadCase)
        if changes := comparison.changes(item.case):
            found[path.stem] = changes
    assert set(found) == expected
    for changes in found.values():
        assert {name for change in changes for name in names(change)} == {"factor shallow-chamber"}
        went = ("holds", "does not hold") if limit == "2.4" else ("does not hold", "holds")
        words = {felt.words for change in changes for felt in change.because}
        assert words == {f"factor shallow-chamber: {' -> '.join(went)}"}


def test_tier_points_supervision_and_steps_are_told_from_what_to_what(
    rulebook: Rulebook, rules_with: Callable[..., Path]
) -> None:
    """The eye H-102, a tense white lens in a chamber 2.9 mm deep, is shallow by a limit of 2.9 mm.

    A white lens and a shallow chamber are two multiplying troubles, which lift its tier 3 by one.
    """
    comparison = Comparison(rulebook, load(rules_with(chamber_limit("2.9"))))
    (item,) = read_cases(str(next(path for path in DEMO if path.stem == "tense-white")), rulebook.vocabulary)
    assert isinstance(item, ReadCase)
    told = {change.result: (change.before, change.after) for change in comparison.changes(item.case)}
    assert told["tier"] == ("3", "4")
    assert told["points"] == ("3", "4")
    assert told["supervision"] == ("scrubbed, consultant (late)", "consultant-operates, consultant (late)")
    assert told["who does capsule-opening"] == ("trainee", "supervisor")
    assert "Leave the main incision unopened; work through two side ports." in told["what to do at ovd"][1]


# -- drawn eyes -------------------------------------------------------------------------------------------------------


def test_of_complete_drawn_eyes_those_between_the_limits_change(
    rulebook: Rulebook, rules_with: Callable[..., Path]
) -> None:
    """Of eyes longer than 20.5 mm: in shorter ones the length counts, heavier, in the same group as the depth."""
    comparison = Comparison(rulebook, load(rules_with(chamber_limit("2.6"))))
    complete = [case for n, case in enumerate(drawn(comparison, 1200), 1) if n % 2]
    complete = [case for case in complete if float(case.findings["axial_length_mm"]) > 20.5]
    between = [case for case in complete if 2.5 < float(case.findings["anterior_chamber_depth_mm"]) <= 2.6]
    assert len(between) >= 10
    assert [case.reference for case in complete if comparison.changes(case)] == [case.reference for case in between]


# The first of each kind of piece always: what adds up, what is chosen, what is told, what only warns.
@pytest.mark.parametrize("name", some_of(list(EDITS), "a limit", "a withhold"))
def test_nothing_is_missed_by_planning_only_what_a_case_can_feel(
    rulebook: Rulebook, rules_with: Callable[..., Path], name: str
) -> None:
    """Planned in full under both rulebooks, each eye differs exactly as told, and an entry that differs is the reason.

    Held on the first eyes drawn, and on the first that change.
    """
    new = load(rules_with(*EDITS[name]))
    comparison = Comparison(rulebook, new)
    entries = {f"{each.kind} {each.name}" for each in comparison.differences}
    # A raise needs two troubles in an eye that neither brings to tier 4: such an eye is seldom drawn.
    cases = drawn(comparison, 10000, seed=4)
    first = list(itertools.islice(cases, 20))
    moved = list(itertools.islice((case for case in itertools.chain(first, cases) if comparison.changes(case)), 2))
    assert moved, "no drawn eye changes, so this would show nothing"
    for case in [*first, *moved]:
        before, after = (make_plan(assess(case, each), each) for each in (rulebook, new))
        found = comparison.changes(case)
        assert [(c.what, c.name, c.before, c.after) for c in found] == list(changed(before, after))
        assert all(names(change) and names(change) <= entries for change in found)


def test_each_of_two_edits_is_named_where_it_is_the_reason(rulebook: Rulebook, rules_with: Callable[..., Path]) -> None:
    comparison = Comparison(rulebook, load(rules_with(*EDITS["two at once"])))
    same = {"age_years": "70", "axial_length_mm": "23.5", "iop_mmhg": "15"}
    cases = {
        "factor shallow-chamber": eye(rulebook, **same, anterior_chamber_depth_mm="2.6", dilated_pupil_mm="7"),
        "factor small-pupil": eye(rulebook, **same, anterior_chamber_depth_mm="3.2", dilated_pupil_mm="5.2"),
    }
    for entry, case in cases.items():
        changes = comparison.changes(case)
        assert "points" in {change.what for change in changes}
        assert {name for change in changes for name in names(change)} == {entry}


def test_a_condition_that_may_hold_under_both_can_still_change_what_is_possible(
    rulebook: Rulebook, rules_with: Callable[..., Path]
) -> None:
    """Nystagmus that counts only in a deep chamber never counts with a shallow one: one point less is possible,
    though neither is recorded and both conditions stay open."""
    nystagmus, deep = "{finding: nystagmus, is: yes}", "{finding: anterior_chamber_depth_mm, more_than: 2.5}"
    edit = Edit("factors/patient.yaml", nystagmus, f"{{all: [{nystagmus}, {deep}]}}")
    comparison = Comparison(rulebook, load(rules_with(edit)))
    case = eye(rulebook, age_years="70", axial_length_mm="23.5", iop_mmhg="15", nystagmus="not-recorded")
    points = next(change for change in comparison.changes(case) if change.what == "points")
    (least, most), (least_now, most_now) = (str(words).split(" to ") for words in (points.before, points.after))
    assert (int(least_now), int(most_now)) == (int(least), int(most) - 1)
    assert [felt.words for felt in points.because] == ["factor nystagmus: may hold, and differs"]


def test_the_tier_on_record_is_compared_by_itself(rulebook: Rulebook, rules_with: Callable[..., Path]) -> None:
    """A floor that moves tells of both readings; while something else may hold, of the reading on record alone."""
    floor = "tier: 2\n      because: the iris may"
    edit = Edit("factors/zonule-and-pupil.yaml", floor, floor.replace("2", "3"))
    comparison = Comparison(rulebook, load(rules_with(edit)))
    known = {"age_years": "70", "axial_length_mm": "23.5", "iop_mmhg": "15", "anterior_chamber_depth_mm": "3.1"}
    known |= {"alpha_blocker_ever": "tamsulosin", "opacity": "partial", "nucleus_hardness": "medium"}
    known |= {"dilated_pupil_mm": "7", "fundus_view": "clear", "red_reflex": "good", "vitreous_in_chamber": "no"}

    def tiers(**findings: str) -> dict[str, tuple[str, str]]:
        changes = comparison.changes(eye(rulebook, **known, **findings))
        assert all(names(change) == {"factor tamsulosin"} for change in changes if change.what == "tier")
        return {change.result: (str(change.before), str(change.after)) for change in changes if change.what == "tier"}

    assert tiers() == {"tier": ("2", "3"), "tier on record": ("2", "3")}
    assert tiers(only_seeing_eye="not-recorded")["tier on record"] == ("2", "3")
    assert tiers(only_seeing_eye="not-recorded")["tier"] == ("4 (2 to 4 possible)", "4 (3 to 4 possible)")


def test_the_same_seed_draws_the_same_allowed_eyes(rulebook: Rulebook) -> None:
    ready = assessor(rulebook)
    first, again, other = (list(Sampler(ready.compiled).cases(60, seed)) for seed in (7, 7, 8))
    assert first == again != other
    pairs = [n for n, name in enumerate(ready.compiled.core_names) if name.startswith("impossible:")]
    for case in first:
        truths, _ = ready.compiled.core(case.values(rulebook.vocabulary))
        assert not any(truths[n] for n in pairs)
        values = {name: rulebook.vocabulary.by_id[name].written(value) for name, value in case.findings.items()}
        read = read_case({"case": "T-1", "eye": case.eye, "findings": values}, rulebook.vocabulary)
        assert read.findings == case.findings, "what a finer finding says of a coarser one is drawn with it"
    sizes = [len(case.findings) for case in first]
    assert min(sizes[::2]) > max(sizes[1::2]) / 2 and min(sizes[1::2]) < min(sizes[::2])


def test_a_drawn_position_is_recorded_by_clock_hour_or_by_quadrant_and_never_by_two_that_differ(
    rulebook: Rulebook,
) -> None:
    sampler, coarse, fine = Sampler(assessor(rulebook).compiled), set(), 0
    for case in sampler.cases(1500, 5):
        hour, quadrants = case.findings.get("bleb_clock_hour"), case.findings.get("bleb_quadrants")
        coarse |= {quadrants} if hour is None else set()
        fine += hour is not None
        assert hour is None or quadrants == frozenset({"superior"}), "clock hour 1 is superior in either eye"
        assert sampler.cells[sampler.compiled.index["bleb_clock_hour"]] == (1.0,)
    assert fine and {frozenset({"temporal"}), frozenset({"inferior"})} <= coarse


def test_drawn_values_lie_on_every_side_of_both_limits(rulebook: Rulebook, rules_with: Callable[..., Path]) -> None:
    made = [assessor(each).compiled for each in (rulebook, load(rules_with(chamber_limit("2.9"))))]
    place = made[0].index["anterior_chamber_depth_mm"]
    assert not any(2.6 < value <= 2.9 for value in made[0].cells[place]), "then the old rulebook's values would do"
    depths = told_apart(*made)[place]
    assert min(depths) <= 2.5 and any(2.5 < value <= 2.9 for value in depths) and max(depths) > 2.9
    assert told_apart(made[0]) == list(made[0].cells)


# -- which kind of change ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "edits,kind",
    [
        ([], "none"),
        pytest.param([Edit(CHAMBER, "label: Shallow chamber\n", "label: A shallow chamber\n")], "patch", marks=LONG),
        pytest.param([Edit("sources.yaml", "sources:\n", NEW_SOURCE)], "patch", marks=LONG),
        (EDITS["what a step tells to do"], "patch"),
        (EDITS["a new caution"], "minor"),
        pytest.param([Edit("cautions.yaml", NEW_CAUTION.partition("\n")[2], "")], "major", marks=LONG),
        ([chamber_limit("2.51")], "major"),
        pytest.param(EDITS["a band of points"], "major", marks=LONG),
    ],
)
def test_kinds(rulebook: Rulebook, rules_with: Callable[..., Path], edits: list[Edit], kind: str) -> None:
    if kind == "major" and edits[0].new == "":  # the new caution, taken out again
        comparison = Comparison(load(rules_with(*EDITS["a new caution"])), rulebook)
    else:
        comparison = Comparison(rulebook, load(rules_with(*edits)))
    changes = [change for case in drawn(comparison, 40) for change in comparison.changes(case)]
    by_itself = [change for change in changes if change.what != "caution"]
    assert comparison.kind(by_itself if kind == "minor" else changes) == kind


def test_words_and_citations_change_no_case(rulebook: Rulebook, rules_with: Callable[..., Path]) -> None:
    words = [
        Edit(CHAMBER, "label: Shallow chamber\n", "label: A shallow chamber\n"),
        Edit(CHAMBER, "harm: Instruments work close", "harm: Things work close"),
        Edit("sources.yaml", "sources:\n", NEW_SOURCE),
    ]
    comparison = Comparison(rulebook, load(rules_with(*words)))
    assert [(each.kind, each.name, each.state) for each in comparison.differences] == [
        ("source", "invented-2020", "new"),
        ("factor", "shallow-chamber", "changed"),
    ]
    assert not any(comparison.changes(case) for case in drawn(comparison, 30))


# -- rulebooks that record different things ---------------------------------------------------------------------------


def test_an_eye_that_only_one_rulebook_allows_is_told(rulebook: Rulebook, rules_with: Callable[..., Path]) -> None:
    pair = """impossible_together:
  - id: invented-pair
    when: {all: [{finding: diabetes, is: yes}, {finding: glaucoma, is: open-angle}]}
    because: an invented reason
"""
    comparison = Comparison(rulebook, load(rules_with(Edit("findings.yaml", "impossible_together:\n", pair))))
    both = eye(rulebook, diabetes="yes", glaucoma="open-angle")
    (change,) = comparison.changes(both)
    assert (change.result, change.before) == ("allowed", "yes")
    assert str(change.after).startswith("no: ") and names(change) == {"pair invented-pair"}
    assert comparison.changes(eye(rulebook, diabetes="yes")) == ()


# -- the command ------------------------------------------------------------------------------------------------------


command = partial(in_process, "rules", "compare")


def test_the_command_tells_each_case_in_words(rules_with: Callable[..., Path]) -> None:
    new = rules_with(chamber_limit("2.9"))
    code, out, err = command(rules_folder(), new, *FEW)
    assert code == 0
    assert err.strip() == "6 of 6 cases compared, 2 changed"
    flowing = " ".join(out.split())
    assert (
        "factor shallow-chamber (when: anterior chamber depth at or below 2.5 mm -> anterior chamber depth" in flowing
    )
    assert "2 of 6 cases change H-102, right eye tier: 3 -> 4" in flowing
    assert out.count("because factor shallow-chamber: does not hold -> holds") == 2
    assert "Kind of change: major" in out


def test_the_command_tells_the_same_as_json(rules_with: Callable[..., Path]) -> None:
    new = rules_with(chamber_limit("2.9"))
    arguments = (rules_folder(), new, *FEW, "--generated", 10)
    data = json.loads(command(*arguments, "--json")[1])
    out = command(*arguments)[1]
    assert (data["compared"], data["kind"]) == (len(FEW) + 10, "major")
    assert data["old"]["sha256"] != data["new"]["sha256"]
    assert [(each["kind"], each["id"]) for each in data["differences"]] == [("factor", "shallow-chamber")]
    assert {"H-102", "H-126"} <= {case["case"] for case in data["cases"]}
    assert f"{data['changed'] - 2} of 10 drawn cases change" in out
    for case in data["cases"]:
        assert case["findings"]
        assert all(change["because"] == ["factor shallow-chamber"] for change in case["changes"])


def test_a_case_file_that_one_vocabulary_refuses_is_named(rules_with: Callable[..., Path], tmp_path: Path) -> None:
    finding = """findings:
  - id: invented_sign
    label: Invented sign
    section: lens
    kind: yes-no
    worse: none
    measured: looked for
"""
    new = rules_with(Edit("findings.yaml", "\nfindings:\n", f"\n{finding}"))
    (tmp_path / "new.yaml").write_text("case: N-1\neye: left\nfindings: {invented_sign: yes}\n")
    (tmp_path / "old.yaml").write_text("case: O-1\neye: left\nfindings: {age_years: 70}\n")
    code, out, err = command(rules_folder(), new, tmp_path / "new.yaml", tmp_path / "old.yaml")
    assert code == 1 and "0 of 1 cases change" in out
    assert "no finding 'invented_sign', read by OLD" in err and err.count("error:") == 1


def test_a_bad_row_is_refused_once_and_the_others_are_compared(tmp_path: Path) -> None:
    (tmp_path / "list.csv").write_text("case,eye,axial_length_mm\nA-1,right,23.4\nA-2,left,235\n")
    code, out, err = command(rules_folder(), rules_folder(), tmp_path / "list.csv")
    assert code == 1 and "0 of 1 cases change" in out and "Kind of change: none" in out
    assert err.count("235 is outside the possible range") == 1


def test_wrong_usage(tmp_path: Path) -> None:
    assert command(rules_folder(), rules_folder())[0] == 2
    code, _, err = command(rules_folder(), tmp_path / "nowhere", "--generated", 1)
    assert code == 1 and "nowhere: is not there" in err
