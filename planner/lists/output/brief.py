"""One session as it hangs in theatre and as the team is briefed: the view that paper, page and text are made from."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from babel.dates import format_date

from planner.documents.figures import day, dioptres
from planner.lists.changes.differences import Change
from planner.lists.output.lookalikes import Clash, clashes
from planner.lists.roster.shapes import Session
from planner.lists.rules.checker import Judged, check
from planner.lists.week.instance import Instance, Key, Lists, Placing
from planner.lists.week.week import Broken, Week
from planner.plan.plan import Approval, Plan, PlannedStep
from planner.wording.language import count, locale, say, side_of
from planner.wording.people import Team, operator_and_supervisor

PAUSES = 3  # of a case that are said at the brief; its plan holds all
MARKS = {
    "new": lambda: say("NEW"),
    "session": lambda: say("MOVED HERE"),
    "people": lambda: say("OTHER PEOPLE"),
    "order": lambda: say("OTHER PLACE"),
    "approval": lambda: say("APPROVED AGAIN"),
}


@dataclass(frozen=True)
class Row:
    """A case of the list. `starts` is when it is expected to begin, `minutes` its operation with turnover."""

    order: int
    key: Key
    side: str
    reference: str
    patient: str
    tier: str
    approved: str
    starts: str
    minutes: int
    operator: str
    supervisor: str
    steps: str
    anaesthesia: str
    anaesthetist: bool
    lens: str
    backup: str
    biometry: str
    alerts: tuple[str, ...]
    not_asked: tuple[str, ...]
    settle: tuple[str, ...]
    missing: tuple[str, ...]
    hard_because: tuple[str, ...]
    pauses: tuple[tuple[str, str], ...]
    mark: str


@dataclass(frozen=True)
class Pull:
    """An item to pull: for which cases of the list, and how it is there."""

    label: str
    count: int
    orders: str
    certain: bool
    here: str


@dataclass(frozen=True)
class Told:
    """Something to say with the cases it is about: a drug not to be given, a drill that is likely."""

    label: str
    orders: str
    says: tuple[str, ...]


@dataclass(frozen=True)
class Brief:
    """`version` is a published version's number or None; `rows_off` are those that came off since the one before."""

    session: Session
    unit: str
    day: str
    weekday: str
    hours: str
    rows: tuple[Row, ...]
    numbers: Judged | None
    limit: float
    kit: tuple[Pull, ...]
    in_every_case: tuple[str, ...]
    drugs: tuple[Told, ...]
    drills: tuple[Told, ...]
    clashes: tuple[Clash, ...]
    broken: tuple[Broken, ...]
    asked: tuple[Broken, ...]
    people: tuple[str, ...]
    rows_off: tuple[str, ...]
    version: str
    deferral: tuple[str, ...]

    @property
    def hardest_first(self) -> list[Row]:
        return sorted(self.rows, key=lambda row: (row.tier, len(row.pauses)), reverse=True)


def brief_of(
    instance: Instance,
    lists: Lists,
    session: str,
    plans: Mapping[Key, Plan],
    changed: Iterable[Change] = (),
    version: str = "",
) -> Brief:
    """The brief of a session that has a list. `plans` holds one for each of its cases, as approved where it is."""
    week, verdict = Week(instance, lists), check(instance, lists)
    held, placings = instance.sessions[session], week.list_of(session)
    marks = {change.case: MARKS[change.kind]() for change in changed if change.now is not None}
    rows = tuple(
        _row(week, placing, start, plans[placing.case], marks.get(placing.case, ""))
        for placing, start in zip(placings, week.starts(session), strict=True)
    )
    here = [(placing.place, plans[placing.case]) for placing in placings]
    first = here[0][1] if here else None
    return Brief(
        session=held,
        unit=(first.unit if first else None) or say("not recorded"),
        day=day(held.day),
        weekday=_weekday(held.day),
        hours=f"{held.span[0]:%H:%M}–{held.span[1]:%H:%M}",
        rows=rows,
        numbers=next((one for one in verdict.sessions if one.session == session), None),
        limit=instance.overrun_chance,
        kit=tuple(_kit(held, here)),
        in_every_case=tuple(dict.fromkeys(i.label for _, plan in here for i in plan.kit if i.need == "always")),
        drugs=tuple(_drugs(here)),
        drills=tuple(_drills(here)),
        clashes=tuple(clash for clash in clashes(instance, lists) if clash.session == session),
        broken=_of(verdict.broken, session),
        asked=_of(verdict.asked, session),
        people=tuple(dict.fromkeys(name for p in placings for name in (p.trainee, p.supervisor) if name)),
        rows_off=tuple(
            instance.cases[change.case].told if change.case in instance.cases else " ".join(change.case)
            for change in changed
            if change.was is not None
            and change.was.session == session
            and (change.now is None or change.now.session != session)
        ),
        version=version,
        deferral=first.deferral if first else (),
    )


def _of(broken: tuple[Broken, ...], session: str) -> tuple[Broken, ...]:
    return tuple(one for one in broken if one.session == session)


def _weekday(on: datetime.date) -> str:
    return str(format_date(on, "EEEE", locale=locale()))


def _row(week: Week, placing: Placing, start: float, plan: Plan, mark: str) -> Row:
    """Where the placing is not what was approved, who operates is not printed."""
    case, held = week.case(placing), week.session(placing)
    begins = held.span[0] + datetime.timedelta(minutes=round(start / 5) * 5)
    minutes = week.time(placing).mean + case.added_minutes + week.instance.turnover
    team = week.team(placing)
    operator, supervisor = operator_and_supervisor(team)
    given, lens = plan.approval, plan.lens
    tier = str(given.tier_approved if given else plan.assessment.tier.working)
    return Row(
        placing.place, placing.case, side_of(case.eye), case.reference, case.patient or say("not recorded"), tier,
        _approved(given) if given else say("not approved here"),
        f"{begins:%H:%M}", round(minutes), operator, supervisor, _steps(team, plan),
        _anaesthesia(plan), case.anaesthetist is not False,
        f"{dioptres(lens.power_d)}, {lens.material or say('material not recorded')}"
        if lens.power_d is not None else say("not recorded"),
        dioptres(lens.backup_power_d) if lens.backup_power_d is not None else say("not recorded"),
        f"{lens.biometry_reference or say('reference not recorded')}, {day(lens.biometry_date)}",
        (*_conditions(given), *(says for says, holds in case.alerts if holds)),
        tuple(says for says, holds in case.alerts if holds is None),
        tuple(reason.because for reason in plan.assessment.readiness.because),
        tuple(missing.label for missing in plan.assessment.missing),
        tuple(plan.assessment.tier.decided_by), tuple(_pauses(plan.steps)), mark,
    )  # fmt: skip


def _conditions(given: Approval | None) -> Iterator[str]:
    """What the consultant's approval hangs on, said aloud with what else the room must know."""
    if given is not None and given.conditions:
        yield say("Approved on condition: %(text)s", text=given.conditions)


def _approved(given: Approval) -> str:
    told = say("approved by %(name)s", name=given.by)
    if given.tier_by_rulebook != given.tier_approved:
        told += say(", by the rulebook tier %(tier)s", tier=given.tier_by_rulebook)
    if given.covers == "as-named":
        told += say(", as named")
    return told


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
        yield step.label, step.pause_if[0]


def _kit(held: Session, here: list[tuple[int, Plan]]) -> Iterator[Pull]:
    """Each item summed over the list, essential ones first; what every case takes is named apart."""
    wanted: dict[tuple[str, str], dict[str, list[int]]] = {}
    certain: set[str] = set()
    for order, plan in here:
        for item in plan.kit:
            if item.need != "always":
                wanted.setdefault((item.id, item.label), {}).setdefault(item.need, []).append(order)
                if item.certain:
                    certain.add(item.id)
    for (item_id, label), needs in sorted(
        wanted.items(), key=lambda one: ("essential" not in one[1], one[0][1].lower())
    ):
        essential, preferred = needs.get("essential", []), needs.get("preferred", [])
        told = say("essential") if essential else say("preferred")
        if essential and preferred:
            told = say("essential in %(orders)s, else preferred", orders=_orders(essential))
        counted = held.kit.get(item_id)
        if counted is not None:
            told += "; " + count("%(num)s set here", "%(num)s sets here", counted.sets)
            if counted.ready_again_after is not None:
                told += say(", ready again after %(minutes)s min", minutes=counted.ready_again_after)
        orders = sorted({*essential, *preferred})
        yield Pull(label, len(orders), _orders(orders), item_id in certain, told)


def _drugs(here: list[tuple[int, Plan]]) -> Iterator[Told]:
    """Drugs that a case must not have, or not before something is checked."""
    found: dict[tuple[bool, str], list[int]] = {}
    reasons: dict[tuple[bool, str], dict[str, None]] = {}
    for order, plan in here:
        for drug in plan.drugs:
            if drug.state != "as-prescribed":
                key = (drug.state == "not-until-checked", drug.label)
                found.setdefault(key, []).append(order)
                reasons.setdefault(key, {}).update(dict.fromkeys(drug.reasons))
    for (unchecked, label), orders in sorted(found.items()):
        told = say("%(drug)s: not until checked", drug=label) if unchecked else say("%(drug)s: withheld", drug=label)
        yield Told(told, _orders(orders), tuple(reasons[(unchecked, label)]))


def _drills(here: list[tuple[int, Plan]]) -> Iterator[Told]:
    """Drills that some case of the list makes likely, the one for most cases first."""
    found: dict[str, list[int]] = {}
    first: dict[str, str] = {}
    for order, plan in here:
        for drill in plan.drills:
            if drill.likely:
                found.setdefault(drill.label, []).append(order)
                first[drill.label] = drill.stop_first
    for label, orders in sorted(found.items(), key=lambda one: -len(one[1])):
        yield Told(label, _orders(orders), (first[label],))


def _orders(orders: Iterable[int]) -> str:
    return ", ".join(str(order) for order in orders)
