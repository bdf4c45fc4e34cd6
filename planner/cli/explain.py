"""`planner explain`: why, why not, and what would change."""

from typing import TYPE_CHECKING, Annotated

import typer

from planner.cli.options import (
    JsonOption,
    OnOption,
    RulesOption,
    UnitOption,
    argument,
    day,
    group,
    present,
    rulebook_in,
    unit_in,
)
from planner.cli.rules.app import show
from planner.errors import PlannerError

if TYPE_CHECKING:
    from planner.case import Case
    from planner.plan.explanation import Explanation
    from planner.rulebook.rulebook import Rulebook
    from planner.vocabulary import Vocabulary

app = group("Ask why, why not, or what a finding would change.")
# A factor by itself, without a case; the same page as `planner rules show`.
app.command("factor")(show)
IdArgument = Annotated[str, argument("ID", "tier, or the id of a factor, choice.option, line, drill or caution.")]
CaseArgument = Annotated[str, argument("CASE", "A file of one case; - for standard input.")]


@app.command("why")
def why(name: IdArgument, case: CaseArgument, rules: RulesOption = None, json: JsonOption = False) -> None:
    """Say why a line holds for a case: its condition, each finding as recorded, the result and the basis.

    Example: planner explain why tense-white-lens case.yaml
    """
    _explain(name, case, rulebook_in(rules), json, in_the_way=False)


@app.command("why-not")
def why_not(name: IdArgument, case: CaseArgument, rules: RulesOption = None, json: JsonOption = False) -> None:
    """Say what keeps a line from holding: the findings in its way, and for an option what is prepared instead.

    Example: planner explain why-not tense-white-lens case.yaml
    """
    _explain(name, case, rulebook_in(rules), json, in_the_way=True)


@app.command("if")
def what_if(
    words: Annotated[list[str], argument("FINDING=VALUE... CASE", "What to record otherwise, then the case.")],
    unit: UnitOption = None,
    rules: RulesOption = None,
    on: OnOption = None,
    json: JsonOption = False,
) -> None:
    """Say what would change if findings were recorded otherwise; several may be given, and not-recorded takes one away.

    Example: planner explain if dilated_pupil_mm=6.5 case.yaml
    """
    from planner.assess.assess import assess
    from planner.compare.plan_differences import changes
    from planner.plan.make import make_plan

    *wanted, source = words
    if not wanted:
        raise typer.BadParameter("give at least one FINDING=VALUE before the case", param_hint="FINDING=VALUE")
    rulebook = rulebook_in(rules)
    ours = unit_in(unit, rulebook)
    case = _one_case(source, rulebook.vocabulary)
    changed = recorded_otherwise(case, wanted, rulebook.vocabulary)
    before, after = (make_plan(assess(each, rulebook, ours, day(on)), rulebook, ours) for each in (case, changed))
    differences = changes(before, after)
    entries = [
        {"what": change.what, "from": change.before, "to": change.after}
        | ({"gone": change.gone, "new": change.new} if change.gone or change.new else {})
        for change in differences
    ]
    lines = [f"{case.reference}, {case.eye.upper()} EYE, if {', '.join(wanted)}"]
    for change in differences:
        if change.gone or change.new:
            lines += [
                f"  {change.what}",
                *(f"    - {was}" for was in change.gone),
                *(f"    + {now}" for now in change.new),
            ]
        else:
            lines.append(f"  {change.what}: {change.before} -> {change.after}")
    data = {"case": case.reference, "eye": case.eye, "if": wanted, "changes": entries}
    present(json, lambda: data, lambda: "\n".join(lines if differences else [*lines, "  nothing changes"]))


def recorded_otherwise(case: "Case", wanted: list[str], vocabulary: "Vocabulary") -> "Case":
    """The case with `FINDING=VALUE` recorded, read anew so that contradictions show. Raises PlannerError."""
    from planner.case import read_case

    findings = {name: vocabulary.by_id[name].written(value) for name, value in case.findings.items()}
    for assignment in wanted:
        name, equals, value = assignment.partition("=")
        if not equals:
            raise PlannerError.one("is not FINDING=VALUE", assignment, hint="dilated_pupil_mm=6.5")
        findings[name.strip()] = value.strip()
    raw = {
        "case": case.reference,
        "patient": case.patient,
        "eye": case.eye,
        "planned_stage": case.planned_stage,
        "listed_on": case.listed_on,
        "recorded_on": case.recorded_on,
        "examined_by": case.examined_by,
        "findings": findings,
    }
    return read_case(raw, vocabulary, "if")


def _one_case(source: str, vocabulary: "Vocabulary") -> "Case":
    from planner.exchange.case_reader import SetAside, read_cases

    cases = read_cases(source, vocabulary)
    if cases.total != 1:
        raise PlannerError.one(f"holds {cases.total} cases", source, "one is explained at a time", "a file of one case")
    item = next(iter(cases))
    if isinstance(item, SetAside):
        raise PlannerError(item.faults)
    return item.case


def _explain(name: str, source: str, rulebook: "Rulebook", json: bool, in_the_way: bool) -> None:
    from dataclasses import asdict

    from planner.assess.assess import assess
    from planner.plan.explanation import Explainer

    case = _one_case(source, rulebook.vocabulary)
    found = Explainer(assess(case, rulebook), rulebook).explain(name, in_the_way)
    data = {"case": case.reference, "eye": case.eye, "explanations": [asdict(explanation) for explanation in found]}
    words = [f"{case.reference}, {case.eye.upper()} EYE", *map(_in_words, found)]
    present(json, lambda: data, lambda: "\n".join(words))


def _in_words(explanation: "Explanation") -> str:
    if explanation.kind == "tier":
        lines = [f"tier: {explanation.label}"]
    else:
        lines = [f"{explanation.kind} {explanation.id}: {explanation.label}"]
        lines += [f"  {explanation.state.replace('-', ' ')}", f"  when: {explanation.condition}"]
    for ground in explanation.grounds:
        lines.append(f"    {ground.asks}: {ground.recorded} -> {ground.state.replace('-', ' ')}")
    return "\n".join([*lines, *(f"  {note}" for note in explanation.notes)])
