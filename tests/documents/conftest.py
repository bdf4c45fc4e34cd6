"""Real plans of the invented cases, each made once; documents are printed from them or from altered copies."""

from __future__ import annotations

import fcntl
import io
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from pypdf import PdfReader
from seeds import some_of

from planner.assess.assess import assess
from planner.documents.printing.pdf import render_pdf
from planner.exchange.case_reader import ReadCase, read_cases
from planner.plan.make import make_plan
from planner.plan.plan import Plan
from planner.rulebook.rulebook import Rulebook
from planner.unit import read_unit

DEMO = Path(__file__).parents[2] / "demo_cases"
NAMES = sorted(path.stem for path in (DEMO / "cases").glob("*.yaml"))
# Unlike in length, in what they hold and in what they lack; the others are printed with --long.
PRINTED = some_of(
    NAMES,
    "every-limit-left",
    "half-filled",
    "routine",
    "tense-white",
)
PlanOf = Callable[[str], Plan]
PdfOf = Callable[[str], bytes]
SheetsOf = Callable[[str], list[str]]


@pytest.fixture(scope="session")
def plan_of(rulebook: Rulebook) -> PlanOf:
    unit = read_unit(DEMO / "unit.yaml", rulebook)

    @cache
    def made(name: str) -> Plan:
        (read,) = read_cases(str(DEMO / "cases" / f"{name}.yaml"), rulebook.vocabulary)
        assert isinstance(read, ReadCase), read
        return make_plan(assess(read.case, rulebook, unit, None), rulebook, unit)

    return made


@pytest.fixture(params=NAMES)
def plan(request: pytest.FixtureRequest, plan_of: PlanOf) -> Plan:
    return plan_of(request.param)


@pytest.fixture(scope="session")
def shelf(tmp_path_factory: pytest.TempPathFactory, worker_id: str, testrun_uid: str) -> Path:
    """A folder that all workers of this run share."""
    own = tmp_path_factory.getbasetemp()
    folder = own / "shelf" if worker_id == "master" else own.parent / f"shelf-{testrun_uid}"
    folder.mkdir(exist_ok=True)
    return folder


@pytest.fixture(scope="session")
def pdf_of(plan_of: PlanOf, shelf: Path) -> PdfOf:
    """The printed plan of a case. Setting one takes seconds, so whoever needs it first sets it for all workers."""

    @cache
    def taken(name: str) -> bytes:
        with (shelf / f"{name}.pdf").open("a+b") as kept:
            fcntl.flock(kept, fcntl.LOCK_EX)  # whoever comes second waits for the first, and reads
            kept.seek(0)
            pdf = kept.read()
            if not pdf:
                pdf = render_pdf(plan_of(name))
                kept.write(pdf)
        return pdf

    return taken


@pytest.fixture(scope="session")
def sheets_of(pdf_of: PdfOf) -> SheetsOf:
    """What stands on each side of the printed plan, without white space."""
    return cache(lambda name: [squeezed(sheet.extract_text()) for sheet in read(pdf_of(name)).pages])


def read(pdf: bytes) -> PdfReader:
    return PdfReader(io.BytesIO(pdf))


def squeezed(text: str) -> str:
    """Text without any white space, so that where a line was broken does not matter."""
    return "".join(text.split())


def with_case(plan: Plan, **changes: object) -> Plan:
    """The same plan for a case recorded otherwise; what was assessed stays as it was."""
    case = replace(plan.assessment.case, **changes)  # type: ignore[arg-type]
    return replace(plan, assessment=replace(plan.assessment, case=case))


def with_findings(plan: Plan, eye: str = "right", **findings: object) -> Plan:
    """The plan's case with these findings and no others."""
    return with_case(plan, eye=eye, findings=findings, doubted={})
