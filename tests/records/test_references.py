"""References, not names: what says who the patient is is refused, what the trade writes every day is not."""

from __future__ import annotations

from pathlib import Path

import pytest

from planner import strict_yaml
from planner.records.identifiers import document_faults, free_text_fault, is_health_number, reference_fault

ROOT = Path(__file__).parents[2]
DEMO = sorted((ROOT / "demo_cases" / "cases").glob("*.yaml"))


@pytest.mark.parametrize(
    ("number", "valid"),
    [
        # 943 476 5919 and 401 023 2137 are the examples of the National Health Service's data dictionary, "NHS
        # Number" (from memory); ranges that begin with 999 are set apart there for tests.
        ("9434765919", True),
        ("943 476 5919", True),
        ("4010232137", True),
        ("999-000-0018", True),
        ("9434765918", False),
        ("9434765910", False),
        ("0000000000", False),
        ("943476591", False),
    ],
)
def test_the_check_digit_of_a_health_service_number(number: str, valid: bool) -> None:
    assert is_health_number(number) is valid


def test_the_check_digit_by_another_way() -> None:
    """With the check digit at weight 1 the sum of all ten is divisible by 11: the same rule, written otherwise."""
    for body in range(100_000_000, 1_000_000_000, 7_654_321):
        digits = [int(letter) for letter in f"{body:09}"]
        valid = {
            last
            for last in range(10)
            if sum(d * w for d, w in zip([*digits, last], range(10, 0, -1), strict=True)) % 11 == 0
        }
        assert {last for last in range(10) if is_health_number(f"{body:09}{last}")} == valid


@pytest.mark.parametrize(
    "text",
    [
        *("John Smith", "Smith, John", "SMITH, John", "Mrs Patel", "Dr. Ash", "seen with J. Smith", "Mr O'Neill"),
        *("Ask Jane Doe first", "Mary-Anne Jones-Smith", "José García", "McDonald, Ian", "the son, Will Smith, waits"),
        *("born 03/04/1951", "3.4.1951", "03/04/51", "4 March 1951", "4th mar 1951", "1951-03-04", "12/11/2026"),
        *("943 476 5919", "number 9434765919.", "NHS number 12345678", "hospital no: H1234567", "MRN 0012345"),
        *("bell \a", "\x00", "\ud800"),
    ],
)
def test_what_says_who_it_is_is_refused_with_what_to_write_instead(text: str) -> None:
    fault = free_text_fault(text, "note")
    assert fault is not None and fault.hint
    for part in text.split():
        if len(part) > 3 and part[0].isupper():
            assert part.strip(",.") not in str(fault), "the message does not repeat a name"


@pytest.mark.parametrize(
    "text",
    [
        *("A-104", "H-101", "P-0381", "B-2102", "B-1", "trainee-3", "biometry of 2026-10-20, reference B-2102"),
        *(
            "2026-11-02",
            "is the pupil small?",
            "Is the pupil small? Dye planned.",
            "INR 2.3 on Monday, again on Friday",
        ),
        *(
            "On Tuesday",
            "The Saturday list",
            "LOCS III grade 4",
            "AC depth 2.3 mm, ACD by IOLM",
            "Left eye first. Then right.",
        ),
        *("OVD before the dye", "IOP 24 mmHg at 07:10", "3/4 clock hours", "6/12 unaided, 6/9 with pinhole", "1.5/2"),
        *(
            "extension 0123 456 788",
            "21.5 D, back-up 20.5 D",
            "Trypan blue under air",
            "22/7",
            "tier 3; pause at hydro",
        ),
        *("123 456 7890", "lens 1234567890 of the box", "", "two\nlines", "10-0 nylon", "0.12 and 3.4 mm"),
    ],
)
def test_what_the_trade_writes_is_kept(text: str) -> None:
    assert free_text_fault(text, "note") is None, free_text_fault(text, "note")


@pytest.mark.parametrize("text", ["A-104", "H-101", "P-0381", "B 2102", "2026/0042", "7", "eye_12.b"])
def test_references_are_kept(text: str) -> None:
    assert reference_fault(text, "case") is None


@pytest.mark.parametrize(
    "text", ["Smith", "smith", "J Smith 2", "Smith J 2", "-1", "A–1", "9434765919", "John Smith 3", "<b>1</b>"]
)
def test_what_is_no_reference_is_refused(text: str) -> None:
    assert reference_fault(text, "case") is not None


def test_every_text_of_a_case_is_looked_at() -> None:
    clean = {"case": "A-1", "eye": "left", "findings": {"inr_date": "2026-11-02"}}
    assert document_faults(clean) == []
    for dirty in (
        {"case": "Smith"},
        {"patient": "John Smith"},
        {"examined_by": "Mr Jones"},
        {"none_found_in": ["John Smith"]},
        {"findings": {"biometry_reference": "9434765919"}},
        {"findings": {"alpha_blocker_ever": ["other", "John Smith"]}},
    ):
        assert len(document_faults(clean | dirty)) == 1, dirty


@pytest.mark.parametrize("path", DEMO, ids=lambda path: path.stem)
def test_no_demonstration_case_is_taken_for_a_person(path: Path) -> None:
    assert document_faults(strict_yaml.read(path.read_text(), path.name).data) == []
