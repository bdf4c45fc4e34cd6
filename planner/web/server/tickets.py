"""What brings the waiting page of a print back to the same print: a ticket in its address, good for that once."""

from __future__ import annotations

import secrets
from collections import OrderedDict
from dataclasses import dataclass, field

from planner.documents.printing.queue import PrintJob

# Tickets that are held; whoever comes with an older one is given a new print.
HELD = 1000


@dataclass(frozen=True)
class Ordered:
    """A print that somebody ordered, and the name of the file it becomes."""

    job: PrintJob
    name: str


@dataclass
class Tickets:
    """A ticket is for one person and one address, and goes with the print: the address asked again is a new print."""

    _held: OrderedDict[str, tuple[str, str, Ordered]] = field(default_factory=OrderedDict)

    def give(self, person: str, path: str, ordered: Ordered) -> str:
        """A ticket for that person to come back with to that address."""
        ticket = secrets.token_urlsafe(12)
        self._held[ticket] = (person, path, ordered)
        while len(self._held) > HELD:
            self._held.popitem(last=False)
        return ticket

    def take(self, ticket: str, person: str, path: str) -> Ordered | None:
        """The print that the ticket is for, None where there is none; the ticket is used up."""
        held = self._held.get(ticket)
        if held is None or held[:2] != (person, path):
            return None
        self._held.pop(ticket, None)
        return held[2]
