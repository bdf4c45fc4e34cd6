"""Assessments and plans as plain data for JSON: ids as keys, plain numbers, ISO dates, fractions for probabilities."""

from __future__ import annotations

import datetime
from dataclasses import fields, is_dataclass
from typing import Any

from planner.assess.assessment import Assessment, Probability, PublishedScore
from planner.case import Case
from planner.claims import Basis, Entry
from planner.plan.plan import Gate, Plan, PlannedChoice
from planner.rulebook.plan_shapes import Pause
from planner.wording.reasons import SettleReason, SupervisionReason, TierReason, UnaskedFinding

CHOICE = "choice step question option label provisional prepared_as if_found"
WAY = "do watch pause_if why basis"
DRAWN = "opening_mm seat main_incision side_ports drawn"
SUPERVISION = "mode by stage stage_label words because trainee_steps hand_back take_over_words contact target"
# The short names that only pages print.
SHORT = ("short", "stage_short")


def assessment_json(assessment: Assessment) -> dict[str, Any]:
    """An assessment as JSON-ready data; unknowns stay ranges, nothing is rounded."""
    case, readiness = assessment.case, assessment.readiness
    return {
        "case": case.reference,
        "eye": case.eye,
        "on": _plain(assessment.on),
        "rulebook": _plain(assessment.rulebook),
        "recorded": _case(case),
        "points": _plain(assessment.points),
        "tier": _plain(assessment.tier),
        "probability": _probability(assessment.probability),
        "published_scores": {score.id: _score(score) for score in assessment.published_scores},
        "factors": [
            _named(state, "id label state because points most_points harm floor basis rates")
            for state in assessment.factors
        ],
        "readiness": {
            "state": readiness.state,
            "because": [reason.because for reason in readiness.because],
            "reasons": _plain(readiness.because),
        },
        **_named(assessment, "missing looks smallest_set levers queries notes"),
    }


def plan_json(plan: Plan) -> dict[str, Any]:
    """A plan as JSON-ready data: the assessment, then every part of the printed plan."""
    return {
        "assessment": assessment_json(plan.assessment),
        **_named(plan, "title unit draft_line"),
        "supervision": _named(plan.supervision, SUPERVISION),
        "choices": {name: _choice(chosen) for name, chosen in plan.choices.items()},
        "steps": _plain(plan.steps),
        "drills": [drill.id for drill in plan.drills],
        "drill_items": _plain(plan.drills),
        "kit": [item.id for item in plan.kit],
        "kit_items": [
            {**_named(item, "id label need lacking certain note for_"), "for": list(item.for_)} for item in plan.kit
        ],
        **_named(plan, "drugs formulary_note cautions rules lens"),
        "recheck": [
            *({"ask": one.ask, "worse_than": one.words} for one in plan.recheck_unknown),
            *({"ask": ask, "worse_than": worse} for ask, worse in plan.recheck),
        ],
        **_named(plan, "recheck_then deferral sources"),
        "approval": _plain(plan.approval),
    }


def _named(value: object, names: str) -> dict[str, Any]:
    return {name: _plain(getattr(value, name)) for name in names.split()}


def _plain(value: Any) -> Any:
    match value:
        case TierReason() | SupervisionReason() | UnaskedFinding() | Basis() | Pause():
            return value.words
        case SettleReason():
            return _named(value, "id because settled_by certain")
        case tuple((Gate(), *_)):
            return _gates(value)
        case Entry():
            return {name: _plain(getattr(value, name)) for name in type(value).model_fields}
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
        case _ if is_dataclass(value):
            return _named(value, " ".join(each.name for each in fields(value) if each.name not in SHORT))
        case _:
            return value


def _case(case: Case) -> dict[str, Any]:
    """The case as it was recorded, in the words of a case file where those are not plain data."""
    return {
        **_named(case, "patient planned_stage listed_on recorded_on examined_by none_found_in findings"),
        "read_as_not_recorded": sorted(case.doubted),
    }


def _probability(probability: Probability) -> dict[str, Any]:
    recentred, not_counted = probability.recentred, probability.not_counted
    return {
        "model": probability.model.id,
        **_named(probability.model, "authors outcome population"),
        "baseline": probability.baseline,
        "by_operator": {
            name: _named(operator, "least most on_record published_grade")
            for name, operator in probability.by_operator.items()
        },
        "not_counted": [f"{item.label}{'' if item.certain else ' (may hold)'}" for item in not_counted],
        "not_counted_items": [
            {**_named(item, "factor label certain"), "rates": list(item.rate_words)} for item in not_counted
        ],
        "recentred": None
        if recentred is None
        else {
            **{name: getattr(recentred, name) for name in ("events", "cases", "weight", "baseline", "note")},
            "era": recentred.era.id if recentred.era else None,
            "on": recentred.on,
        },
        "limits": probability.model.limits,
    }


def _score(score: PublishedScore) -> dict[str, Any]:
    groups = [
        {
            **_named(group, "label meaning"),
            "rates": {name: {"events": events, "eyes": eyes} for name, (events, eyes) in group.rates.items()},
        }
        for group in score.groups
    ]
    return {**_named(score, "authors outcome source"), "points": _plain(score.points), "groups": groups}


def _choice(chosen: PlannedChoice) -> dict[str, Any]:
    own, way, drawn = _named(chosen, CHOICE), _named(chosen.way, WAY), _named(chosen.way, DRAWN)
    return {**own, **way, **_named(chosen, "rejected settled_by"), **drawn}


def _gates(gates: tuple[Gate, ...]) -> list[dict[str, Any]]:
    """An entry for each finding that by itself would change the step; those needed together stand `with` the first."""
    entries: list[dict[str, Any]] = []
    for gate in gates:
        entry = {"option": gate.option, "before": gate.before, "seen_in_theatre": gate.seen, "do": list(gate.do)}
        entry |= {"once_clear": gate.once_clear}
        each = list(zip(gate.findings, gate.asks, strict=True))
        if gate.together and each:
            others = [finding for finding, _ in each[1:]]
            entries.append({"finding": each[0][0], "when": " and ".join(gate.asks), "with": others, **entry})
        else:
            entries += [{"finding": finding, "when": asks, "with": [], **entry} for finding, asks in each]
    return entries


def _whole(value: float) -> float:
    return int(value) if value == int(value) else value
