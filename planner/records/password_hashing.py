"""Passwords: only an argon2id hash of one is ever kept."""

from __future__ import annotations

import unicodedata

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from planner.errors import PlannerError

LEAST_CHARACTERS = 12
MOST_CHARACTERS = 1024
_hasher = PasswordHasher()


def new_hash(password: str, code: str) -> str:
    """The argon2id hash of a new password for a person's code. Raises PlannerError for one that is soon guessed."""
    password = normal(password)
    faults = {
        f"it has fewer than {LEAST_CHARACTERS} characters": len(password) < LEAST_CHARACTERS,
        f"it has more than {MOST_CHARACTERS} characters": len(password) > MOST_CHARACTERS,
        "it holds the person's code": code.casefold() in password.casefold(),
        "it is made of fewer than five different characters": len(set(password.casefold())) < 5,
    }
    if why := next((why for why, holds in faults.items() if holds), ""):
        raise PlannerError.one("the password cannot be used", why=why, hint="four words that do not belong together")
    return _hasher.hash(password)


def matches(hash: str, password: str) -> bool:
    """Whether a password is the one hashed; takes its time on purpose."""
    try:
        return _hasher.verify(hash, normal(password))
    except (VerificationError, InvalidHashError):
        return False


def normal(password: str) -> str:
    """A password as it is hashed and checked."""
    # The same letters typed on another keyboard may come composed otherwise.
    return unicodedata.normalize("NFC", password)
