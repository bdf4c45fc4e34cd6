"""What may be set of a server, and the clock it reads."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from dataclasses import dataclass

from planner.records.repository import utc_now


@dataclass(frozen=True)
class Settings:
    """`secure_cookies` is off only on loopback http. Times are seconds, sizes bytes, `clock` gives an aware time."""

    secure_cookies: bool = True
    idle: int = 30 * 60
    longest: int = 10 * 60 * 60
    largest_request: int = 256 * 1024
    # A file of the roster, and the entries it gives.
    largest_file: int = 2_200_000
    # Failures that are free of a wait, for one account and for one address (many people may share an address).
    free_tries_account: int = 5
    free_tries_address: int = 20
    clock: Callable[[], datetime.datetime] = utc_now
