"""Signed-in browsers and failed sign-ins: of the hour only, so neither in the trail nor in a backup."""

from __future__ import annotations

from sqlalchemy import Executable, delete, func, insert, select, update

from planner.records import schema
from planner.records.repository import Repository
from planner.records.rows import SignIn


class SignIns(Repository):
    def start_sign_in(self, token_sha256: str, person: str, secret: str) -> SignIn:
        """Keep a session under the SHA-256 of its token, never the token itself."""
        now = self._now()
        session = SignIn(token_sha256, person, secret, now, now)
        self._write(insert(schema.sessions).values(vars(session)))
        return session

    def session(self, token_sha256: str) -> SignIn | None:
        table = schema.sessions
        rows = self._all(SignIn, select(table).where(table.c.token_sha256 == token_sha256))
        return rows[0] if rows else None

    def touch_sign_in(self, token_sha256: str) -> None:
        """Note that it is in use now."""
        table = schema.sessions
        self._write(update(table).where(table.c.token_sha256 == token_sha256).values(seen_at=self._now()))

    def end_sign_in(self, token_sha256: str) -> None:
        self._write(delete(schema.sessions).where(schema.sessions.c.token_sha256 == token_sha256))

    def end_sign_ins_unused_since(self, moment: str) -> None:
        """Forget those last used before a moment (UTC text)."""
        self._write(delete(schema.sessions).where(schema.sessions.c.seen_at < moment))

    def failed_sign_in(self, key: str) -> None:
        """Count a failed sign-in against an account or an address."""
        table = schema.failed_sign_ins
        with self._database.writing() as connection:
            highest = connection.scalar(select(func.max(table.c.id))) or 0
            connection.execute(insert(table).values(id=highest + 1, key=key, at=self._now()))

    def failed_sign_ins(self, key: str, since: str) -> tuple[str, ...]:
        """When sign-ins failed since a moment (UTC text), oldest first."""
        table = schema.failed_sign_ins
        query = select(table.c.at).where(table.c.key == key, table.c.at >= since).order_by(table.c.id)
        with self._reading() as reading:
            return tuple(reading.connection.scalars(query))

    def forget_failed_sign_ins(self, key: str | None = None, before: str | None = None) -> None:
        """Forget those of a key, or of everybody before a moment (UTC text)."""
        table = schema.failed_sign_ins
        conditions = [table.c.key == key] if key is not None else []
        if before is not None:
            conditions.append(table.c.at < before)
        self._write(delete(table).where(*conditions))

    def _write(self, statement: Executable) -> None:
        with self._database.writing() as connection:
            connection.execute(statement)
