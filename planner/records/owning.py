"""Who has a case: its author, until it is handed over. They, whoever had it before, and any consultant may edit it."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from sqlalchemy import select

from planner.errors import Fault, PlannerError
from planner.records import schema
from planner.records.repository import Repository, checked_text
from planner.records.roles import BUILDERS, DECIDERS, PREPARERS, READERS
from planner.records.rows import Handover
from planner.records.transaction import ReadTransaction, Transaction

# Organisers hand over what was left by somebody who has gone; they edit nothing.


class NotTheirs(PlannerError):
    """The case is another trainee's. `owner` is the code of whoever has it; nothing of the edit was kept."""

    def __init__(self, where: str, by: str, owner: str) -> None:
        self.owner = owner
        why = "only whoever prepared it, a consultant, or somebody it was handed to may change it"
        hint = f"ask {owner} or a consultant to hand it over"
        super().__init__([Fault(where, f"{owner} has this case, and {by} may not change it", why, hint)])


class Owning(Repository):
    def hand_over(self, case_id: int, owner: str, to: str, by: str, why: str = "") -> Handover:
        """Hand a case from whoever has it, `owner`, to an active trainee or consultant, who hears of it.

        By its owners, a consultant or an organiser. Raises PlannerError, also when somebody else has it by now.
        """
        why = checked_text(why, "reason")
        with self._changing(by, *READERS, signed=True) as change:
            case = change.case(case_id).in_words
            if (has := _require(may_hand_over, change, case_id)) != owner:
                what = f"{has} has it by now, not {owner}"
                raise PlannerError.one(what, case, hint="look at it again, then hand it over")
            if change.known_person(to, "handed to").role not in PREPARERS:
                what = f"{to} prepares no cases"
                raise PlannerError.one(what, "handed to", hint=f"somebody who is a {' or a '.join(PREPARERS)}")
            if to == owner:
                raise PlannerError.one(f"{to} has this case already", case)
            handed = change.enter(Handover, schema.handovers, "handed over", case_id=case_id, to_whom=to, why=why)
            more = f": {why}" if why else ""
            change.notify((to,) if to != by else (), f"{case}, was handed to you by {by}{more}", case_id)
            change.notify((owner,) if owner != by else (), f"{case}, was handed to {to} by {by}{more}", case_id)
            return handed

    def handovers(self, case_id: int) -> tuple[Handover, ...]:
        """Every hand-over of a case, the first one first."""
        return self._of_case(Handover, schema.handovers, case_id)


def owners_in(reading: ReadTransaction, case_ids: Sequence[int]) -> dict[int, tuple[str, ...]]:
    """By case, everybody who had it in their order: the author first, whoever has it now last."""
    cases, handovers = schema.cases, schema.handovers
    authors = select(cases.c.id, cases.c.by).where(cases.c.id.in_(case_ids))
    handed = select(handovers).where(handovers.c.case_id.in_(case_ids)).order_by(handovers.c.id)
    owners = {row.id: [row.by] for row in reading.rows(authors)}
    for row in reading.rows(handed):
        owners[row.case_id].append(row.to_whom)
    return {case_id: tuple(had) for case_id, had in owners.items()}


def may_edit(owners: Sequence[str], code: str, role: str) -> bool:
    """Whether somebody in a role may edit a case of these owners."""
    return role in DECIDERS or (role == "trainee" and code in owners)


def may_hand_over(owners: Sequence[str], code: str, role: str) -> bool:
    """Whether somebody in a role may hand a case of these owners over."""
    return role in BUILDERS or may_edit(owners, code, role)


def require_editor(change: Transaction, case_id: int) -> None:
    """Raises NotTheirs where whoever makes the change may not edit the case."""
    _require(may_edit, change, case_id)


def _require(may: Callable[[Sequence[str], str, str], bool], change: Transaction, case_id: int) -> str:
    """Whoever has the case. Raises NotTheirs."""
    owners, person = owners_in(change, [case_id])[case_id], change.person(change.by)
    if person is None or not may(owners, change.by, person.role):
        raise NotTheirs(change.case(case_id).in_words, change.by, owners[-1])
    return owners[-1]
