"""People and their roles, and the hashes of their passwords."""

from __future__ import annotations

import re
from typing import Any

from sqlalchemy import delete, insert, select, update

from planner.errors import PlannerError
from planner.records import schema
from planner.records.repository import Repository
from planner.records.roles import COMMAND_LINE, ROLES, SERVER
from planner.records.rows import Person
from planner.records.trail import canonical, sha256
from planner.records.transaction import is_newest

_CODE = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")
LONGEST_CODE, LONGEST_NAME = 40, 80


class People(Repository):
    def add_person(self, code: str, name: str, role: str, by: str, trainee_id: str | None = None) -> Person:
        """Enter a person. Raises PlannerError for a code in use, or one that is no code."""
        checked_person(code, name, role)
        with self._changing(by, "administrator") as change:
            if change.person(code):
                raise PlannerError.one(f"{code!r} is in use", hint="another code, or planner people list")
            values = _checked(code, 1, name, role, trainee_id, True)
            return change.enter(Person, schema.people, "person added", **values)

    def change_person(
        self,
        code: str,
        by: str,
        name: str | None = None,
        role: str | None = None,
        trainee_id: str | None = None,
        active: bool | None = None,
    ) -> Person:
        """Change what is given, and keep the rest. Whoever is set inactive is signed out. Raises PlannerError."""
        with self._changing(by, "administrator") as change:
            before = change.last_row(schema.people, schema.people.c.code == code)
            if before is None:
                raise _nobody(code)
            values = _checked(
                code,
                before.number + 1,
                before.name if name is None else name,
                before.role if role is None else role,
                before.trainee_id if trainee_id is None else trainee_id,
                bool(before.active) if active is None else active,
            )
            person = change.enter(Person, schema.people, "person changed", before=before._mapping, **values)
            if not person.active:
                change.connection.execute(delete(schema.sessions).where(schema.sessions.c.person == code))
            return person

    def person(self, code: str) -> Person:
        """The person of a code, active or not. Raises PlannerError."""
        with self._reading() as reading:
            person = reading.person(code)
        if person is None:
            raise _nobody(code)
        return person

    def people(self, active_only: bool = False) -> tuple[Person, ...]:
        """Everybody, by code."""
        table = schema.people
        everybody = self._all(Person, select(table).where(is_newest(table.c.code)).order_by(table.c.code))
        return tuple(person for person in everybody if person.active or not active_only)

    def set_password_hash(self, code: str, hash: str, by: str) -> None:
        """Keep a new password's hash, one's own or by an administrator; signs the person out. Raises PlannerError."""
        table = schema.passwords
        with self._changing(by, *(() if by == code else ("administrator",))) as change:
            if change.person(code) is None:
                raise _nobody(code)
            before = change.connection.execute(select(table).where(table.c.code == code)).first()
            row = {"code": code, "hash": hash, "at": change.at}
            if before is None:
                change.connection.execute(insert(table).values(row))
            else:
                change.connection.execute(update(table).where(table.c.code == code).values(row))
            # The trail lasts; a hash of the hash shows tampering and serves no one who wants the password.
            replaced = None if before is None else password_in_trail(before._mapping)
            change.tell("password set", table.name, code, replaced, password_in_trail(row))
            change.connection.execute(delete(schema.sessions).where(schema.sessions.c.person == code))

    def password_hash(self, code: str) -> str | None:
        """The hash of an active person's password, or None."""
        with self._reading() as reading:
            person = reading.person(code)
            if person is None or not person.active:
                return None
            table = schema.passwords
            return reading.connection.scalar(select(table.c.hash).where(table.c.code == code))


def checked_person(code: str, name: str, role: str) -> None:
    """Raises PlannerError for what cannot be a code, a name or a role."""
    if not _CODE.fullmatch(code) or code in (COMMAND_LINE, SERVER) or len(code) > LONGEST_CODE:
        raise PlannerError.one(f"{code[:40]!r} cannot be a code", why="small letters, digits and -", hint="trainee-3")
    _checked(code, 1, name, role, None, True)


def password_in_trail(row: Any) -> str:
    """A row of passwords as the trail holds it."""
    return canonical({"code": row["code"], "hash": f"sha256:{sha256(row['hash'])}", "at": row["at"]})


def _nobody(code: str) -> PlannerError:
    return PlannerError.one(f"nobody has the code {code!r}", hint="planner people list")


def _checked(code: str, number: int, name: str, role: str, trainee_id: str | None, active: bool) -> dict[str, Any]:
    name = name.strip()
    if not name or not name.isprintable() or len(name) > LONGEST_NAME:
        raise PlannerError.one(f"the name of {code} must be one line of up to {LONGEST_NAME} letters")
    if role not in ROLES:
        raise PlannerError.one(f"{role!r} is not a role", hint=f"one of {', '.join(ROLES)}")
    return {
        "code": code, "number": number, "name": name, "role": role, "trainee_id": trainee_id or None,
        "active": int(active),
    }  # fmt: skip
