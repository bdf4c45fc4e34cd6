"""What brings the waiting page of a print back to the same print: a ticket in its address, good for that once."""

from __future__ import annotations

import secrets
from collections import OrderedDict
from dataclasses import dataclass, field

from planner.documents.printing.queue import PrintJob

# Tickets that are held; whoever comes with an older one is given a new print.
MOST_TICKETS = 1000


@dataclass(frozen=True)
class OrderedPrint:
    """A print that somebody ordered, and the name of the file it becomes."""

    job: PrintJob
    name: str


@dataclass
class Tickets:
    """A ticket is for one person and one address, and goes with the print: the address asked again is a new print."""

    _orders: OrderedDict[str, tuple[str, str, OrderedPrint]] = field(default_factory=OrderedDict)

    def give(self, person: str, path: str, ordered: OrderedPrint) -> str:
        """A ticket for that person to come back with to that address."""
        ticket = secrets.token_urlsafe(12)
        self._orders[ticket] = (person, path, ordered)
        while len(self._orders) > MOST_TICKETS:
            self._orders.popitem(last=False)
        return ticket

    def take(self, ticket: str, person: str, path: str) -> OrderedPrint | None:
        """The print that the ticket is for, None where there is none; the ticket is used up."""
        kept = self._orders.get(ticket)
        if kept is None or kept[:2] != (person, path):
            return None
        self._orders.pop(ticket, None)
        return kept[2]
