"""A case's truths as it is planned: over all that is open, on record, and with one unknown turned out otherwise."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from planner.assess.assess import Assessor
from planner.assess.compiled import EyeTruths, Truths, Values
from planner.case import Case
from planner.plan.plan import PlannedChoice
from planner.rulebook.shapes import STEP_IDS
from planner.truth import Truth

SIGN_IN = "sign-in"


@dataclass(frozen=True, eq=False)
class EyeVariant:
    """The eye on record with one unknown finding, by its place, at another value: what then holds and wins."""

    place: int
    value: Any
    eye: EyeTruths


class Picture:
    """A case as recorded (`values`) and as its plain eye (`plain`), which serves where enough `is_on_record`."""

    def __init__(self, assessor: Assessor, case: Case) -> None:
        self.assessor = assessor
        self.rulebook = assessor.rulebook
        self.case = case
        made = assessor.compiled
        findings = assessor.rulebook.vocabulary.findings
        self.recorded: Values = case.values(assessor.rulebook.vocabulary)
        # A preference left blank is planned as the plain one. Only drugs ask what was really recorded.
        self.values: Values = [
            f.plain_value if value is None and f.preference else value
            for f, value in zip(findings, self.recorded, strict=True)
        ]
        self.known = EyeTruths(made, self.values)
        self.plain = assessor.plain_eye(self.values)
        self.is_on_record = self.plain is not None and assessor.is_enough(case)
        self.plain_eye = self.known if self.plain is None else EyeTruths(made, self.plain)
        self.names = assessor.tracer.names

    def truth(self, name: str) -> Truth:
        """Whether a named condition holds, as far as is known."""
        return self.known.truth(name)

    def on_record(self, name: str) -> Truth:
        """Whether it holds of the eye on record; as far as is known where there is none."""
        return self.plain_eye.truth(name)

    def bars(self, name: str) -> Truth:
        """Whether a bar to a drug holds, blank preferences taken as unknown."""
        return self.recorded_eye.truth(name)

    def as_planned(self, choices: Mapping[str, PlannedChoice]) -> None:
        """Take what is written as planned, what is still possible as unknown, and everything else as not planned."""
        made = self.assessor.compiled
        options, written = list(self.known.options), list(self.known.options)
        for chosen in choices.values():
            name = f"option:{chosen.choice}.{chosen.option}"
            options[made.option_place[name]] = written[made.option_place[name]] = True
            for other in chosen.rejected:
                place = made.option_place[f"option:{chosen.choice}.{other.option}"]
                options[place] = None if other.possible else False
                written[place] = False
        self.known = self.known.with_options(tuple(options))
        self.written: Truths = tuple(written)
        self.recorded_eye = EyeTruths(made, self.recorded, options=self.written)
        self.plain_eye = self.known if self.plain is None else self.plain_eye.with_options(self.written)

    @cached_property
    def variants_as_written(self) -> tuple[EyeTruths, ...]:
        """Each of the variants with the options as written, not as they would then be."""
        return tuple(variant.eye.with_options(self.written) for variant in self.variants)

    @cached_property
    def variants(self) -> tuple[EyeVariant, ...]:
        """The eye on record with each open finding at each value that the rulebook tells apart from its plain one."""
        variants: list[EyeVariant] = []
        if self.plain is None:
            return ()
        made, completions = self.assessor.compiled, self.assessor.completions
        for place in made.by_depth:
            if place not in made.planned_by or self.values[place] is not None or self.plain[place] is None:
                continue
            for cell in made.cells[place]:
                trial = self.values.copy()
                trial[place] = cell
                completed = completions.plain(trial)
                if completed is not None:
                    variants.append(EyeVariant(place, cell, EyeTruths(made, completed)))
        return tuple(variants)

    def is_hidden(self, place: int) -> bool:
        """Whether something in the eye on record keeps a finding from being seen."""
        hidden = self.assessor.compiled.hidden_tests.get(place)
        return hidden is not None and self.plain is not None and hidden(self.plain) is True

    def is_accepted(self, place: int) -> bool:
        """Whether the technique is written without a finding that is hidden in this eye."""
        return self.rulebook.vocabulary.findings[place].accepted_hidden and self.is_hidden(place)

    def is_seen_before(self, place: int, step: str) -> bool:
        """Whether a finding can still be asked or looked for in theatre before a step, as the eye is on record."""
        finding = self.rulebook.vocabulary.findings[place]
        if finding.seen_at is None or self.is_hidden(place):
            return False
        order: tuple[str, ...] = (SIGN_IN, *STEP_IDS)
        return order.index(finding.seen_at) <= order.index(step)
