"""The cases beside the rules: those shipped agree, and what is wrong or left out is found with file and line."""

import shutil
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from commands import in_process

from planner import conditions
from planner.conditions import Condition, rebuild, walk
from planner.errors import Fault
from planner.plan.expected import disagreements
from planner.rulebook.load import load
from planner.rulebook.rule_cases import read
from planner.rulebook.rulebook import Rulebook
from planner.shipped import rules_folder

Edit = Callable[[str, str, str], int]
Faults = Callable[[Path], list[str]]
ENTRY_OF_DEFECT = """\
- of: afferent-pupil-defect
  holds: [{relative_afferent_pupillary_defect: yes}]
  does_not_hold: [{relative_afferent_pupillary_defect: no}]
  unknown: [{}]
"""


def run(rulebook: Rulebook, folder: Path) -> list[Fault]:
    """Every fault of the cases in `folder`: ill written, left out, or not what the engine makes of them."""
    cases, faults = read(rulebook, folder)
    return [*faults, *disagreements(rulebook, cases)]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return Path(shutil.copytree(rules_folder(), tmp_path / "rules"))


@pytest.fixture
def edit(folder: Path) -> Edit:
    """Replace one piece of text in a file of the copied rules; gives the line it stands on."""

    def change(name: str, old: str, new: str) -> int:
        text = (folder / name).read_text(encoding="utf-8")
        assert text.count(old) == 1, old
        (folder / name).write_text(text.replace(old, new), encoding="utf-8")
        return text[: text.index(old)].count("\n") + 1

    return change


@pytest.fixture
def faults(rulebook: Rulebook) -> Faults:
    """What the shipped rules make of the cases in a folder."""
    return lambda folder: [str(fault) for fault in run(rulebook, folder)]


def line_of(path: Path, text: str) -> int:
    lines = path.read_text(encoding="utf-8").splitlines()
    return next(number for number, line in enumerate(lines, 1) if text in line)


def test_the_shipped_cases_agree_and_leave_nothing_out(rulebook: Rulebook) -> None:
    assert [str(fault) for fault in run(rulebook, rules_folder())] == []


def test_every_factor_and_option_has_cases(rulebook: Rulebook) -> None:
    cases, _ = read(rulebook, rules_folder())
    options = {f"{choice.id}.{option.id}" for choice in rulebook.choices.values() for option in choice.options}
    assert {case.name for case in cases} == options | set(rulebook.factors)


# -- what the engine does not agree with -----------------------------------------------------------------------------


def test_a_wrong_expectation_of_a_factor_is_found(folder: Path, edit: Edit, faults: Faults) -> None:
    line = edit(
        "factors/pressure-and-chamber.cases.yaml",
        "[{iop_mmhg: 25}, {iop_mmhg: 26}, {iop_mmhg: 40}]",
        "[{iop_mmhg: 25}, {iop_mmhg: 26}, {iop_mmhg: 12}]",
    )
    assert faults(folder) == [
        f"rules/factors/pressure-and-chamber.cases.yaml:{line}: raised-pressure: expected holds, found does_not_hold "
        "(intraocular pressure 12 mmHg; it needs intraocular pressure at or above 25 mmHg); "
        "try: correct the rule, or the case if the rule is right"
    ]


def test_a_wrong_expectation_of_an_option_is_found_on_its_own_line(folder: Path, edit: Edit, faults: Faults) -> None:
    old = "  - {opacity: total-white, cortex: tense-fluid, anterior_capsule_fibrosis: yes}\n"
    line = edit("choices/capsule-opening.cases.yaml", old, old.replace("tense", "slack"))
    assert faults(folder) == [
        f"rules/choices/capsule-opening.cases.yaml:{line}: capsule-opening.decompress-then-two-stage: expected wins, "
        "found does_not_win (reinflate-then-tear wins); try: correct the rule, or the case if the rule is right"
    ]


def test_what_may_still_win_is_not_taken_for_what_wins(folder: Path, edit: Edit, faults: Faults) -> None:
    name, old = "choices/antisepsis.cases.yaml", "  may_win: [{iodine_allergy: not-recorded}]\n- of"
    edit(name, old, "  may_win: [{iodine_allergy: yes}]\n- of")
    (found,) = faults(folder)
    assert "chlorhexidine-by-policy: expected may_win, found wins (chlorhexidine-by-policy wins)" in found


def test_a_rule_changed_without_its_cases_is_found(folder: Path, edit: Edit) -> None:
    edit("factors/pressure-and-chamber.yaml", "_mm, at_most: 2.5}", "_mm, at_most: 2.49}")
    line = line_of(folder / "factors/pressure-and-chamber.cases.yaml", "{anterior_chamber_depth_mm: 2.5}")
    found = [str(fault) for fault in run(load(folder), folder)]
    assert any(f".cases.yaml:{line}: shallow-chamber: expected holds, found does_not_hold" in fault for fault in found)
    assert any("shallow-chamber: no cases show" in fault and "missing: 2.48" in fault for fault in found)


def moved(rulebook: Rulebook) -> Iterator[tuple[str, Rulebook]]:
    """The rulebook with one numeric limit of one factor moved by one step, each limit both ways."""

    def shifted(test: Condition, by: float) -> Callable[[Condition], Condition]:
        return lambda part: replace(part, limit=round(part.limit + by, 6)) if part is test else part

    for factor in rulebook.factors.values():
        for test in walk(factor.when):
            finding = rulebook.vocabulary.by_id[test.finding] if isinstance(test, conditions.Test) else None
            if finding is None or finding.kind not in ("number", "count"):
                continue
            for step in (finding.step or 1.0, -(finding.step or 1.0)):
                changed = factor.model_copy(update={"when": rebuild(factor.when, shifted(test, step))})
                yield factor.id, replace(rulebook, factors={**rulebook.factors, factor.id: changed})


@pytest.mark.long
def test_every_limit_moved_by_one_step_is_found(rulebook: Rulebook) -> None:
    cases, _ = read(rulebook, rules_folder())
    tried = 0
    for name, changed in moved(rulebook):
        tried += 1
        own = [case for case in cases if case.name == name]
        assert disagreements(changed, own), f"{name}: a moved limit was missed"
    assert tried > 40


# -- what the cases leave out ----------------------------------------------------------------------------------------


def test_a_factor_without_cases_is_refused_where_it_stands(folder: Path, edit: Edit, faults: Faults) -> None:
    edit("factors/view.cases.yaml", ENTRY_OF_DEFECT, "")
    line = line_of(folder / "factors/view.yaml", "- id: afferent-pupil-defect")
    assert faults(folder) == [
        f"rules/factors/view.yaml:{line}: afferent-pupil-defect has no cases (nothing says what it must do); "
        "try: add `- of: afferent-pupil-defect` to rules/factors/view.cases.yaml"
    ]


def test_an_option_without_cases_is_refused_where_it_stands(folder: Path, faults: Faults) -> None:
    (folder / "choices/antisepsis.cases.yaml").unlink()
    path = folder / "choices/antisepsis.yaml"
    found = faults(folder)
    for option in ("chlorhexidine-by-policy", "povidone-iodine"):
        line = line_of(path, f"- id: {option}")
        assert any(
            fault.startswith(f"rules/choices/antisepsis.yaml:{line}: antisepsis.{option} has no cases")
            for fault in found
        )
    assert len(found) == 2


@pytest.mark.parametrize("kind", ["holds", "does_not_hold", "unknown"])
def test_a_kind_of_case_left_out_of_a_factor_is_refused(folder: Path, edit: Edit, faults: Faults, kind: str) -> None:
    kept = "".join(f"{line}\n" for line in ENTRY_OF_DEFECT.splitlines() if f" {kind}:" not in line)
    line = edit("factors/view.cases.yaml", ENTRY_OF_DEFECT, kept)
    assert f"rules/factors/view.cases.yaml:{line}: afferent-pupil-defect has no case under `{kind}:`" in faults(folder)


@pytest.mark.parametrize("kind", ["wins", "does_not_win", "may_win"])
def test_a_kind_of_case_left_out_of_an_option_is_refused(folder: Path, faults: Faults, kind: str) -> None:
    path = folder / "choices/antisepsis.cases.yaml"
    text = path.read_text(encoding="utf-8")
    path.write_text("".join(f"{line}\n" for line in text.splitlines() if f" {kind}:" not in line), encoding="utf-8")
    line = line_of(path, "- of: antisepsis.povidone-iodine")
    fault = f"rules/choices/antisepsis.cases.yaml:{line}: antisepsis.povidone-iodine has no case under `{kind}:`"
    assert fault in faults(folder)


def test_a_missing_limit_case_is_refused_by_name(folder: Path, edit: Edit, faults: Faults) -> None:
    name = "factors/pressure-and-chamber.cases.yaml"
    edit(name, "[{iop_mmhg: 24}, {iop_mmhg: 22}]", "[{iop_mmhg: 22}]")
    line = line_of(folder / name, "- of: raised-pressure")
    assert faults(folder) == [
        f"rules/{name}:{line}: raised-pressure: no cases show that iop_mmhg decides at 24, 25, 26 "
        "(they must be alike in everything else; missing: 24); try: add them, and what is expected of each"
    ]


def test_a_grade_that_reads_into_words_is_judged_as_the_word(folder: Path, edit: Edit, faults: Faults) -> None:
    """LOCS 5.0 and over reads as hard, so a case by its decimal grade shows nothing else than one by the word."""
    name = "factors/lens.cases.yaml"
    line = edit(name, "  - {nuclear_opalescence_locs3: 5.0}\n", "  - {nuclear_opalescence_locs3: 4.9}\n")
    (found,) = faults(folder)
    assert found.startswith(f"rules/{name}:{line}: dense-nucleus: expected holds, found does_not_hold"), found


def test_a_value_of_a_choice_left_out_is_refused_by_name(folder: Path, edit: Edit, faults: Faults) -> None:
    edit("factors/view.cases.yaml", "[{fundus_view: hazy}, {fundus_view: clear}]", "[{fundus_view: clear}]")
    (found,) = faults(folder)
    assert "no-fundal-view: no cases show that fundus_view decides at clear, hazy, none" in found
    assert "missing: hazy" in found


def test_a_value_of_a_set_left_out_is_refused_by_name(folder: Path, edit: Edit, faults: Faults) -> None:
    edit("factors/zonule-and-pupil.cases.yaml", "  - {alpha_blocker_ever: terazosin}\n", "")
    (found,) = faults(folder)
    assert "floppy-iris-risk: no cases show that alpha_blocker_ever decides" in found
    assert "missing: terazosin" in found


def test_cases_at_a_limit_must_differ_in_nothing_else(folder: Path, edit: Edit, faults: Faults) -> None:
    old = "{alpha_blocker_ever: tamsulosin, dilated_pupil_mm: 6.0}"
    edit("choices/pupil.cases.yaml", old, old.replace("tamsulosin", "other"))
    (found,) = faults(folder)
    assert "pupil.hooks-not-ring: no cases show that dilated_pupil_mm decides at 5.9, 6, 6.1" in found
    assert "missing: 6)" in found


def test_a_comparison_whose_cases_are_all_expected_alike_is_refused(folder: Path, edit: Edit, faults: Faults) -> None:
    edit("factors/cornea.cases.yaml", "holds: [{guttata: yes}]", "holds: [{guttata: yes}, {guttata: no}]")
    edit("factors/cornea.cases.yaml", "does_not_hold: [{guttata: no}]", "does_not_hold: [{guttata: no, diabetes: no}]")
    says = "guttata decides at yes, no (they must be alike in everything else; all are expected alike)"
    assert any(says in fault for fault in faults(folder))


# -- how they are written --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("new", "says"),
    [
        ("- of: afferent-pupil-defekt\n", "did you mean afferent-pupil-defect?"),
        ("- of: poor-red-reflex\n", "poor-red-reflex has cases twice (first at rules/factors/view.cases.yaml:7)"),
        ("- of: white-lens\n", "the cases of white-lens belong in rules/factors/lens.cases.yaml"),
        ("- of: afferent-pupil-defect\n  hold: []\n", "unknown key 'hold'"),
        ("- of: afferent-pupil-defect\n  wins: [{}]\n", "`wins` is not said of afferent-pupil-defect"),
        ("- of: afferent-pupil-defect\n  holds: {}\n", "it should be a list"),
        ("- of: afferent-pupil-defect\n  unknown: [yes]\n", "it should be `key: value` lines"),
        ("- of: afferent-pupil-defect\n  holds: [{red_reflexes: none}]\n", "did you mean red_reflex?"),
        ("- of: afferent-pupil-defect\n  holds: [{iop_mmhg: 900}]\n", "outside the possible range"),
        (
            "- of: afferent-pupil-defect\n  holds: [{opacity: total-white, red_reflex: good}]\n",
            "cannot stand together",
        ),
    ],
)
def test_what_cannot_be_read_is_refused_with_its_line(
    folder: Path, edit: Edit, faults: Faults, new: str, says: str
) -> None:
    (folder / "factors/lens.cases.yaml").unlink()
    line = edit("factors/view.cases.yaml", ENTRY_OF_DEFECT, new)
    # The entry's own line, or that of the key inside it.
    places = (f"rules/factors/view.cases.yaml:{line}: ", f"rules/factors/view.cases.yaml:{line + 1}: ")
    assert [fault for fault in faults(folder) if says in fault and fault.startswith(places)]


def test_a_file_that_is_no_yaml_or_holds_no_cases_is_refused(folder: Path, faults: Faults) -> None:
    (folder / "factors/view.cases.yaml").write_text("cases: [\n", encoding="utf-8")
    (folder / "choices/ovd.cases.yaml").write_text("given: {opacity: partial}\n", encoding="utf-8")
    found = faults(folder)
    assert any(fault.startswith("rules/factors/view.cases.yaml:") and "not readable YAML" in fault for fault in found)
    assert any(fault.startswith("rules/choices/ovd.cases.yaml:1: `cases` is missing") for fault in found)


def test_the_command_refuses_a_rule_without_cases(folder: Path, edit: Edit) -> None:
    edit("factors/view.cases.yaml", ENTRY_OF_DEFECT, "")
    ran = in_process("rules", "check", "--rules", folder)
    assert ran.code == 1
    assert "afferent-pupil-defect has no cases" in ran.err
