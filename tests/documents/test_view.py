"""The view: what is said of the risk, who is marked, and that every format says all of it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from html import unescape

from planner.assess.assessment import NotCounted
from planner.documents.plan.text import render_text
from planner.documents.plan.view import PlanView
from planner.documents.printing.html import render_html
from planner.plan.plan import Plan

from .conftest import PlanOf, squeezed

_TAG = re.compile(r"<[^>]*>")
_CITED = re.compile(r"\[(\d+)\]")


def texts_that_must_print(plan: Plan) -> Iterator[str]:
    """What a theatre team must not lose: every line to do, to watch, to pause at, to check, to withhold."""
    for step in plan.steps:
        yield from (step.label, *step.watch, *(part for pause in step.pause_if for part in (pause.if_, pause.then)))
        yield from (step.headline, *(line for line in step.do if line not in prepared(plan)))
    for reason in plan.assessment.readiness.because:
        # Reasons that one person settles alike may stand together, each finding by its name.
        yield from (*(reason.findings or (reason.because[1:],)), reason.settled_by)
    for missing in plan.assessment.missing:
        yield missing.label
    for look in plan.assessment.looks:
        yield from (look.label, look.who, f"{look.minutes} min")
    for gate in (gate for step in plan.steps for gate in step.gates):
        yield gate.label
        # What only several findings together would bring stands among what is still possible, without them.
        if gate.option is None or gate.once_clear or not gate.together or len(gate.findings) == 1:
            yield from (*gate.named, "" if gate.once_clear else gate.before or "")
    for drill in plan.drills:
        yield from (drill.label, drill.stop_first, *(drill.steps if drill.likely else ()))
    for drug in plan.drugs:
        yield from (drug.label, drug.dose, *drug.reasons, *drug.instead, *drug.contraindications, *drug.check)
    for item in plan.kit:
        yield from (item.label, item.note if item.lacking else "")
    # What only may hold is told once, by its gate or its drug; as a caution where nothing more can be said.
    for caution in plan.cautions:
        yield caution.text if caution.certain or plan.assessment.tier.on_record is None else ""
    for ask, worse in plan.recheck:
        yield from (ask, worse)
    for rule in plan.rules:
        yield from (rule.text, rule.instead or "", rule.hazard or "")
    yield from (words[1:] for words in prepared(plan))
    yield from (plan.recheck_then, plan.supervision.take_over_words, plan.range_note, plan.score_note, *plan.deferral)
    yield from (plan.assessment.case.reference, plan.draft_line or "", plan.formulary_note, plan.lens.captured)


def prepared(plan: Plan) -> list[str]:
    written = plan.assessment.tier.on_record is not None
    return [choice.prepared_as for choice in plan.choices.values() if written and choice.prepared_as]


def test_every_format_says_all_of_it(plan: Plan) -> None:
    html = render_html(plan)
    forms = {
        "html": squeezed(unescape(_TAG.sub(" ", html.split("<body>")[1]))),
        "text": squeezed(render_text(plan)),
    }
    for name, printed in forms.items():
        # Both set a pause as what to see and what then, so each half is looked for by itself.
        lost = [text for text in texts_that_must_print(plan) if squeezed(text).casefold() not in printed.casefold()]
        assert not lost, (name, lost)


def test_a_caution_that_only_may_hold_prints_where_no_technique_is_written(plan_of: PlanOf) -> None:
    shown, bare = plan_of("tamsulosin-letter"), plan_of("half-filled")
    assert shown.assessment.tier.on_record is not None and bare.assessment.tier.on_record is None
    for plan in (shown, bare):
        assert any(caution.certain for caution in plan.cautions) or plan is bare
        assert any(not caution.certain for caution in plan.cautions)
    assert all(each.certain for each in PlanView(shown).cautions)
    assert len(PlanView(bare).cautions) == len(bare.cautions)


def test_where_too_little_is_recorded_no_technique_is_written(plan_of: PlanOf) -> None:
    plan = plan_of("half-filled")
    written = {choice.label for choice in plan.choices.values()} - {"Ultrasound", "Povidone-iodine"}
    for printed in (render_html(plan), render_text(plan)):
        body = unescape(_TAG.sub(" ", printed.partition("<body>")[2] or printed))
        # Once above the steps of each sheet: the theatre sheet and the preparation are one page here.
        assert body.count(PlanView(plan).not_written) == (2 if "<body>" in printed else 1)
        assert "Planned opening" not in body and "Main incision" not in body
        steps = body.partition("step by step")[2].lower().partition("take-over")[0]
        assert not [label for label in written if label.lower() in steps]
    assert not PlanView(plan_of("routine")).not_written


def test_a_model_blind_to_something_found_says_at_least(plan_of: PlanOf) -> None:
    plan = plan_of("routine")
    assert not plan.assessment.probability.not_counted
    assert not PlanView(plan).risk.uncounted
    assert all("at least" not in row.words for row in PlanView(plan).risk.rows)

    blind = (NotCounted("a", "Polar opacity", True, ()), NotCounted("b", "IFIS risk", False, ()))
    probability = replace(plan.assessment.probability, not_counted=blind)
    shown = PlanView(replace(plan, assessment=replace(plan.assessment, probability=probability))).risk
    assert shown.uncounted == (
        "At least these figures: this model does not count polar opacity; "
        "nor what is not recorded and may be found: IFIS risk."
    )
    assert all(row.words.startswith("at least ") and row.open_ended for row in shown.rows)


def test_risk_rows_stand_where_their_numbers_say(plan: Plan) -> None:
    risk = PlanView(plan).risk
    operators = list(plan.assessment.probability.by_operator.values())
    assert [row.operator.lower() for row in risk.rows] == [operator.operator for operator in operators]
    assert [row.operator.lower() for row in risk.rows if row.planned] in ([plan.supervision.stage], [])
    ticks = {tick.label: tick.at for tick in risk.ticks}
    assert (ticks["0.1 %"], ticks["100 %"]) == (0, 1)
    for row, operator in zip(risk.rows, operators, strict=True):
        assert 0 <= row.start < row.end
        assert (row.start > ticks["1 %"]) == (operator.least > 0.01)
        assert (row.start > ticks["10 %"]) == (operator.least > 0.1)


def test_every_number_in_brackets_is_in_the_list_and_every_source_is_cited(plan: Plan) -> None:
    shown = PlanView(plan)
    listed = {source.number for source in shown.sources}
    body, _, sources = render_text(plan).partition("\nSOURCES\n")
    assert {int(number) for number in _CITED.findall(sources)} == listed
    assert {int(number) for number in _CITED.findall(body)} <= listed
    assert "published:" not in body


def test_settle_first_names_who_settles_it(plan_of: PlanOf) -> None:
    plan = plan_of("phacomorphic-attack")
    shown = PlanView(plan)
    assert (shown.is_ready, shown.headline) == (False, "Settle first")
    assert shown.to_settle and all(reason.settled_by for reason in shown.to_settle)
    assert PlanView(plan_of("routine")).headline == "Ready"


def test_what_must_not_be_given_is_read_first(plan_of: PlanOf) -> None:
    states = [drug.state for drug in PlanView(plan_of("phacomorphic-attack")).drugs]
    assert states[0] == "withheld"
    assert states == sorted(states, key=["withheld", "not-until-checked", "as-prescribed"].index)
