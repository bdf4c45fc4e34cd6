"""Signed-in sessions: a random token in the browser's cookie, its hash and its times in the store."""

from __future__ import annotations

import contextlib
import datetime
import hashlib
import hmac
import secrets
from dataclasses import dataclass

from planner.records.database import StoreUnavailableError
from planner.records.store import Store
from planner.web.security.throttle import as_kept
from planner.web.server.settings import Settings

# A session's last sight is written at most this often (seconds), so that reading pages seldom writes.
SIGHT = 60


@dataclass(frozen=True)
class SignInSession:
    """A session in force: whose it is, the mark of the password it began with, the token its forms carry."""

    person: str
    password_mark: str
    csrf: str


class SignInSessions:
    """SignInSessions in the store, with the times after which they are over."""

    def __init__(self, store: Store, settings: Settings) -> None:
        self.store = store
        self.settings = settings

    def begin(self, person: str, password_hash: str) -> str:
        """Start a session and return its token, 256 random bits."""
        token = secrets.token_urlsafe(32)
        over = self.settings.clock() - datetime.timedelta(seconds=self.settings.idle + SIGHT)
        self.store.end_sign_ins_unused_since(as_kept(over))
        self.store.start_sign_in(_hash(token), person, password_mark(password_hash))
        return token

    def find(self, token: str) -> SignInSession | None:
        """The session of a token, None when there is none or its time is over."""
        stored = self.store.session(_hash(token))
        if stored is None:
            return None
        now = self.settings.clock()
        idle, age = ((now - _time(at)).total_seconds() for at in (stored.seen_at, stored.started_at))
        over = idle > self.settings.idle or age > self.settings.longest
        # On a full or locked database what is there can still be read; only the times are then kept a little less well.
        with contextlib.suppress(StoreUnavailableError):
            if over:
                self.store.end_sign_in(stored.token_sha256)
            elif idle >= SIGHT:
                self.store.touch_sign_in(stored.token_sha256)
        if over:
            return None
        return SignInSession(stored.person, stored.secret, csrf_of(token))

    def end(self, token: str) -> None:
        self.store.end_sign_in(_hash(token))


def csrf_of(token: str) -> str:
    """The form token of a session: whoever does not hold the cookie cannot compute it."""
    return hmac.new(token.encode(), b"form token", hashlib.sha256).hexdigest()


def password_mark(password_hash: str) -> str:
    """A digest of a password's hash, kept with a session: a changed password ends what began with the old one."""
    return hashlib.sha256(password_hash.encode()).hexdigest()


def _time(at: str) -> datetime.datetime:
    return datetime.datetime.fromisoformat(at)


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
