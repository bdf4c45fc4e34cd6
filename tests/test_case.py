"""A case read against the shipped vocabulary: every fault at once, nothing repaired, missing never normal."""

from __future__ import annotations

from typing import Any

import pytest

from planner.case import Case, read_case
from planner.errors import PlannerError
from planner.rulebook.rulebook import Rulebook
from planner.vocabulary import Vocabulary


@pytest.fixture(scope="module")
def vocabulary(rulebook: Rulebook) -> Vocabulary:
    return rulebook.vocabulary


def read(vocabulary: Vocabulary, findings: Any = None, **headings: Any) -> Case:
    return read_case({"case": "A-1", "eye": "left", "findings": findings} | headings, vocabulary)


FINDINGS = {
    "an unknown finding": ({"axial_lenght_mm": "23"}, "no finding 'axial_lenght_mm'", "did you mean axial_length_mm?"),
    "ten times too long": ({"axial_length_mm": "235"}, "outside the possible range", "was 23.5 meant?"),
    "a depth in micrometres": ({"anterior_chamber_depth_mm": "2300"}, "outside the possible range", "was 2.3 meant?"),
    "a negative pressure": ({"iop_mmhg": "-4"}, "outside the possible range"),
    "not a number": ({"iop_mmhg": ".nan"}, "not a measurement"),
    "not a number, as a value": ({"iop_mmhg": float("nan")}, "not a measurement"),
    "infinite": ({"iop_mmhg": ".inf"}, "not a measurement"),
    "infinite, as a value": ({"iop_mmhg": float("inf")}, "not a measurement"),
    "very many digits": ({"iop_mmhg": "9" * 400}, "not a measurement"),
    "a unit": ({"iop_mmhg": "21 mmHg"}, "carries a unit", "in mmHg"),
    "a decimal comma": ({"anterior_chamber_depth_mm": "2,3"}, "decimal comma", "2.3"),
    "an octal-looking number": ({"age_years": "071"}, "not a plain decimal number"),
    "an exponent": ({"age_years": "7e1"}, "not a plain decimal number"),
    "digits of another script": ({"age_years": "٧١"}, "not a plain decimal number"),
    "half an injection": ({"intravitreal_injections": "2.5"}, "not a whole number"),
    "yes for a number": ({"age_years": True}, "not a number"),
    "one for yes": ({"can_lie_flat": 1}, "yes or no"),
    "a capital": ({"can_lie_flat": "Yes"}, "yes or no"),
    "a value misspelt": ({"cortex": "tense"}, "did you mean tense-fluid?"),
    "a list for one value": ({"sex": ["female"]}, "female, male"),
    "a mapping for one value": ({"sex": {"female": "yes"}}, "female, male"),
    "a mapping in a set": ({"alpha_blocker_ever": [{"tamsulosin": "yes"}]}, "or none"),
    "an empty list": ({"alpha_blocker_ever": []}, "does not say whether it was looked for"),
    "none beside another": ({"alpha_blocker_ever": "none+tamsulosin"}, "'none' is not one of"),
    "NA": ({"cortex": "NA"}, "does not say whether it was looked for"),
    "a hyphen": ({"iop_mmhg": "-"}, "does not say whether it was looked for"),
    "nil": ({"anticoagulant": "nil"}, "does not say whether it was looked for"),
    "a day the wrong way round": ({"biometry_date": "02/11/2026"}, "YYYY-MM-DD"),
    "a day that is not": ({"biometry_date": "2026-02-30"}, "YYYY-MM-DD"),
    "a day without hyphens": ({"biometry_date": "20261102"}, "YYYY-MM-DD"),
    "a text of two lines": ({"biometry_reference": "a\nb"}, "one line of text"),
    "a text that turns round": ({"biometry_reference": "a\u202eb"}, "one line of text"),
    "a text too long": ({"biometry_reference": "x" * 201}, "200 characters"),
    "a polar opacity measured and absent": (
        {"posterior_polar_opacity": "no", "polar_opacity_mm": "2"},
        "cannot stand together",
        "polar_opacity_mm: 2",
        "posterior_polar_opacity: no",
    ),
    "a list of findings": (["age_years"], "must be a mapping"),
}


@pytest.mark.parametrize("findings, words", [(f, w) for f, *w in FINDINGS.values()], ids=list(FINDINGS))
def test_a_finding_that_cannot_be_is_refused(vocabulary: Vocabulary, findings: Any, words: list[str]) -> None:
    with pytest.raises(PlannerError) as refused:
        read(vocabulary, findings)
    assert len(refused.value.faults) == 1
    assert all(word in str(refused.value) for word in words), str(refused.value)


HEADINGS: dict[str, tuple[dict[str, Any], str]] = {
    "no eye": ({"eye": None}, "the eye is missing"),
    "both eyes": ({"eye": ["right", "left"]}, "both eyes in one case"),
    "both eyes in a word": ({"eye": "both"}, "both eyes in one case"),
    "an eye by its letter": ({"eye": "R"}, "right or left, in full"),
    "an eye as a mapping": ({"eye": {}}, "right or left, in full"),
    "no reference": ({"case": None}, "`case` is missing"),
    "a blank reference": ({"case": "  "}, "`case` is missing"),
    "a reference of two lines": ({"case": "A\nB"}, "one line of text"),
    "a reference too long": ({"case": "x" * 61}, "61 characters"),
    "a list for a reference": ({"case": ["A"]}, "one line of text"),
    "yes for a pseudonym": ({"patient": True}, "one line of text"),
    "an unknown heading": ({"cse": "A"}, "did you mean case?"),
    "a finding at the top": ({"age_years": "71"}, "put it under `findings:`"),
    "an unknown stage": ({"planned_stage": "senior"}, "is not a stage"),
    "an unknown section": ({"none_found_in": ["histery"]}, "did you mean history?"),
    "a mapping in a section": ({"none_found_in": [{"history": "yes"}]}, "no section"),
    "a day of listing that is none": ({"listed_on": "soon"}, "is not a date"),
    "a day of another kind": ({"recorded_on": "2026-W45-1"}, "is not a date"),
}


@pytest.mark.parametrize("headings, words", HEADINGS.values(), ids=list(HEADINGS))
def test_a_heading_that_cannot_be_is_refused(vocabulary: Vocabulary, headings: dict[str, Any], words: str) -> None:
    with pytest.raises(PlannerError) as refused:
        read(vocabulary, **headings)
    assert len(refused.value.faults) == 1
    assert words in str(refused.value)


@pytest.mark.parametrize("raw", [None, [], "case", 5, True])
def test_what_is_no_mapping_holds_no_case(vocabulary: Vocabulary, raw: Any) -> None:
    with pytest.raises(PlannerError, match="holds no case"):
        read_case(raw, vocabulary)


def test_every_fault_is_told_at_once(vocabulary: Vocabulary) -> None:
    with pytest.raises(PlannerError) as refused:
        read(vocabulary, {"axial_length_mm": "235", "cortex": "hard", "iop": "3"}, eye="both", case=None)
    assert len(refused.value.faults) == 5


@pytest.mark.parametrize("blank", [None, "", "not-recorded"])
def test_not_recorded_is_unknown(vocabulary: Vocabulary, blank: str | None) -> None:
    assert read(vocabulary, {"fundus_view": blank}).findings == {}


def test_none_is_a_value(vocabulary: Vocabulary) -> None:
    case = read(
        vocabulary, {"fundus_view": "none", "red_reflex": "none", "alpha_blocker_ever": "none", "glaucoma": "none"}
    )
    nothing: frozenset[str] = frozenset()
    assert case.findings == {
        "fundus_view": "none",
        "red_reflex": "none",
        "alpha_blocker_ever": nothing,
        "glaucoma": "none",
    }


def test_a_section_looked_through_gives_what_the_vocabulary_calls_unremarkable(vocabulary: Vocabulary) -> None:
    case = read(
        vocabulary, {"phacodonesis": "yes", "pseudoexfoliation": "not-recorded"}, none_found_in=["pupil-and-zonule"]
    )
    assert case.findings["phacodonesis"] is True
    assert case.findings["posterior_synechiae"] is False
    assert "pseudoexfoliation" not in case.findings, "said not to be recorded, so unknown"
    assert "dilated_pupil_mm" not in case.findings, "a measure, so unknown"
    assert "phacodonesis" not in case.from_section
    patient = read(vocabulary, none_found_in=["patient"])
    assert patient.findings["can_lie_flat"] is True
    assert "consent_to_surgery" not in patient.findings
    assert "trainee_involvement_agreed" not in patient.findings


# Common practice: what an opaque lens, a small pupil or a cloudy cornea hides was not seen by the section.
@pytest.mark.parametrize(
    ("section", "hidden", "clear", "behind"),
    [
        ("lens", {"opacity": "total-white"}, {"opacity": "partial"},
         ("posterior_polar_opacity", "posterior_capsule_plaque")),
        ("pupil-and-zonule", {"dilated_pupil_mm": "3.9"}, {"dilated_pupil_mm": "4"},
         ("zonule_loss_clock_hours", "pseudoexfoliation")),
        ("outer-eye", {"corneal_opacity": "yes"}, {"corneal_opacity": "no"}, ("guttata",)),
        ("history", {"fundus_view": "none", "diabetes": "yes"},
         {"fundus_view": "clear", "opacity": "partial", "diabetes": "yes"},
         ("macular_oedema", "diabetic_retinopathy")),
    ],
)  # fmt: skip
def test_a_section_does_not_vouch_for_what_could_not_be_seen(
    vocabulary: Vocabulary, section: str, hidden: Any, clear: Any, behind: tuple[str, ...]
) -> None:
    for findings in (hidden, {}) if section in ("lens", "pupil-and-zonule") else (hidden,):
        case = read(vocabulary, findings, none_found_in=[section])
        assert not set(behind) & set(case.findings), "hidden, or not known not to be"
    assert set(behind) <= set(read(vocabulary, clear, none_found_in=[section]).findings)
    said = read(vocabulary, {**hidden, behind[0]: vocabulary.by_id[behind[0]].unremarkable}, none_found_in=[section])
    assert behind[0] in said.findings, "what somebody wrote down is used"


# Snellen to logMAR: log10 of the denominator over the numerator (Holladay 1997's conversion, from memory).
@pytest.mark.parametrize(
    ("written", "logmar"), [("6/6", 0.0), ("6/12", 0.3), ("6/18", 0.48), ("20/60", 0.48), ("6/60", 1.0), ("20/20", 0.0)]
)
def test_a_snellen_fraction_is_read_into_logmar(vocabulary: Vocabulary, written: str, logmar: float) -> None:
    assert read(vocabulary, {"visual_acuity": written}).findings["visual_acuity_logmar"] == pytest.approx(logmar)
    assert read(vocabulary, {"visual_acuity_logmar": written}).findings["visual_acuity_logmar"] == pytest.approx(logmar)


@pytest.mark.parametrize("written", ["6/", "6/0", "0/6", "six/six", "6/18/2", "CF", "6/18 part"])
def test_what_is_no_fraction_is_refused_with_what_to_write(vocabulary: Vocabulary, written: str) -> None:
    with pytest.raises(PlannerError) as caught:
        read(vocabulary, {"visual_acuity": written})
    assert "visual_acuity" in str(caught.value)


def test_acuity_given_twice_is_refused(vocabulary: Vocabulary) -> None:
    with pytest.raises(PlannerError, match="say the same twice"):
        read(vocabulary, {"visual_acuity": "6/18", "visual_acuity_logmar": "0.5"})


def test_a_coarse_grade_is_read_from_a_decimal_one_and_must_agree_with_it(vocabulary: Vocabulary) -> None:
    for grade, word in (
        ("0.1", "soft"),
        ("1.9", "soft"),
        ("2", "medium"),
        ("4.9", "medium"),
        ("5", "hard"),
        ("6.9", "brown"),
    ):
        case = read(vocabulary, {"nuclear_opalescence_locs3": grade})
        assert case.findings["nucleus_hardness"] == word and "nucleus_hardness" in case.from_finer
    with pytest.raises(PlannerError, match="cannot stand together"):
        read(vocabulary, {"nuclear_opalescence_locs3": "5.5", "nucleus_hardness": "soft"})


# The clock face as one faces the patient: temporal is 9 in a right eye, 3 in a left (contract; common practice).
@pytest.mark.parametrize(
    ("eye", "hour", "quadrant"),
    [("right", "9", "temporal"), ("left", "9", "nasal"), ("right", "3", "nasal"), ("left", "3", "temporal"),
     ("right", "12", "superior"), ("left", "1", "superior"), ("left", "6", "inferior"), ("left", "2", "temporal")],
)  # fmt: skip
def test_a_clock_hour_lies_in_a_quadrant_of_its_side(
    vocabulary: Vocabulary, eye: str, hour: str, quadrant: str
) -> None:
    case = read(vocabulary, {"previous_trabeculectomy": "yes", "bleb_clock_hour": hour}, eye=eye)
    assert case.findings["bleb_quadrants"] == frozenset({quadrant})


def test_a_gap_runs_through_its_quadrants_clockwise(vocabulary: Vocabulary) -> None:
    findings = {"zonule_loss_clock_hours": "3", "zonule_loss_from_clock_hour": "1"}
    assert read(vocabulary, findings, eye="left").findings["zonule_loss_quadrants"] == {"superior", "temporal"}
    assert read(vocabulary, findings, eye="right").findings["zonule_loss_quadrants"] == {"superior", "nasal"}


@pytest.mark.parametrize("age", ["17", "0", "9"])
def test_a_child_is_refused_with_where_to_go(vocabulary: Vocabulary, age: str) -> None:
    with pytest.raises(PlannerError, match="paediatric"):
        read(vocabulary, {"age_years": age})


def test_the_odd_is_kept_and_asked_about(vocabulary: Vocabulary) -> None:
    case = read(vocabulary, {"axial_length_mm": "33", "lens_shifts_with_posture": "yes", "phacodonesis": "no"})
    assert case.findings["axial_length_mm"] == 33
    assert {query.finding for query in case.queries} >= {"axial_length_mm"}
    assert case.doubted == {"phacodonesis": False}
    assert "phacodonesis" not in case.in_force, "read at its worse: as not recorded"


def test_free_text_stays_as_written(vocabulary: Vocabulary) -> None:
    assert read(vocabulary, {"biometry_reference": "<b>x</b> & 'y'"}).findings["biometry_reference"] == "<b>x</b> & 'y'"


def test_a_date_counts_for_what_is_recorded_to_it(vocabulary: Vocabulary) -> None:
    days = vocabulary.validity(["iop_mmhg", "lens_power_d", "age_years"])
    assert set(days) == {"iop_date", "biometry_date"} and all(number > 0 for number in days.values())
    assert vocabulary.validity(["age_years", "iop_date"]) == {}
    held = [finding for finding in vocabulary.findings if finding.valid_days]
    # Nothing published is claimed for them: until a consultant has said otherwise they are the unit's, and a draft.
    assert [(f.valid_basis and f.valid_basis.words) for f in held] == ["unit policy: not yet approved"] * 3
