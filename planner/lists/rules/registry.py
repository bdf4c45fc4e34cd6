"""Every rule that lists must keep, in the order in which they are judged; whatever asks for rules asks here."""

from __future__ import annotations

from collections.abc import Container, Iterator
from dataclasses import dataclass

from planner.lists.rules import eyes, patient, people, sessions
from planner.lists.rules.rule import Broken, Fact, FactSubject, ListRule, Scope
from planner.lists.week.week import Week


@dataclass
class Rules:
    """All the rules, and what follows from them."""

    every: tuple[ListRule, ...]

    def __getitem__(self, rule: str) -> ListRule:
        return next(one for one in self.every if one.id == rule)

    @property
    def ids(self) -> tuple[str, ...]:
        return tuple(one.id for one in self.every)

    @property
    def words(self) -> dict[str, str]:
        return {one.id: one.words for one in self.every}

    @property
    def of_order(self) -> frozenset[str]:
        """Those that another order of a list can mend."""
        return frozenset(one.id for one in self.every if one.of_order)

    @property
    def unmodelled(self) -> frozenset[str]:
        """Those that a search must judge for itself."""
        return frozenset(one.id for one in self.every if not one.modelled)

    @property
    def mended_by_others(self) -> frozenset[str]:
        """Those that look at more than a case in its own place, so that the move of another can mend them."""
        return frozenset(one.id for one in self.every if one.scope != "case")

    @property
    def scopes(self) -> frozenset[Scope]:
        return frozenset(one.scope for one in self.every)

    def telling(self, of: FactSubject) -> list[Fact]:
        """The facts by which rules tell cases, trainees or supervisors apart, but for the deadline of a case."""
        facts = (fact for one in self.every if one is not patient.deadline for fact in one.reads)
        return [fact for fact in dict.fromkeys(facts) if fact.of == of]

    def broken(self, week: Week, only: Container[str] | None = None) -> Iterator[Broken]:
        """What a week breaks of these rules, or of some of them, in their order."""
        for rule in self.every:
            if only is None or rule.id in only:
                yield from rule.judge(week)

    def stands(self, week: Week, only: Container[str] | None = None) -> bool:
        """Whether a week breaks none of these rules, or of some of them."""
        return next(self.broken(week, only), None) is None


RULES = Rules(
    (
        patient.on_one_list_once,
        patient.consent,
        patient.agreement,
        patient.settled,
        people.approval_covers,
        people.supervisor_fits,
        people.supervisor_is_free,
        people.trainee_is_free,
        people.trainee_has_a_step,
        sessions.anaesthetist,
        sessions.kit_sets,
        sessions.begun_first,
        sessions.fixed_order,
        eyes.patient_in_one_theatre,
        eyes.one_eye_a_day,
        eyes.between_eyes,
        eyes.first_eye_reviewed,
        patient.deadline,
        patient.patient_can_come,
        sessions.most_cases,
        sessions.general_anaesthetics,
        sessions.recovery,
        sessions.overrun,
    )
)
