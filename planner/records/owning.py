"""Who has a case: its author, until it is handed over. They, whoever had it before, and any consultant may edit it."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import Connection, Row, select

from planner.errors import Fault, PlannerError
from planner.records import schema
from planner.records.repository import Repository, checked_text, known_person, notify, one_of, person_in
from planner.records.rows import PREPARERS, READERS, Handover
from planner.records.trail import Transaction
from planner.wording.words import eye_words

# Organisers hand over what was left by somebody who has gone; they edit nothing.
_ALWAYS_HAND_OVER = ("consultant", "organiser")


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

        By its author, somebody it was handed to, a consultant or an organiser. Raises PlannerError, also when
        somebody else has it by now.
        """
        why = checked_text(why, "reason")
        with self._changing(by, *READERS) as change:
            self._as_person(by)
            connection, told = change.connection, _told(change.connection, case_id)
            owners = owners_in(connection, [case_id])[case_id]
            person = person_in(connection, by)
            if person is None or not may_hand_over(owners, by, person.role):
                raise NotTheirs(told, by, owners[-1])
            if owners[-1] != owner:
                what = f"{owners[-1]} has it by now, not {owner}"
                raise PlannerError.one(what, told, hint="look at it again, then hand it over")
            if known_person(connection, to, "handed to").role not in PREPARERS:
                what = f"{to} prepares no cases"
                raise PlannerError.one(what, "handed to", hint=f"somebody who is a {' or a '.join(PREPARERS)}")
            if to == owner:
                raise PlannerError.one(f"{to} has this case already", told)
            row = change.insert(
                schema.handovers, "handed over", {"case_id": case_id, "to_whom": to, "why": why}, case_id
            )  # fmt: skip
            more = f": {why}" if why else ""
            notify(change, (to,) if to != by else (), f"{told}, was handed to you by {by}{more}", case_id)
            notify(change, (owner,) if owner != by else (), f"{told}, was handed to {to} by {by}{more}", case_id)
            return Handover(row["id"], case_id, to, why, change.at, by)

    def handovers(self, case_id: int) -> tuple[Handover, ...]:
        """Every hand-over of a case, the first one first."""
        table = schema.handovers
        query = select(table).where(table.c.case_id == case_id).order_by(table.c.id)
        with self._database.reading() as connection:
            return tuple(_handover_of(row) for row in connection.execute(query))


def owners_in(connection: Connection, case_ids: Sequence[int]) -> dict[int, tuple[str, ...]]:
    """By case, everybody who had it in their order: the author first, whoever has it now last."""
    cases, handovers = schema.cases, schema.handovers
    owners = {
        row.id: [row.by] for row in connection.execute(select(cases.c.id, cases.c.by).where(cases.c.id.in_(case_ids)))
    }
    for row in connection.execute(
        select(handovers).where(handovers.c.case_id.in_(case_ids)).order_by(handovers.c.id)
    ):  # fmt: skip
        owners[row.case_id].append(row.to_whom)
    return {case_id: tuple(had) for case_id, had in owners.items()}


def may_edit(owners: Sequence[str], code: str, role: str) -> bool:
    """Whether somebody in a role may edit a case of these owners."""
    return role == "consultant" or (role == "trainee" and code in owners)


def may_hand_over(owners: Sequence[str], code: str, role: str) -> bool:
    """Whether somebody in a role may hand a case of these owners over."""
    return role in _ALWAYS_HAND_OVER or may_edit(owners, code, role)


def require_editor(change: Transaction, case_id: int) -> None:
    """Raises NotTheirs where whoever makes the change may not edit the case."""
    told = _told(change.connection, case_id)
    owners = owners_in(change.connection, [case_id])[case_id]
    person = person_in(change.connection, change.by)
    if person is None or not may_edit(owners, change.by, person.role):
        raise NotTheirs(told, change.by, owners[-1])


def _told(connection: Connection, case_id: int) -> str:
    case = one_of(connection, schema.cases, case_id, "case")
    return eye_words(case.reference, case.eye)


def _handover_of(row: Row[tuple[object, ...]]) -> Handover:
    return Handover(**row._mapping)
