"""`planner assess`: the tier, what decided it, what is missing and what could be put right."""

import typer

from planner.cli.options import (
    CaseArguments,
    JsonOption,
    OnOption,
    RulesOption,
    UnitOption,
    day,
    in_json,
    rulebook_in,
    unit_in,
)


def assess(
    cases: CaseArguments,
    unit: UnitOption = None,
    rules: RulesOption = None,
    on: OnOption = None,
    json: JsonOption = False,
) -> None:
    """Assess cases: tier, points, readiness, what is missing.

    With many cases --json prints one object a line, and rows that cannot be read are set aside in a file of their
    own in the working folder.

    Example: planner assess case.yaml --json
    """
    from pathlib import Path

    from planner.assess.assess import assess as assess_case
    from planner.batch.batch import Batch
    from planner.case import Case
    from planner.documents.assessment_text import summary
    from planner.documents.json_form import assessment_json
    from planner.plan.make import ready_in

    rulebook = rulebook_in(rules)
    ours = unit_in(unit, rulebook)
    batch = Batch(cases, rulebook.vocabulary)

    def make(case: Case) -> str:
        assessment = assess_case(case, rulebook, ours, day(on))
        # What the unit lacks is known only once the plan has said what it needs.
        assessment = ready_in(assessment, rulebook, ours)
        return in_json(assessment_json(assessment), many=batch.many) if json else summary(assessment, rulebook)

    batch.run(make, lambda _, text: typer.echo(text), Path())
