"""Waits between tries of a password, by account and by address; the same for a code that does not exist."""

from __future__ import annotations

import datetime
import hashlib

from planner.records.store import Store
from planner.web.server.settings import Settings

REMEMBERED = datetime.timedelta(hours=1)
FIRST_WAIT = 15
LONGEST_WAIT = 15 * 60


class Throttle:
    """Failed tries kept in the store, so that a restart forgives nothing."""

    def __init__(self, store: Store, settings: Settings) -> None:
        self.store = store
        self.settings = settings

    def begin(self, code: str, address: str) -> int:
        """Seconds to wait before a try is looked at; with 0 it is, and counts as failed until it succeeds.

        The account's try is counted before the password is read, so that many tries at once gain nothing.
        """
        account, place = _account(code), _place(address)
        wait = max(
            self._wait(account, self.settings.free_tries_account),
            self._wait(place, self.settings.free_tries_address),
        )
        if wait == 0:
            self.store.failed_sign_in(account)
        return wait

    def failed(self, address: str) -> None:
        """Count a failure against the address, and forget what is too old to count."""
        self.store.failed_sign_in(_place(address))
        self.store.forget_failed_sign_ins(before=as_kept(self.settings.clock() - REMEMBERED))

    def succeeded(self, code: str) -> None:
        """Forget the account's failures; the address keeps those against other accounts."""
        self.store.forget_failed_sign_ins(_account(code))

    def _wait(self, key: str, free: int) -> int:
        now = self.settings.clock()
        times = self.store.failed_sign_ins(key, as_kept(now - REMEMBERED))
        if len(times) < free:
            return 0
        pause = min(FIRST_WAIT * 2 ** min(len(times) - free, 10), LONGEST_WAIT)
        left = pause - (now - datetime.datetime.fromisoformat(times[-1])).total_seconds()
        return max(0, -int(-left // 1))


def as_kept(moment: datetime.datetime) -> str:
    """A moment as the store writes it, UTC."""
    return moment.astimezone(datetime.UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def _account(code: str) -> str:
    return "account:" + hashlib.sha256(code.strip().lower().encode()).hexdigest()


def _place(address: str) -> str:
    return "address:" + hashlib.sha256(address.encode()).hexdigest()
