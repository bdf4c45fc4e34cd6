"""The lists as the records hold them: approved cases as they were approved, their places, and the way back."""

from __future__ import annotations

import datetime
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from planner.case import STAGES, Case, Stage
from planner.errors import PlannerError
from planner.lists.matching.insertion import counted
from planner.lists.roster.shapes import Roster, Session, room_of
from planner.lists.week.fellow_eyes import Fellows
from planner.lists.week.gather import instance_of, list_case, stages_of
from planner.lists.week.instance import Covering, Instance, Key, ListCase, Lists, Placing
from planner.plan.approved import ApprovedScope
from planner.plan.plan import Plan
from planner.records.approval_validity import given_in, stands_on
from planner.records.rows import CaseNow, CaseVersion, ListPlace, WantedPlace
from planner.records.store import Store
from planner.rulebook.rulebook import Rulebook
from planner.unit import Unit

# A version planned for a stage, the case's own where None; raises PlannerError where it cannot be judged.
Planned = Callable[[CaseVersion, Stage | None], Plan]
NO_APPROVAL = "no approval stands on that day"


@dataclass(frozen=True)
class Elsewhere:
    """A place that is in no session of the roster, or with people it does not name, and why."""

    now: CaseNow
    at: ListPlace
    because: str


@dataclass(frozen=True)
class RecordedLists:
    """What the records hold, as lists are judged by. `lists` has the places from `on` on that fit a session, `waiting`
    the cases without a place; `codes` gives for each trainee of the roster the code in the records."""

    instance: Instance
    lists: Lists
    now: Mapping[Key, CaseNow]
    locked: Mapping[Key, str]
    elsewhere: tuple[Elsewhere, ...]
    codes: Mapping[str, str]
    on: datetime.date

    @property
    def waiting(self) -> list[Key]:
        placed = self.lists.placed
        placed |= {(one.now.case.reference, one.now.case.eye) for one in self.elsewhere}
        return [key for key in self.instance.cases if key not in placed]

    @property
    def kept(self) -> Lists:
        """The locked placings alone."""
        return replace(self.lists, placings=tuple(p for p in self.lists.placings if p.case in self.locked))

    def open_on(self, days: set[datetime.date]) -> list[ListPlace]:
        """Every open place on these days."""
        placed = [now.allocation for now in self.now.values() if now.allocation is not None]
        return [at for at in [*placed, *(one.at for one in self.elsewhere)] if at.day in days]

    def arrange(self, store: Store, lists: Lists, by: str, why: str = "", although: str = "") -> int:
        """Enter what differs from what the records held. Returns how many cases changed. Raises PlannerError."""
        days = {self.instance.sessions[p.session].day for p in {*self.lists.placings} ^ {*lists.placings}}
        if not days:
            return 0
        return store.arrange(
            {at.id for at in self.open_on(days)}, [*self._wanted(lists, days), *self._elsewhere(days)], by, why,
            although,
        )  # fmt: skip

    def _wanted(self, lists: Lists, days: set[datetime.date]) -> list[WantedPlace]:
        wanted = []
        for placing in lists.placings:
            session = self.instance.sessions[placing.session]
            if session.day in days:
                trainee = self.codes.get(placing.trainee, placing.trainee) if placing.trainee else None
                now = self.now[placing.case]
                case, approval = now.case.id, now.approval.id if now.approval else None
                at = session.day, session.theatre, placing.place, trainee, placing.supervisor, session.id
                wanted.append(WantedPlace(case, *at, approval))
        return wanted

    def _elsewhere(self, days: set[datetime.date]) -> list[WantedPlace]:
        return [
            WantedPlace(at.case_id, at.day, at.theatre, at.place, at.trainee, at.supervisor, at.session)
            for at in (one.at for one in self.elsewhere)
            if at.day in days
        ]


class FromRecords:
    """Reads the lists of one store; keeps what it made of each version and approval, which never change."""

    def __init__(
        self,
        store: Store,
        rulebook: Rulebook,
        unit: Unit,
        roster: Roster,
        planned: Planned,
        before: FromRecords | None = None,
    ) -> None:
        """`before` read the same store by an earlier roster. Raises PlannerError for a trainee unknown to the unit."""
        self.store, self.rulebook, self.unit, self.roster, self._planned = store, rulebook, unit, roster, planned
        self._stages = stages_of(rulebook, unit, roster)
        self._fellows = Fellows(store)
        self._made: dict[tuple[int, int], tuple[Case, ListCase]] = {}
        # A case as lists see it hangs on these two of the roster alone.
        if before is not None and (before._stages, before.roster.limits) == (self._stages, roster.limits):
            self._made = before._made

    def recorded(self, on: datetime.date) -> RecordedLists:
        """The approved cases without a place whose approval stands on that day, and the lists from then on."""
        codes = {p.trainee_id or p.code: p.code for p in self.store.people(active_only=True) if p.role == "trainee"}
        ids = {code: trainee for trainee, code in codes.items()}
        cases: dict[Key, ListCase] = {}
        current: dict[Key, CaseNow] = {}
        read: dict[Key, Case] = {}
        placings: list[Placing] = []
        elsewhere: list[Elsewhere] = []
        for now in (*self.store.cases(state="approved"), *self._listed(on)):
            key, at = (now.case.reference, now.case.eye), now.allocation
            if at is None and not stands_on(now, on, self.rulebook):
                continue
            try:
                case = self._case(now)
            except PlannerError as error:
                if at is not None:
                    elsewhere.append(Elsewhere(now, at, str(error)))
                continue
            if at is not None:
                session, because = self._session_of(at, ids)
                if session is None:
                    elsewhere.append(Elsewhere(now, at, because))
                    continue
                trainee = ids.get(at.trainee or "", at.trainee)
                placings.append(Placing(session.id, at.place, key, trainee, at.supervisor))
                if not stands_on(now, session.day, self.rulebook):
                    case = replace(case, approval=Covering(False, frozenset(), NO_APPROVAL))
            cases[key], current[key] = case, now
            read[key] = self._made[now.version.id, now.approval.id if now.approval else 0][0]
        instance = replace(
            instance_of(cases.values(), self.rulebook, self.unit, self.roster, on),
            begun=frozenset(placing.case for placing in placings if current[placing.case].state == "operated"),
        )
        lists = replace(instance.empty, placings=counted(placings))
        instance = self._fellows.with_other_eyes(instance, lists, on, [one.now for one in elsewhere], read)
        locks = {lock.case_id: lock.why for lock in self.store.locks()}
        done = _whole_so_far(self.store, self.roster, ids, on)
        trainees = {name: replace(one, done=done[name]) for name, one in instance.trainees.items()}
        return RecordedLists(
            replace(instance, trainees=trainees), lists, current,
            {key: locks[now.case.id] for key, now in current.items() if now.case.id in locks},
            tuple(elsewhere), codes, on,
        )  # fmt: skip

    def _listed(self, on: datetime.date) -> tuple[CaseNow, ...]:
        last = max((session.day for session in self.roster.sessions), default=on)
        return self.store.lists(on, max(on, last)) if last >= on else ()

    def _case(self, now: CaseNow) -> ListCase:
        """The case as approved; without an approval, as the rulebook has it. Raises PlannerError where unreadable."""
        number = now.version.id, now.approval.id if now.approval else 0
        if number not in self._made:
            given = given_in(now, self.rulebook)
            stages: Sequence[Stage | None] = self._stages or [None]
            plans = {stage: self._planned(now.version, stage) for stage in stages}
            made = list_case(plans, self.rulebook, self.roster.limits, given, self._covering(now, given))
            self._made[number] = next(iter(plans.values())).assessment.case, made
        return self._made[number][1]

    def _covering(self, now: CaseNow, given: ApprovedScope | None) -> Covering:
        """What the approval lets be placed while it stands."""
        if given is None or now.approval is None:
            return Covering(False, frozenset(), NO_APPROVAL)
        if given.covers == "table":
            says = f"tier {given.tier} approved by {now.approval.by}, whoever operates"
            return Covering(True, frozenset(STAGES), says, now.approval.id)
        mode = f", {given.mode.replace('-', ' ')}" if given.mode else ""
        says = f"approved by {now.approval.by} as named, for {given.stage}{mode}"
        return Covering(True, frozenset({given.stage}), says, now.approval.id, now.approval.operator_conditions)

    def _session_of(self, at: ListPlace, ids: Mapping[str, str]) -> tuple[Session | None, str]:
        """The session that a place is in, or why it is in none."""
        trainees = {learner.id for learner in self.roster.trainees}
        supervisors = {supervisor.id for supervisor in self.roster.supervisors}
        trainee = ids.get(at.trainee or "", at.trainee)
        if trainee is not None and trainee not in trainees:
            return None, f"{at.trainee} is no trainee of the roster"
        if at.supervisor not in supervisors:
            return None, f"{at.supervisor} is no supervisor of the roster"
        fits = [s for s in self.roster.sessions if s.day == at.day and s.room == room_of(at.theatre)]
        named = [session for session in fits if session.id == at.session]
        if named or len(fits) == 1:
            return (named or fits)[0], ""
        return None, f"{'more than one' if fits else 'no'} session of the roster runs in {at.theatre} that day"


def _whole_so_far(store: Store, roster: Roster, ids: Mapping[str, str], before: datetime.date) -> Counter[str]:
    """Whole operations of each trainee of the roster, on days before that one and from their own `counts_from` on.

    By what happened, or until that is entered, as published. `ids` gives the trainee of the roster for a code in the
    records. An operation of which somebody else took a step is no whole one. A list published before its rows said who
    did the whole counts for nothing.
    """
    since = {learner.id: learner.counts_from or datetime.date.min for learner in roster.trainees}
    done: Counter[str] = Counter()
    outcomes = store.outcomes_in_force()
    for outcome in outcomes.values():
        trainee = ids.get(outcome.operated_by, outcome.operated_by)
        alone = all(step.who in ("", "trainee") for step in outcome.steps)
        if trainee in since and since[trainee] <= outcome.day < before and alone:
            done[trainee] += 1
    for version in store.published_before(before).values():
        for row in version.document.get("rows", ()):
            trainee = row.get("trainee")
            if trainee in since and row.get("whole") and version.day >= since[trainee]:
                case = store.find_case(row["case"], row["eye"])
                done[trainee] += case is None or case.id not in outcomes
    return done
