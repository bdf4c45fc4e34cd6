"""The trail: every row entered gets an entry that holds it, chained to the entry before by a hash."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import Any

from planner.records.schema import ADDED_LATER, HASHED_IN_TRAIL

FIRST = "0" * 64
LINKED = ("sequence", "at", "who", "what", "kept_in", "row", "case_id", "before", "after", "previous")


def canonical(value: Any) -> str:
    """The one JSON text of a value: keys sorted, no spaces, nothing escaped that need not be."""
    return json.dumps(value, ensure_ascii=False, sort_keys=True, separators=(",", ":"), allow_nan=False)


def sha256(text: str) -> str:
    # What another program put into the database may hold half a character; its hash must come all the same.
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def hash_of(entry: Mapping[str, Any]) -> str:
    """The hash of an entry of the trail: over every column but the hash itself."""
    return sha256(canonical([entry[name] for name in LINKED]))


def in_trail(table: str, row: Mapping[str, Any]) -> str:
    """A row as the trail holds it: canonical JSON, long JSON in it as its hash."""
    return canonical(
        {
            name: f"sha256:{sha256(str(value))}" if (table, name) in HASHED_IN_TRAIL else value
            for name, value in row.items()
            if value is not None or (table, name) not in ADDED_LATER
        }
    )
