"""What the store keeps of signing in: sessions by the hash of their token, and failed tries, which make others wait.

Failed tries count by account and by address, the same for a code that does not exist; a restart forgives none.
"""

from __future__ import annotations

import contextlib
import datetime
import hashlib
import hmac
import secrets
from dataclasses import dataclass

from planner.records.database import StoreUnavailableError
from planner.records.rows import SignIn
from planner.records.store import Store
from planner.web.server.settings import Settings

# A session's last sight is written at most this often (seconds), so that reading pages seldom writes.
SIGHT = 60
REMEMBERED = datetime.timedelta(hours=1)
FIRST_WAIT = 15
LONGEST_WAIT = 15 * 60


@dataclass(frozen=True)
class SignInSessions:
    """Sessions in the store, with the times after which they are over."""

    store: Store
    settings: Settings

    def begin(self, person: str, password_hash: str) -> str:
        """Start a session and return its token, 256 random bits."""
        token = secrets.token_urlsafe(32)
        over = self.settings.clock() - datetime.timedelta(seconds=self.settings.idle + SIGHT)
        self.store.end_sign_ins_unused_since(_as_kept(over))
        self.store.start_sign_in(sha256_of(token), person, sha256_of(password_hash))
        return token

    def find(self, token: str) -> SignIn | None:
        """The session of a token, its secret that of the password's hash it began with; None once it is over."""
        stored, now = self.store.session(sha256_of(token)) if token else None, self.settings.clock()
        if stored is None:
            return None
        idle, age = (_seconds_since(at, now) for at in (stored.seen_at, stored.started_at))
        over = idle > self.settings.idle or age > self.settings.longest
        # On a full or locked database what is there can still be read; only the times are then kept a little less well.
        with contextlib.suppress(StoreUnavailableError):
            if over:
                self.store.end_sign_in(stored.token_sha256)
            elif idle >= SIGHT:
                self.store.touch_sign_in(stored.token_sha256)
        return None if over else stored

    def end(self, token: str) -> None:
        if token:
            self.store.end_sign_in(sha256_of(token))


@dataclass(frozen=True)
class Throttle:
    """Waits between tries of a password."""

    store: Store
    settings: Settings

    def begin(self, code: str, address: str) -> int:
        """Seconds to wait before a try is looked at; with 0 it is, and counts as failed until it succeeds.

        The account's try is counted before the password is read, so that many tries at once gain nothing.
        """
        account = _account(code)
        wait = max(
            self._wait(account, self.settings.free_tries_account),
            self._wait(_place(address), self.settings.free_tries_address),
        )
        if wait == 0:
            self.store.failed_sign_in(account)
        return wait

    def failed(self, address: str) -> None:
        """Count a failure against the address, and forget what is too old to count."""
        self.store.failed_sign_in(_place(address))
        self.store.forget_failed_sign_ins(before=_as_kept(self.settings.clock() - REMEMBERED))

    def succeeded(self, code: str) -> None:
        """Forget the account's failures; the address keeps those against other accounts."""
        self.store.forget_failed_sign_ins(_account(code))

    def _wait(self, key: str, free: int) -> int:
        now = self.settings.clock()
        times = self.store.failed_sign_ins(key, _as_kept(now - REMEMBERED))
        if len(times) < free:
            return 0
        pause = min(FIRST_WAIT * 2 ** min(len(times) - free, 10), LONGEST_WAIT)
        return max(0, -int(-(pause - _seconds_since(times[-1], now)) // 1))


def csrf_of(token: str) -> str:
    """The form token of a session: whoever does not hold the cookie cannot compute it."""
    return hmac.new(token.encode(), b"form token", hashlib.sha256).hexdigest()


def sha256_of(secret: str) -> str:
    """What is kept of a token, or of a password's hash; a changed password ends what began with the old one."""
    return hashlib.sha256(secret.encode()).hexdigest()


def _account(code: str) -> str:
    return f"account:{sha256_of(code.strip().lower())}"


def _place(address: str) -> str:
    return f"address:{sha256_of(address)}"


def _as_kept(moment: datetime.datetime) -> str:
    """A moment as the store writes it, UTC."""
    return moment.astimezone(datetime.UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def _seconds_since(at: str, now: datetime.datetime) -> float:
    return (now - datetime.datetime.fromisoformat(at)).total_seconds()
