"""For other programs: a case from a file or a mapping, its assessment, and its plan as PDF, HTML, text or JSON.

Nothing here is a final word: a plan counts once a consultant has approved it by name. Whatever the caller can put
right is a PlannerError that names every fault.
"""

from __future__ import annotations

import datetime
import os
from collections.abc import Mapping
from dataclasses import fields
from pathlib import Path
from typing import Any

from planner.assess.assess import assess
from planner.assess.assessment import Assessment, Readiness
from planner.batch.writing import write_whole
from planner.case import STAGES, Case, read_case
from planner.documents.json_form import assessment_json, plan_json
from planner.errors import PlannerError
from planner.exchange.case_reader import SetAside, read_cases
from planner.plan import make
from planner.plan.plan import Plan
from planner.rulebook.load import load, shipped
from planner.rulebook.rulebook import Rulebook
from planner.unit import Unit, read_unit

PathLike = str | os.PathLike[str]


class CaseAssessment(Assessment):
    """An assessment with its form for other programs."""

    def as_json(self) -> dict[str, Any]:
        """Plain data, the same as `planner assess --json`: fractions for probabilities, ISO dates, ranges unrounded."""
        return assessment_json(self)


class CasePlan(Plan):
    """A plan with its forms. What prints raises PlannerError where a page cannot be set."""

    @property
    def readiness(self) -> Readiness:
        """Ready, or what to settle first; kit that the unit lacks counts."""
        return self.assessment.readiness

    def as_json(self) -> dict[str, Any]:
        """Plain data, the same as `planner plan --format json`."""
        return plan_json(self)

    def pdf(self, path: PathLike | None = None) -> bytes:
        """The plan as a tagged PDF, the same bytes for the same plan; written to `path` whole or not at all."""
        from planner.documents.printing.pdf import render_pdf

        return _written(render_pdf(self), path)

    def html(self, path: PathLike | None = None) -> bytes:
        """The plan as one HTML page in UTF-8 that fetches nothing; written to `path` too where one is given."""
        from planner.documents.printing.html import render_html

        return _written(render_html(self).encode(), path)

    def text(self, width: int = 100) -> str:
        """The plan as text, no line longer than `width` characters where its words allow."""
        from planner.documents.plan.text import render_text

        return render_text(self, width)


def load_rulebook(folder: PathLike | None = None) -> Rulebook:
    """The rulebook of a folder, or the one that comes with the program. Raises PlannerError."""
    return shipped() if folder is None else load(Path(folder))


def load_case(source: PathLike | Mapping[str, Any], rulebook: Rulebook) -> Case:
    """One eye from a case file (YAML, JSON, a CSV of one row) or a mapping of the same shape. Raises PlannerError.

    In a mapping a value is written as in a file: text or a number, yes and no or true and false, a list for a set,
    None for what is not recorded.
    """
    if isinstance(source, Mapping):
        return read_case(dict(source), rulebook.vocabulary)
    cases = read_cases(os.fspath(source), rulebook.vocabulary)
    if cases.total != 1:
        hint = "give one case at a time, or use `planner assess`, which takes many"
        raise PlannerError.one(f"{cases.total} cases where one is wanted", os.fspath(source), hint=hint)
    (case,) = cases
    if isinstance(case, SetAside):
        raise PlannerError(case.faults)
    return case.case


def assess_case(
    case: Case, rulebook: Rulebook, unit: Unit | PathLike | None = None, on: datetime.date | None = None
) -> CaseAssessment:
    """Assess a case: both readings of its tier, points, probabilities, readiness, what is missing. Raises PlannerError.

    `unit` is a unit or its file; `on` the day it is for, by default that on which the case was recorded.
    """
    in_unit = _unit(unit, rulebook)
    made = make.ready_in(assess(case, rulebook, in_unit, on), rulebook, in_unit)
    return CaseAssessment(**_fields(made))


def make_plan(
    case: Case,
    rulebook: Rulebook,
    unit: Unit | PathLike | None = None,
    stage: str | None = None,
    on: datetime.date | None = None,
) -> CasePlan:
    """Plan a case for a trainee's stage, by default the case's own. Raises PlannerError."""
    if stage is not None and stage not in STAGES:
        raise PlannerError.one(f"{stage!r} is not a stage", hint=f"one of {', '.join(STAGES)}")
    in_unit = _unit(unit, rulebook)
    made = make.make_plan(assess(case, rulebook, in_unit, on), rulebook, in_unit, stage)
    return CasePlan(**_fields(made))


def _unit(unit: Unit | PathLike | None, rulebook: Rulebook) -> Unit | None:
    return unit if unit is None or isinstance(unit, Unit) else read_unit(Path(unit), rulebook)


def _fields(made: Assessment | Plan) -> dict[str, Any]:
    return {field.name: getattr(made, field.name) for field in fields(made)}


def _written(content: bytes, path: PathLike | None) -> bytes:
    if path is not None:
        write_whole(Path(path), content)
    return content
