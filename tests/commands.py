"""What tests of the command share: a routine case as a file, what a run gave, and the files it left."""

from __future__ import annotations

import io
import sys
from pathlib import Path
from typing import NamedTuple

import pytest

from planner.cli import main

CASE = "case: A-1\neye: right\nplanned_stage: middle\nrecorded_on: 2026-11-02\n" + (
    "none_found_in: [patient, allergies, history, outer-eye, pupil-and-zonule, lens]\nfindings:\n"
)
# Recorded in full, so that an assessment is quick and its tier is settled.
FINDINGS = {
    "age_years": "71",
    "sex": "female",
    "consent_to_surgery": "yes",
    "trainee_involvement_agreed": "yes",
    "iop_mmhg": "15",
    "iop_date": "2026-11-02",
    "anterior_chamber_depth_mm": "3.1",
    "axial_length_mm": "23.4",
    "lens_thickness_mm": "4.5",
    "dilated_pupil_mm": "7",
    "opacity": "partial",
    "nuclear_opalescence_locs3": "3",
    "red_reflex": "good",
    "fundus_view": "clear",
    "endothelial_cells_per_mm2": "2400",
    "visual_acuity_logmar": "0.5",
    "spherical_equivalent_d": "0.5",
    "vitreous_in_chamber": "no",
    "posterior_staphyloma": "no",
    "lens_power_d": "21.5",
    "backup_lens_power_d": "20.5",
    "biometry_reference": "B-1",
    "biometry_date": "2026-10-20",
    "relative_afferent_pupillary_defect": "no",
}


def case_text(**changed: str) -> str:
    """A routine case as YAML, some findings recorded otherwise."""
    return CASE + "".join(f"  {name}: {value}\n" for name, value in (FINDINGS | changed).items())


def table(*rows: dict[str, str], separator: str = ",") -> str:
    """A CSV table of routine cases; each row gives `case`, `eye` and what is recorded otherwise."""
    sections = "patient+allergies+history+outer-eye+pupil-and-zonule+lens"
    lines = [{"eye": "right", "none_found_in": sections, "recorded_on": "2026-11-02"} | FINDINGS | row for row in rows]
    columns = list(dict.fromkeys(column for line in lines for column in line))
    text = separator.join(columns) + "\n"
    return text + "".join(separator.join(line.get(column, "") for column in columns) + "\n" for line in lines)


class Ran(NamedTuple):
    code: int
    out: str
    err: str

    @property
    def error(self) -> str:
        """The one error message, its lines joined; fails when there is none, or more than one, or a traceback."""
        assert self.code == 1, (self.code, self.err)
        assert "Traceback" not in self.err
        assert self.err.count("error:") == 1, self.err
        return self.err[self.err.index("error:") :].rstrip("\n")


def in_process(*arguments: object, folder: Path | None = None, stdin: bytes = b"") -> Ran:
    """Run `planner ARGUMENTS` in this process, with what it has read and imported before; in `folder` if one is named.

    A process of its own takes a second to start; tests of what only a process shows start one themselves.
    """
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8", write_through=True) for _ in range(2))
    streams = {"stdin": io.TextIOWrapper(io.BytesIO(stdin), encoding="utf-8"), "stdout": out, "stderr": err}
    with pytest.MonkeyPatch.context() as patch, pytest.raises(SystemExit) as ended:
        patch.chdir(folder or Path.cwd())
        for name, value in {"argv": ["planner", *map(str, arguments)], **streams}.items():
            patch.setattr(sys, name, value)
        main()
    told, faults = (stream.buffer.getvalue().decode("utf-8") for stream in (out, err))  # type: ignore[attr-defined]
    return Ran(int(ended.value.code or 0), told, faults)


def files(folder: Path) -> set[str]:
    """Every file below a folder, hidden ones too."""
    return {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}
