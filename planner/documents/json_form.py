"""Assessments and plans as plain data for JSON: ids as keys, plain numbers, ISO dates, fractions for probabilities."""

from __future__ import annotations

import datetime
from dataclasses import asdict
from typing import Any

from planner.assess.assessment import Assessment, FactorState, Probability, PublishedScore, Range
from planner.case import Case
from planner.plan.plan import Gate, Plan


def assessment_json(assessment: Assessment) -> dict[str, Any]:
    """An assessment as JSON-ready data; unknowns stay ranges, nothing is rounded."""
    case = assessment.case
    return {
        "case": case.reference,
        "eye": case.eye,
        "on": _day(assessment.on),
        "rulebook": asdict(assessment.rulebook),
        "recorded": _case(case),
        "points": _range(assessment.points),
        "tier": _plain(asdict(assessment.tier)),
        "probability": _probability(assessment.probability),
        "published_scores": {score.id: _score(score) for score in assessment.published_scores},
        "factors": [_factor(state) for state in assessment.factors],
        "readiness": {
            "state": assessment.readiness.state,
            "because": [reason.because for reason in assessment.readiness.because],
            "reasons": [asdict(reason) for reason in assessment.readiness.because],
        },
        "missing": [asdict(missing) for missing in assessment.missing],
        "looks": [_plain(asdict(look)) for look in assessment.looks],
        "smallest_set": list(assessment.smallest_set),
        "levers": [asdict(lever) for lever in assessment.levers],
        "queries": list(assessment.queries),
        "notes": list(assessment.notes),
    }


def plan_json(plan: Plan) -> dict[str, Any]:
    """A plan as JSON-ready data: the assessment, then every part of the printed plan."""
    data: dict[str, Any] = _plain(asdict(plan))
    return {
        "assessment": assessment_json(plan.assessment),
        "title": plan.title,
        "unit": plan.unit,
        "draft_line": plan.draft_line,
        "supervision": data["supervision"],
        "choices": {
            name: {**data["choices"][name], "if_found": _gates(chosen.if_found)}
            for name, chosen in plan.choices.items()
        },
        "steps": [{**told, "gates": _gates(step.gates)} for told, step in zip(data["steps"], plan.steps, strict=True)],
        "drills": [drill.id for drill in plan.drills],
        "drill_items": data["drills"],
        "kit": [item.id for item in plan.kit],
        "kit_items": [{**item, "for": item.pop("for_")} for item in data["kit"]],
        "drugs": data["drugs"],
        "formulary_note": plan.formulary_note,
        "cautions": data["cautions"],
        "rules": data["rules"],
        "lens": data["lens"],
        "recheck": [{"ask": ask, "worse_than": worse} for ask, worse in plan.recheck],
        "recheck_then": plan.recheck_then,
        "deferral": list(plan.deferral),
        "sources": data["sources"],
        "approval": data["approval"],
    }


def _case(case: Case) -> dict[str, Any]:
    """The case as it was recorded, in the words of a case file where those are not plain data."""
    return {
        "patient": case.patient,
        "planned_stage": case.planned_stage,
        "listed_on": _day(case.listed_on),
        "recorded_on": _day(case.recorded_on),
        "examined_by": case.examined_by,
        "none_found_in": list(case.none_found_in),
        "findings": {name: _plain(value) for name, value in case.findings.items()},
        "read_as_not_recorded": sorted(case.doubted),
    }


def _probability(probability: Probability) -> dict[str, Any]:
    recentred = probability.recentred
    return {
        "model": probability.model,
        "authors": probability.authors,
        "outcome": probability.outcome,
        "population": probability.population,
        "baseline": probability.baseline,
        "by_operator": {
            name: {
                "least": operator.least,
                "most": operator.most,
                "on_record": operator.on_record,
                "published_grade": operator.published_grade,
            }
            for name, operator in probability.by_operator.items()
        },
        "not_counted": [f"{item.label}{'' if item.certain else ' (may hold)'}" for item in probability.not_counted],
        "not_counted_items": [_plain(asdict(item)) for item in probability.not_counted],
        "recentred": asdict(recentred) if recentred else None,
        "limits": list(probability.limits),
    }


def _score(score: PublishedScore) -> dict[str, Any]:
    return {
        "authors": score.authors,
        "outcome": score.outcome,
        "source": score.source,
        "points": _range(score.points),
        "groups": [
            {
                "label": group.label,
                "meaning": group.meaning,
                "rates": {name: {"events": events, "eyes": eyes} for name, (events, eyes) in group.rates.items()},
            }
            for group in score.groups
        ],
    }


def _factor(state: FactorState) -> dict[str, Any]:
    return asdict(state) | {"rates": list(state.rates)}


def _gates(gates: tuple[Gate, ...]) -> list[dict[str, Any]]:
    """An entry for each finding that by itself would change the step; those needed together stand `with` the first."""
    told: list[dict[str, Any]] = []
    for gate in gates:
        entry = {"option": gate.option, "before": gate.before, "seen_in_theatre": gate.seen, "do": list(gate.do)}
        entry |= {"once_clear": gate.once_clear}
        each = list(zip(gate.findings, gate.asks, strict=True))
        if gate.together and each:
            others = [finding for finding, _ in each[1:]]
            told.append({"finding": each[0][0], "when": " and ".join(gate.asks), "with": others, **entry})
        else:
            told += [{"finding": finding, "when": asks, "with": [], **entry} for finding, asks in each]
    return told


def _range(range_: Range) -> dict[str, Any]:
    on_record = None if range_.on_record is None else _whole(range_.on_record)
    return {
        "least": _whole(range_.least),
        "most": _whole(range_.most),
        "on_record": on_record,
        "proved": range_.proved,
    }


def _whole(value: float) -> float:
    return int(value) if value == int(value) else value


def _day(date: datetime.date | None) -> str | None:
    return date.isoformat() if date else None


def _plain(value: Any) -> Any:
    match value:
        case dict():
            return {key: _plain(inner) for key, inner in value.items()}
        case frozenset():
            return sorted(value)
        case tuple() | list():
            return [_plain(inner) for inner in value]
        case datetime.date():
            return value.isoformat()
        case float():
            return _whole(value)
        case _:
            return value
