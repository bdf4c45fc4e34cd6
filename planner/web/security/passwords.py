"""Passwords checked against argon2id hashes, in the same time whether or not the account exists."""

from __future__ import annotations

from dataclasses import dataclass
from threading import BoundedSemaphore

from argon2 import PasswordHasher
from argon2.exceptions import Argon2Error, InvalidHashError

from planner.records.password_hashing import normal

# Each check takes tens of megabytes: so many at once, the others wait.
AT_ONCE = 4


@dataclass(frozen=True)
class PasswordCheck:
    """Whether the password was right; `renewed` is a hash with today's parameters where the old one has others."""

    right: bool
    renewed: str | None = None


class Passwords:
    def __init__(self, hasher: PasswordHasher | None = None) -> None:
        self.hasher = hasher or PasswordHasher()
        self.nobody = self.hasher.hash("no account has this hash")
        self.turns = BoundedSemaphore(AT_ONCE)

    def check(self, stored: str | None, password: str) -> PasswordCheck:
        """Compare with the stored hash; `stored` is None for an account that is unknown or has no password."""
        password = normal(password)
        with self.turns:
            try:
                self.hasher.verify(stored or self.nobody, password)
            except (Argon2Error, InvalidHashError):
                return PasswordCheck(False)
            if stored is None:
                return PasswordCheck(False)
            if self.hasher.check_needs_rehash(stored):
                return PasswordCheck(True, self.hasher.hash(password))
            return PasswordCheck(True)
