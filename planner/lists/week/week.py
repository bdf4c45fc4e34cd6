"""Lists laid out for judging: each session's cases in order, what each placing asks for, and expected minutes."""

from __future__ import annotations

import datetime
from functools import cached_property

from planner.documents.figures import day as day_words
from planner.lists.roster.shapes import Session, Supervisor
from planner.lists.week.instance import CONSULTANT, WITHOUT_TRAINEE, Instance, ListCase, Lists, Placing, SupervisionNeed
from planner.lists.week.overrun import Time, chance_of_overrun
from planner.plan.approved import OperatingPair, served
from planner.wording.people import Team

ALONE = SupervisionNeed(WITHOUT_TRAINEE, CONSULTANT, ())


def seat_of(week: Week, placing: Placing) -> OperatingPair:
    """Who sits down at a placing, as plans are printed for it."""
    if placing.trainee is None:
        return OperatingPair(None)
    trainee = week.instance.trainees[placing.trainee]
    return OperatingPair(trainee.stage, tuple(week.supervisor(placing).can), trainee.steps_cleared)


class Week:
    """The lists over one instance. Every name in the placings is known to it."""

    def __init__(self, instance: Instance, lists: Lists) -> None:
        self.instance = instance
        self.lists = lists
        self._of: dict[str, tuple[Placing, ...]] = {}
        for placing in sorted(lists.placings):
            self._of[placing.session] = (*self._of.get(placing.session, ()), placing)

    @cached_property
    def sessions(self) -> list[Session]:
        """The sessions that have a list, in the order of the sessions file."""
        return [session for name, session in self.instance.sessions.items() if name in self._of]

    @cached_property
    def room_days(self) -> list[tuple[Placing, ...]]:
        """The placings of each theatre on each day in their order, one list after the other."""
        by_room: dict[tuple[object, str], list[Placing]] = {}
        for session in sorted(self.sessions, key=lambda session: session.span):
            by_room.setdefault((session.day, session.room), []).extend(self._of[session.id])
        return [tuple(placings) for placings in by_room.values()]

    @cached_property
    def of_patients(self) -> dict[str, list[Placing]]:
        """The placings of every patient who has more than one, by day and hour."""
        by_patient: dict[str, list[Placing]] = {}
        for session in sorted(self.sessions, key=lambda session: session.span):
            for placing in self._of[session.id]:
                if (patient := self.case(placing).patient) is not None:
                    by_patient.setdefault(patient, []).append(placing)
        return {patient: placings for patient, placings in by_patient.items() if len(placings) > 1}

    def list_of(self, session: str) -> tuple[Placing, ...]:
        """The placings of a session, first case first."""
        return self._of.get(session, ())

    def session(self, placing: Placing) -> Session:
        return self.instance.sessions[placing.session]

    def case(self, placing: Placing) -> ListCase:
        return self.instance.cases[placing.case]

    def supervisor(self, placing: Placing) -> Supervisor:
        return self.instance.supervisors[placing.supervisor]

    def supervision(self, placing: Placing) -> SupervisionNeed:
        """What tier and stage demand of this pair; a consultant alone without a trainee."""
        if placing.trainee is None:
            return ALONE
        return self.case(placing).with_stage[self.instance.trainees[placing.trainee].stage]

    def mode_served(self, placing: Placing) -> str | None:
        """How close this supervisor is: as demanded, or the next closer that they may; None where they may not."""
        return served(self.supervision(placing).mode, self.supervisor(placing).can)

    def uncovered(self, placing: Placing) -> str:
        """How a placing is not what was approved, in words; empty where it is, or where nobody was asked."""
        approval = self.case(placing).approval
        if approval is None or not approval.stands:
            return approval.says if approval is not None else ""
        asked, person = self.supervision(placing), self.supervisor(placing)
        if placing.trainee is not None:
            stage = self.instance.trainees[placing.trainee].stage
            if not approval.covers(stage):
                return f"{approval.says}, and {placing.trainee} is at {stage}"
            if asked.mode == WITHOUT_TRAINEE:
                return f"{approval.says}: no trainee takes part, and {placing.trainee} is named"
        if asked.by == CONSULTANT and person.grade != CONSULTANT:
            return f"{approval.says}: {asked.mode}, by a consultant, and {person.id} is a {person.grade}"
        if self.mode_served(placing) is None:
            return f"{approval.says}: {asked.mode}, and {person.id} supervises only {', '.join(person.can)}"
        return ""

    def team(self, placing: Placing) -> Team:
        """Who operates and under whom, for the wording; where the supervisor may not, as close as was demanded."""
        asked, trainee = self.supervision(placing), placing.trainee
        stage = self.instance.trainees[trainee].stage if trainee is not None else ""
        mode, uncovered = self.mode_served(placing) or asked.mode, self.uncovered(placing)
        return Team(placing.supervisor, trainee, mode, asked.whole, stage, uncovered)

    def in_words(self, placing: Placing) -> str:
        """`A-104, right eye, number 3 in tue-1-a`."""
        return f"{self.case(placing).in_words}, number {placing.place} in {placing.session}"

    def time(self, placing: Placing) -> Time:
        """Operating minutes by who operates; a shared operation counts as the trainee's."""
        stage = self.instance.trainees[placing.trainee].stage if placing.trainee else CONSULTANT
        return self.instance.times[stage]

    def with_turnover(self, placing: Placing) -> float:
        """Minutes that a case is expected to take of its session, turnover behind it."""
        return self.time(placing).mean + self.case(placing).added_minutes + self.instance.turnover

    def away(self, who: str, day: datetime.date) -> str:
        """That somebody is away, as it was told: leave, or what happened."""
        because = self.instance.away_because.get((who, day))
        on = day_words(day)
        return f"{who} is on leave on {on}" if because is None else f"{who} is away on {on} ({because})"

    def to_come(self, session: str) -> tuple[Placing, ...]:
        """The cases that still take time: every case, or once the session runs those that are not begun."""
        here = self.list_of(session)
        return tuple(p for p in here if p.case not in self.instance.begun) if session in self.instance.taken else here

    def starts(self, session: str) -> list[float]:
        """Minutes from the session's start at which each of its cases is expected to begin, or was."""
        clock, starts = 0.0, []
        for placing in self.list_of(session):
            starts.append(clock)
            clock += self.with_turnover(placing)
        taken, begun = self.instance.taken.get(session), len(starts) - len(self.to_come(session))
        if taken is None or not starts:
            return starts
        # The begun ones end, and the first of the others begins, when it is now known and not as it was planned.
        late = taken - (starts[begun] if begun < len(starts) else clock)
        return [max(0.0, start + late) for start in starts]

    def fixed_minutes(self, session: str) -> float:
        """Turnover of every case to come, what devices add, and what is taken already, in minutes."""
        placings = self.to_come(session)
        added = sum(self.case(one).added_minutes for one in placings)
        return self.instance.taken.get(session, 0.0) + len(placings) * self.instance.turnover + added

    def expected_minutes(self, session: str) -> float:
        return self.fixed_minutes(session) + sum(self.time(one).mean for one in self.to_come(session))

    def chance_of_overrun(self, session: str) -> float:
        times = [self.time(one) for one in self.to_come(session)]
        return chance_of_overrun(times, self.fixed_minutes(session), self.instance.sessions[session].minutes)
