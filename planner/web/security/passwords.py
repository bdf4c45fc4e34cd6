"""Passwords checked against argon2id hashes, in the same time whether or not the account exists."""

from __future__ import annotations

from threading import BoundedSemaphore

from argon2 import PasswordHasher
from argon2.exceptions import Argon2Error, InvalidHashError

from planner.records.password_hashing import normal

# Each check takes tens of megabytes: so many at once, the others wait.
AT_ONCE = 4


class Passwords:
    def __init__(self, hasher: PasswordHasher | None = None) -> None:
        self.hasher = hasher or PasswordHasher()
        self.nobody = self.hasher.hash("no account has this hash")
        self.turns = BoundedSemaphore(AT_ONCE)

    def check(self, stored: str | None, password: str) -> str | None:
        """The hash that a password fits, None where it is wrong: as it is stored, or anew with today's parameters.

        `stored` is None for an account that is unknown or has no password.
        """
        password = normal(password)
        with self.turns:
            try:
                self.hasher.verify(stored or self.nobody, password)
            except (Argon2Error, InvalidHashError):
                return None
            return self.hasher.hash(password) if stored and self.hasher.check_needs_rehash(stored) else stored
