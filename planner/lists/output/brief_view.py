"""The view of a session's list and brief, made of the lists, the checker's verdict and the plans of its cases."""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping

from planner.documents.brief.shapes import Brief, BriefRow, KitToPull, ListMinutes, Remark, SaidOfCases, Told
from planner.documents.figures import day, dioptres
from planner.lists.changes.differences import ListChange
from planner.lists.output.lookalikes import Clash, clashes
from planner.lists.roster.shapes import Session
from planner.lists.rules.checker import check
from planner.lists.rules.rule import Broken
from planner.lists.week.instance import Instance, Key, ListCase, Lists, Placing
from planner.lists.week.week import Week
from planner.plan.plan import Approval, Plan, PlannedStep
from planner.wording.people import Team, operator_and_supervisor
from planner.wording.words import counted, eye_words, side_of

PAUSES = 3  # of a case that are said at the brief; its plan holds all
Plans = Mapping[int, Plan]  # by the order of the cases


def brief_of(
    instance: Instance,
    lists: Lists,
    session: str,
    plans: Mapping[Key, Plan],
    changed: Iterable[ListChange] = (),
    version: str = "",
) -> Brief:
    """The brief of a session that has a list. `plans` holds one for each of its cases, as approved where it is."""
    week, verdict, on = Week(instance, lists), check(instance, lists), instance.sessions[session]
    kinds = {change.case: change.kind for change in changed if change.now is not None}
    placings = week.list_of(session)
    own = {placing.place: plans[placing.case] for placing in placings}
    first = next(iter(own.values()), None)
    numbers = next((one for one in verdict.sessions if one.session == session), None)
    return Brief(
        theatre=on.theatre,
        anaesthetist=on.anaesthetist,
        unit=(first.unit if first else None) or "not recorded",
        day=day(on.day),
        weekday=f"{on.day:%A}",
        hours=f"{on.span[0]:%H:%M}–{on.span[1]:%H:%M}",
        rows=tuple(
            _row(week, placing, start, own[placing.place], kinds.get(placing.case))
            for placing, start in zip(placings, week.starts(session), strict=True)
        ),
        minutes=ListMinutes(numbers.expected_minutes, numbers.minutes, numbers.chance_of_overrun) if numbers else None,
        limit=instance.overrun_chance,
        kit=tuple(_kit_to_pull(own, on)),
        in_every_case=tuple(dict.fromkeys(i.label for plan in own.values() for i in plan.kit if i.need == "always")),
        drugs=tuple(_drugs_held_back(own)),
        drills=tuple(_drills_in_mind(own)),
        lookalikes=_remarks(clashes(instance, lists), session),
        broken=_remarks(verdict.broken, session),
        asked=_remarks(verdict.asked, session),
        people=tuple(dict.fromkeys(name for p in placings for name in (p.trainee, p.supervisor) if name)),
        rows_off=tuple(
            eye_words(*change.case) if change.case in instance.cases else " ".join(change.case)
            for change in changed
            if change.was is not None
            and change.was.session == session
            and (change.now is None or change.now.session != session)
        ),
        version=version,
        deferral=first.deferral if first else (),
    )


def _remarks(said: Iterable[Broken | Clash], session: str) -> tuple[Remark, ...]:
    return tuple(
        Remark(one.says, one.change if isinstance(one, Broken) else one.do) for one in said if one.session == session
    )


def _row(week: Week, placing: Placing, start: float, plan: Plan, changed: str | None) -> BriefRow:
    """Where the placing is not what was approved, who operates is not printed."""
    case, team, given, lens = week.case(placing), week.team(placing), plan.approval, plan.lens
    operator, supervisor = operator_and_supervisor(team)
    conditions = [f"Approved on condition: {given.conditions}"] if given and given.conditions else []
    reference = lens.biometry_reference or "reference not recorded"
    material = "" if lens.power_d is None else f", {lens.material or 'material not recorded'}"
    return BriefRow(
        order=placing.place,
        key=case.key,
        side=side_of(case.eye),
        reference=case.reference,
        patient=case.patient or "not recorded",
        tier=str(given.tier_approved if given else plan.assessment.tier.working),
        approved=_approved(given) if given else "not approved here",
        starts=f"{week.session(placing).span[0] + datetime.timedelta(minutes=round(start / 5) * 5):%H:%M}",
        minutes=round(week.with_turnover(placing)),
        operator=operator,
        supervisor=supervisor,
        steps=_steps(team, plan),
        anaesthesia=_anaesthesia(plan),
        anaesthetist={True: "needed", False: "not needed", None: "not recorded whether needed"}[case.anaesthetist],
        lens=dioptres(lens.power_d) + material,
        backup=dioptres(lens.backup_power_d),
        biometry=f"{reference}, {day(lens.biometry_date)}",
        allergies=_told(case, "allergy"),
        infection=_told(case, "infection"),
        # What the approval hangs on is said aloud with what else the room must know.
        others=_told(case, "other", conditions),
        kit=tuple(case.kit.values()),
        settle=tuple(reason.because for reason in plan.assessment.readiness.because),
        missing=tuple(missing.label for missing in plan.assessment.missing),
        hard_because=tuple(reason.words for reason in plan.assessment.tier.decided_by),
        pauses=tuple(_pauses(plan.steps)),
        mark=change_mark(changed) if changed else "",
    )


def _told(case: ListCase, kind: str, first: Iterable[str] = ()) -> Told:
    of_kind = [(says, holds) for says, holds in case.alerts if case.alert_kinds.get(says, "other") == kind]
    known = tuple(says for says, holds in of_kind if holds)
    return Told((*first, *known), tuple(says for says, holds in of_kind if holds is None))


def change_mark(kind: str) -> str:
    """How a row of a list is marked that differs from an earlier version."""
    marks = {
        "new": "NEW",
        "session": "MOVED HERE",
        "people": "OTHER PEOPLE",
        "order": "OTHER PLACE",
        "approval": "APPROVED AGAIN",
        "off": "OFF",
    }
    return marks[kind]


def _approved(given: Approval) -> str:
    words = f"approved by {given.by}"
    if given.tier_by_rulebook != given.tier_approved:
        words += f", by the rulebook tier {given.tier_by_rulebook}"
    return words + (", as named" if given.covers == "as-named" else "")


def _steps(team: Team, plan: Plan) -> str:
    """The steps allotted to the trainee."""
    if team.uncovered:
        return "none until approved"
    if team.trainee is None:
        return "no trainee"
    own = [step.label for step in plan.steps if step.who == "trainee"]
    kept = [step.label for step in plan.steps if step.who == "supervisor"]
    if team.whole and not kept:
        return "whole operation"
    if team.whole and len(kept) < len(own):
        return f"all but {', '.join(kept)}"
    return ", ".join(own)


def _anaesthesia(plan: Plan) -> str:
    chosen = plan.choices.get("anaesthesia")
    if chosen is None:
        return "not recorded"
    return chosen.label + (", still open" if chosen.provisional else "")


def _pauses(steps: tuple[PlannedStep, ...]) -> Iterator[tuple[str, str]]:
    """The first pause of the hardest steps, in the order of the operation."""
    hard = sorted((s for s in steps if s.harder_because and s.pause_if), key=lambda s: (-s.difficulty, s.number))
    for step in sorted(hard[:PAUSES], key=lambda s: s.number):
        yield step.label, step.pause_if[0].words


def _kit_to_pull(plans: Plans, session: Session) -> Iterator[KitToPull]:
    """Each item summed over the list, essential ones first; what every case takes is named apart."""
    wanted: dict[tuple[str, str], dict[str, list[int]]] = defaultdict(lambda: defaultdict(list))
    certain: set[str] = set()
    for place, plan in plans.items():
        for item in plan.kit:
            if item.need != "always":
                wanted[item.id, item.label][item.need].append(place)
                if item.certain:
                    certain.add(item.id)
    ordered = sorted(wanted.items(), key=lambda one: ("essential" not in one[1], one[0][1].lower()))
    for (item_id, label), needs in ordered:
        essential, preferred = needs["essential"], needs["preferred"]
        why = "essential" if essential else "preferred"
        if essential and preferred:
            why = f"essential in {_orders(essential)}, else preferred"
        if (here := session.kit.get(item_id)) is not None:
            why += f"; {counted(here.sets, 'set')} here"
            if here.ready_again_after is not None:
                why += f", ready again after {here.ready_again_after} min"
        orders = sorted({*essential, *preferred})
        yield KitToPull(label, len(orders), _orders(orders), item_id in certain, why)


def _drugs_held_back(plans: Plans) -> Iterator[SaidOfCases]:
    """Drugs that a case must not have, or not before something is checked."""
    orders_of: dict[tuple[bool, str], list[int]] = defaultdict(list)
    reasons: dict[tuple[bool, str], dict[str, None]] = defaultdict(dict)
    for place, plan in plans.items():
        for drug in plan.drugs:
            if drug.state != "as-prescribed":
                key = (drug.state == "not-until-checked", drug.label)
                orders_of[key].append(place)
                reasons[key].update(dict.fromkeys(drug.reasons))
    for (unchecked, label), orders in sorted(orders_of.items()):
        state = f"{label}: not until checked" if unchecked else f"{label}: withheld"
        yield SaidOfCases(state, _orders(orders), tuple(reasons[unchecked, label]))


def _drills_in_mind(plans: Plans) -> Iterator[SaidOfCases]:
    """Drills that some case of the list makes likely, the one for most cases first."""
    orders_of: dict[str, list[int]] = defaultdict(list)
    first: dict[str, str] = {}
    for place, plan in plans.items():
        for drill in plan.drills:
            if drill.likely:
                orders_of[drill.label].append(place)
                first[drill.label] = drill.stop_first
    for label, orders in sorted(orders_of.items(), key=lambda one: -len(one[1])):
        yield SaidOfCases(label, _orders(orders), (first[label],))


def _orders(orders: Iterable[int]) -> str:
    return ", ".join(map(str, orders))
