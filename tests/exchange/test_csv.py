"""CSV as spreadsheets export it: read, or refused with row and column named."""

from __future__ import annotations

from pathlib import Path

import pytest

from planner.case import Case
from planner.errors import PlannerError
from planner.exchange.case_reader import ReadCase, SetAside, once_each, read_cases
from planner.rulebook.rulebook import Rulebook


class Reader:
    def __init__(self, folder: Path, rulebook: Rulebook) -> None:
        self.folder = folder
        self.vocabulary = rulebook.vocabulary

    def items(self, content: str | bytes, name: str = "list.csv") -> list[ReadCase | SetAside]:
        path = self.folder / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return list(read_cases(str(path), self.vocabulary))

    def cases(self, content: str | bytes, name: str = "list.csv") -> list[Case]:
        items = self.items(content, name)
        assert all(isinstance(item, ReadCase) for item in items), [getattr(item, "why", "") for item in items]
        return [item.case for item in items if isinstance(item, ReadCase)]

    def refusal(self, content: str | bytes, name: str = "list.csv") -> str:
        with pytest.raises(PlannerError) as refused:
            self.items(content, name)
        return str(refused.value).replace(f"{self.folder}/", "")

    def set_aside(self, content: str) -> list[str]:
        whys = [item.why for item in self.items(content) if isinstance(item, SetAside)]
        return [why.replace(f"{self.folder}/", "") for why in whys]


@pytest.fixture
def reader(tmp_path: Path, rulebook: Rulebook) -> Reader:
    return Reader(tmp_path, rulebook)


PLAIN = "case,eye,age_years,dilated_pupil_mm\nA,right,71,5.5\nB,left,80,6\n"
EXPORTS = {
    "as it is": PLAIN.encode(),
    "with a byte order mark": b"\xef\xbb\xbf" + PLAIN.encode(),
    "as UTF-16": PLAIN.encode("utf-16"),
    "as UTF-16, the other way round": "\ufeff".encode("utf-16-be") + PLAIN.encode("utf-16-be"),
    "semicolons": PLAIN.replace(",", ";").encode(),
    "tabs": PLAIN.replace(",", "\t").encode(),
    "semicolons and decimal commas": PLAIN.replace(",", ";").replace(".", ",").encode(),
    "commas and a quoted decimal comma": PLAIN.replace("5.5", '"5,5"').encode(),
    "every cell quoted": ("\n".join('"' + line.replace(",", '","') + '"' for line in PLAIN.split()) + "\n").encode(),
    "a line that names the separator": ("sep=;\r\n" + PLAIN.replace(",", ";")).encode(),
    "Windows line ends": PLAIN.replace("\n", "\r\n").encode(),
    "old line ends": PLAIN.replace("\n", "\r").encode(),
    "no last line end": PLAIN.rstrip("\n").encode(),
    "blank lines": ("\n\n" + PLAIN.replace("\n", "\n\n") + "\n\n").encode(),
    "rows of empty cells": PLAIN.replace("B,", ",,,\nB,").encode(),
    "blanks round the cells": PLAIN.replace(",", " , ").encode(),
    "an empty column without a name": PLAIN.replace("\n", ",\n").encode(),
}


@pytest.mark.parametrize("content", EXPORTS.values(), ids=list(EXPORTS))
def test_every_export_of_a_table_reads_the_same(reader: Reader, content: bytes) -> None:
    cases = reader.cases(content)
    assert [(case.reference, case.eye, case.findings) for case in cases] == [
        ("A", "right", {"age_years": 71.0, "dilated_pupil_mm": 5.5}),
        ("B", "left", {"age_years": 80.0, "dilated_pupil_mm": 6.0}),
    ]


def test_an_ending_is_not_needed(reader: Reader) -> None:
    assert [case.reference for case in reader.cases(PLAIN, "list")] == ["A", "B"]
    assert [case.reference for case in reader.cases(PLAIN.replace(",", "\t"), "list.tsv")] == ["A", "B"]


def test_all_headings_and_sets_are_read(reader: Reader) -> None:
    header = "case,patient,eye,planned_stage,listed_on,recorded_on,none_found_in,examined_by,alpha_blocker_ever,"
    header += "phacodonesis\n"
    row = "A-1,P-1,right,middle,2026-10-20,2026-11-02,outer-eye+pupil-and-zonule,trainee-3,tamsulosin+other,\n"
    (case,) = reader.cases(header + row)
    assert (case.patient, case.planned_stage, case.examined_by) == ("P-1", "middle", "trainee-3")
    assert (str(case.listed_on), str(case.recorded_on)) == ("2026-10-20", "2026-11-02")
    assert case.none_found_in == ("outer-eye", "pupil-and-zonule")
    assert case.findings["alpha_blocker_ever"] == frozenset({"tamsulosin", "other"})
    assert case.findings["phacodonesis"] is False, "an empty cell is left out, and its section was looked through"


def test_none_is_a_value_and_an_empty_cell_is_not_recorded(reader: Reader) -> None:
    cases = reader.cases(
        "case,eye,fundus_view,anticoagulant,glaucoma\nA,right,none,none,none\nB,right,,,not-recorded\n"
    )
    assert cases[0].findings == {"fundus_view": "none", "anticoagulant": frozenset(), "glaucoma": "none"}
    assert cases[1].findings == {}


def test_what_a_spreadsheet_makes_of_true_is_yes(reader: Reader) -> None:
    (case,) = reader.cases("case,eye,can_lie_flat,keeps_still\nA,right,TRUE,FALSE\n")
    assert case.findings == {"can_lie_flat": True, "keeps_still": False}


ROWS = {
    "a value outside its range": (
        "case,eye,axial_length_mm\nA,left,23\n\nB,left,235\n",
        "list.csv row 4, column axial_length_mm: ",
        "outside the possible range",
    ),
    "no side": ("case,eye\nA,\n", "list.csv row 2, column eye: the eye is missing"),
    "both sides": ("case,eye\nA,both\n", "list.csv row 2, column eye: both eyes in one case"),
    "no reference": ("case,eye\n,left\n", "list.csv row 2: `case` is missing"),
    "a decimal comma that splits": (
        "case,eye,dilated_pupil_mm,age_years\nA,left,5,5,71\n",
        "list.csv row 2, column dilated_pupil_mm: more cells than headers",
        'write 2.3, or "2,3" in quotes',
    ),
    "a decimal comma that splits before an empty cell": (
        "case,eye,dilated_pupil_mm,age_years\nA,left,5,5,\n",
        "list.csv row 2, column dilated_pupil_mm: more cells than headers",
    ),
    "a cell too many": ("case;eye\nA;left;x\n", "list.csv row 2, column 3: more cells than headers; 'x' is left over"),
    "a cell too few": ("case,eye,age_years,sex\nA,left,71\n", "list.csv row 2, column sex: 3 cells for 4 headers"),
    "a value under no header": ("case,eye,\nA,left,x\n", "list.csv row 2, column 3: 'x' stands under no header"),
    "a decimal comma in a count": (
        "case;eye;intravitreal_injections\nA;left;2,5\n",
        "column intravitreal_injections: ",
    ),
    "a spreadsheet's error": ("case,eye,iop_mmhg\nA,left,#REF!\n", "list.csv row 2, column iop_mmhg: "),
    "a day as a spreadsheet shows it": ("case,eye,inr_date\nA,left,02/11/2026\n", "column inr_date: ", "YYYY-MM-DD"),
    "an unknown section": (
        "case,eye,none_found_in\nA,left,hstory\n",
        "list.csv row 2, column none_found_in: no section",
    ),
}


@pytest.mark.parametrize("content, words", [(c, w) for c, *w in ROWS.values()], ids=list(ROWS))
def test_a_bad_row_is_set_aside_with_row_and_column(reader: Reader, content: str, words: list[str]) -> None:
    (why,) = reader.set_aside(content)
    assert all(word in why for word in words), why


def test_the_good_rows_go_on(reader: Reader) -> None:
    items = reader.items("case,eye,iop_mmhg\nA,left,15\nB,left,1500\nC,left,16\n")
    assert [type(item) for item in items] == [ReadCase, SetAside, ReadCase]


def test_a_row_number_is_the_line_of_the_file(reader: Reader) -> None:
    content = 'case,eye,biometry_reference\n\n"A",left,"two\nlines"\nB,both,\n'
    assert [why.split(":")[0] for why in reader.set_aside(content)] == [
        "list.csv row 3, column biometry_reference",
        "list.csv row 5, column eye",
    ]


def test_trailing_empty_cells_may_be_left_out_where_a_comma_cannot_split(reader: Reader) -> None:
    cases = reader.cases("case;eye;age_years;sex\nA;left;71\n")
    assert cases[0].findings == {"age_years": 71.0}


HEADERS = {
    "a stray column": ("case,eye,age_yeers\nA,left,71\n", "row 1, column age_yeers: ", "did you mean age_years?"),
    "a stray column like nothing": ("case,eye,Notes\nA,left,x\n", "row 1, column Notes: ", "is lost if the column"),
    "a heading in capitals": ("Case,eye\nA,left\n", "row 1, column Case: ", "did you mean case?"),
    "a column twice": ("case,eye,sex,sex\nA,left,male,female\n", "row 1, column sex: the column stands twice"),
    "no case column": ("patient,eye\nP,left\n", "row 1: there is no column `case`"),
    "no eye column": ("case,sex\nA,male\n", "row 1: there is no column `eye`"),
    "findings as a column": ("case,eye,findings\nA,left,x\n", "row 1, column findings: no finding has this name"),
    "a header alone": ("case,eye\n\n", "has a header and no rows"),
    "separators alone": (";;;\n;;\n", "has no header line"),
    "an open quote": ('case,eye\nA,left\nB,"left\nC,left\n', "list.csv row 3: ", "does not end"),
    "text after a quote": ('case,eye\n"A"x,left\n', "list.csv row 2: "),
    "a cell without end": ("case,eye\nA," + "x" * 200_000 + "\n", "list.csv row 2: ", "does not end"),
}


@pytest.mark.parametrize("content, words", [(c, w) for c, *w in HEADERS.values()], ids=list(HEADERS))
def test_a_table_that_cannot_be_trusted_is_refused(reader: Reader, content: str, words: list[str]) -> None:
    refusal = reader.refusal(content)
    assert all(word in refusal for word in words), refusal


def test_every_fault_of_a_header_is_told(reader: Reader) -> None:
    assert len(reader.refusal("eye,sx,sex,sex,zz\nleft,,,,\n").splitlines()) == 4


def test_a_second_row_for_one_eye_is_set_aside(reader: Reader) -> None:
    items = list(once_each(iter(reader.items("case,eye\nA,left\nA,right\nA,left\n"))))
    assert [type(item) for item in items] == [ReadCase, ReadCase, SetAside]
    assert isinstance(items[2], SetAside)
    assert "row 4" in items[2].why and "first at" in items[2].why and "row 2" in items[2].why


def test_a_large_table_is_read_row_by_row(reader: Reader) -> None:
    header = "case,eye,age_years\n"
    rows = "".join(f"A-{number},left,71\n" for number in range(20_000))
    assert len(reader.cases(header + rows)) == 20_000
