"""A print for whoever asks: the PDF itself where it is soon made, else a page that says how many are before it.

Programs, which cannot follow that page, are kept waiting for the PDF instead.
"""

from __future__ import annotations

import asyncio
import math
import secrets
import time
from collections.abc import Callable
from urllib.parse import quote

from fastapi import Request, Response
from starlette.concurrency import run_in_threadpool

from planner.documents.printing.process import FaultInPrintError
from planner.documents.printing.queue import NoPrintsNowError, PrintError, PrintJob
from planner.errors import PlannerError
from planner.web.security.authorisation import Visitor
from planner.web.server.presenting import page
from planner.web.server.site import OrderedPrint, Site, site_of

# Seconds that a browser is kept before it is shown the waiting page, and each time that page comes back.
FIRST, LATER = 3.0, 8.0
# Seconds after which the page comes back, and for which its print is kept in the queue: a phone in a pocket is slow.
COMES_BACK, KEPT = 2, 60.0
# Seconds between looks whether the browser is still there.
LOOKED_AFTER = 1.0
TICKET = "waiting"
# Tickets that are held; whoever comes with an older one is given a new print.
MOST_TICKETS = 1000
# The status for whoever is gone, which nobody reads.
NOBODY_THERE = 499


async def printed(request: Request, visitor: Visitor, back: str, order: Callable[[Site], OrderedPrint]) -> Response:
    """The print that `order` puts into the site's queue; `back` is the page it was asked from.

    `order` runs outside the event loop, and may refuse as any page may.
    """
    site = site_of(request)
    ordered = site.tickets.pop((request.query_params.get(TICKET, ""), visitor.code, request.url.path), None)
    came_back = ordered is not None and site.prints.kept_for(ordered.job, KEPT)
    try:
        if ordered is None or not came_back:
            async with site.ordering:
                ordered = await run_in_threadpool(order, site)
    except PrintError as error:
        return await run_in_threadpool(_not_printed, request, error)
    job, follows = ordered.job, "text/html" in request.headers.get("accept", "")
    patience = (LATER if came_back else FIRST) if follows else math.inf
    if not await _stays(request, site, job, patience):
        return Response(status_code=NOBODY_THERE)
    if job.outcome.cancelled():
        return await printed(request, visitor, back, order)
    if not job.outcome.done():
        return await run_in_threadpool(_waiting, request, site, visitor, ordered, back)
    outcome = job.outcome.result()
    if isinstance(outcome, FaultInPrintError):
        raise outcome
    if isinstance(outcome, PlannerError):
        return await run_in_threadpool(_not_printed, request, outcome)
    return inline(outcome, "application/pdf", ordered.name)


def inline(content: bytes, kind: str, name: str) -> Response:
    """A file that a browser shows, or saves under a name in plain letters."""
    plain = name.encode("ascii", "replace").decode().replace('"', "_").replace("/", "_")
    return Response(content, media_type=kind, headers={"Content-Disposition": f'inline; filename="{plain}"'})


async def _stays(request: Request, site: Site, job: PrintJob, patience: float) -> bool:
    """Wait until the job is done or patience is over, and say whether the reader is still there."""
    until, made = time.monotonic() + patience, asyncio.wrap_future(job.outcome)
    with site.prints.waited_for(job):
        while not made.done() and (left := until - time.monotonic()) > 0:
            await asyncio.wait({made}, timeout=min(LOOKED_AFTER, left))
            if not made.done() and await request.is_disconnected():
                return False
    return True


def _waiting(request: Request, site: Site, visitor: Visitor, ordered: OrderedPrint, back: str) -> Response:
    ahead = site.prints.ahead(ordered.job)
    site.prints.kept_for(ordered.job, KEPT)
    ticket = secrets.token_urlsafe(12)
    site.tickets[ticket, visitor.code, request.url.path] = ordered
    while len(site.tickets) > MOST_TICKETS:
        site.tickets.popitem(last=False)
    again = f"{quote(request.url.path)}?{TICKET}={ticket}"
    seconds = round(COMES_BACK + LATER)
    answer = page(request, "printing.html", 202, ahead=ahead, again=again, seconds=seconds, back=back)
    answer.headers["Refresh"] = f"{COMES_BACK}; url={again}"
    return answer


def _not_printed(request: Request, error: PlannerError) -> Response:
    """The page for a print that was not made: not now (503), or not at all (500)."""
    now = isinstance(error, NoPrintsNowError)
    status = 503 if now else 500
    answer = page(
        request, "problem.html", status, heading="Nothing was printed", detail="", code=status,
        faults=tuple(map(str, error.faults)),
        remedy="Nothing was changed or lost. " + (
            "Ask for the print again in a minute." if now
            else "Ask for it once more; if that fails, tell whoever runs the server which print it was."
        ),
    )  # fmt: skip
    if now:
        answer.headers["Retry-After"] = "60"
    return answer
