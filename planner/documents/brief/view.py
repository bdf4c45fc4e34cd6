"""A list's cases as the brief says them: each row, and what is summed over the list, from the plans as approved."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from planner.documents.brief.shapes import BriefRow, KitToPull, SaidOfCases
from planner.documents.figures import day, dioptres
from planner.plan.plan import Approval, Plan, PlannedStep
from planner.wording.language import count, say, side_of
from planner.wording.people import Team, operator_and_supervisor

PAUSES = 3  # of a case that are said at the brief; its plan holds all


@dataclass(frozen=True)
class BriefCase:
    """A case in its place, as the list has it, with its plan. `alerts` hold (True) or are not recorded (None).

    `changed` is how its row differs from an earlier version: new, session, people, order, approval, or nothing.
    """

    order: int
    reference: str
    eye: str
    patient: str | None
    team: Team
    starts: str
    minutes: int
    anaesthetist: bool
    alerts: tuple[tuple[str, bool | None], ...]
    changed: str
    plan: Plan


@dataclass(frozen=True)
class KitHere:
    """Sets of an item on the session, and the minutes after which one is ready again, None for never."""

    sets: int
    ready_again_after: int | None


def brief_row(case: BriefCase) -> BriefRow:
    """Where the placing is not what was approved, who operates is not printed."""
    plan, given, lens = case.plan, case.plan.approval, case.plan.lens
    operator, supervisor = operator_and_supervisor(case.team)
    conditions = say("Approved on condition: %(text)s", text=given.conditions) if given and given.conditions else ""
    reference = lens.biometry_reference or say("reference not recorded")
    return BriefRow(
        order=case.order,
        key=(case.reference, case.eye),
        side=side_of(case.eye),
        reference=case.reference,
        patient=case.patient or say("not recorded"),
        tier=str(given.tier_approved if given else plan.assessment.tier.working),
        approved=_approved(given) if given else say("not approved here"),
        starts=case.starts,
        minutes=case.minutes,
        operator=operator,
        supervisor=supervisor,
        steps=_steps(case.team, plan),
        anaesthesia=_anaesthesia(plan),
        anaesthetist=case.anaesthetist,
        lens=_power(lens.power_d, f", {lens.material or say('material not recorded')}"),
        backup=_power(lens.backup_power_d),
        biometry=f"{reference}, {day(lens.biometry_date)}",
        # What the approval hangs on is said aloud with what else the room must know.
        alerts=(*filter(None, [conditions]), *(says for says, holds in case.alerts if holds)),
        not_asked=tuple(says for says, holds in case.alerts if holds is None),
        settle=tuple(reason.because for reason in plan.assessment.readiness.because),
        missing=tuple(missing.label for missing in plan.assessment.missing),
        hard_because=tuple(reason.words for reason in plan.assessment.tier.decided_by),
        pauses=tuple(_pauses(plan.steps)),
        mark=change_mark(case.changed) if case.changed else "",
    )


def change_mark(kind: str) -> str:
    """How a row of a list is marked that differs from an earlier version."""
    marks = {
        "new": say("NEW"),
        "session": say("MOVED HERE"),
        "people": say("OTHER PEOPLE"),
        "order": say("OTHER PLACE"),
        "approval": say("APPROVED AGAIN"),
        "off": say("OFF"),
    }
    return marks[kind]


def _power(power: float | None, more: str = "") -> str:
    return say("not recorded") if power is None else dioptres(power) + more


def _approved(given: Approval) -> str:
    words = say("approved by %(name)s", name=given.by)
    if given.tier_by_rulebook != given.tier_approved:
        words += say(", by the rulebook tier %(tier)s", tier=given.tier_by_rulebook)
    return words + (say(", as named") if given.covers == "as-named" else "")


def _steps(team: Team, plan: Plan) -> str:
    """The steps allotted to the trainee."""
    if team.uncovered:
        return say("none until approved")
    if team.trainee is None:
        return say("no trainee")
    own = [step.label for step in plan.steps if step.who == "trainee"]
    kept = [step.label for step in plan.steps if step.who == "supervisor"]
    if team.whole and not kept:
        return say("whole operation")
    if team.whole and len(kept) < len(own):
        return say("all but %(steps)s", steps=", ".join(kept))
    return ", ".join(own)


def _anaesthesia(plan: Plan) -> str:
    chosen = plan.choices.get("anaesthesia")
    if chosen is None:
        return say("not recorded")
    return chosen.label + (say(", still open") if chosen.provisional else "")


def _pauses(steps: tuple[PlannedStep, ...]) -> Iterator[tuple[str, str]]:
    """The first pause of the hardest steps, in the order of the operation."""
    hard = sorted((s for s in steps if s.harder_because and s.pause_if), key=lambda s: (-s.difficulty, s.number))
    for step in sorted(hard[:PAUSES], key=lambda s: s.number):
        yield step.label, step.pause_if[0].words


def kit_to_pull(cases: Sequence[BriefCase], here: Mapping[str, KitHere]) -> Iterator[KitToPull]:
    """Each item summed over the list, essential ones first; what every case takes is named apart."""
    wanted: dict[tuple[str, str], dict[str, list[int]]] = defaultdict(lambda: defaultdict(list))
    certain: set[str] = set()
    for case in cases:
        for item in case.plan.kit:
            if item.need != "always":
                wanted[item.id, item.label][item.need].append(case.order)
                if item.certain:
                    certain.add(item.id)
    ordered = sorted(wanted.items(), key=lambda one: ("essential" not in one[1], one[0][1].lower()))
    for (item_id, label), needs in ordered:
        essential, preferred = needs["essential"], needs["preferred"]
        why = say("essential") if essential else say("preferred")
        if essential and preferred:
            why = say("essential in %(orders)s, else preferred", orders=_orders(essential))
        if (counted := here.get(item_id)) is not None:
            why += "; " + count("%(num)s set here", "%(num)s sets here", counted.sets)
            if counted.ready_again_after is not None:
                why += say(", ready again after %(minutes)s min", minutes=counted.ready_again_after)
        orders = sorted({*essential, *preferred})
        yield KitToPull(label, len(orders), _orders(orders), item_id in certain, why)


def drugs_held_back(cases: Sequence[BriefCase]) -> Iterator[SaidOfCases]:
    """Drugs that a case must not have, or not before something is checked."""
    orders_of: dict[tuple[bool, str], list[int]] = defaultdict(list)
    reasons: dict[tuple[bool, str], dict[str, None]] = defaultdict(dict)
    for case in cases:
        for drug in case.plan.drugs:
            if drug.state != "as-prescribed":
                key = (drug.state == "not-until-checked", drug.label)
                orders_of[key].append(case.order)
                reasons[key].update(dict.fromkeys(drug.reasons))
    for (unchecked, label), orders in sorted(orders_of.items()):
        state = say("%(drug)s: not until checked", drug=label) if unchecked else say("%(drug)s: withheld", drug=label)
        yield SaidOfCases(state, _orders(orders), tuple(reasons[unchecked, label]))


def drills_in_mind(cases: Sequence[BriefCase]) -> Iterator[SaidOfCases]:
    """Drills that some case of the list makes likely, the one for most cases first."""
    orders_of: dict[str, list[int]] = defaultdict(list)
    first: dict[str, str] = {}
    for case in cases:
        for drill in case.plan.drills:
            if drill.likely:
                orders_of[drill.label].append(case.order)
                first[drill.label] = drill.stop_first
    for label, orders in sorted(orders_of.items(), key=lambda one: -len(one[1])):
        yield SaidOfCases(label, _orders(orders), (first[label],))


def _orders(orders: Iterable[int]) -> str:
    return ", ".join(map(str, orders))
