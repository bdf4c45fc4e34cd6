"""What must be ordered for the lists of the coming weeks, and by when: as a page, and as CSV."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from planner.documents.figures import day
from planner.lists.output.orders import LeadDays, SupplyOrder, orders, orders_table
from planner.web.lists.shown import lists_shown, session_path
from planner.web.security.authorisation import Building
from planner.web.server.presenting import page
from planner.web.server.printing import inline
from planner.web.server.site import site_of

router = APIRouter()


@router.get("/lists/orders")
def show(request: Request, visitor: Building) -> Response:
    lead = _lead_days(request)
    return page(
        request, "list_orders.html", orders=[(one, session_path(one.session.id)) for one in _orders(request)], day=day,
        lead=lead, without=[what for what in ("lens", "kit") if what not in lead],
    )  # fmt: skip


@router.get("/lists/orders.csv")
def table(request: Request, visitor: Building) -> Response:
    return inline(orders_table(_orders(request)).encode(), "text/csv; charset=utf-8", "orders.csv")


def _orders(request: Request) -> tuple[SupplyOrder, ...]:
    now = lists_shown(request)
    return orders(now.instance, now.lists, _lead_days(request))


def _lead_days(request: Request) -> LeadDays:
    reader = site_of(request).lists
    return reader.roster.limits.lead_days if reader else {}
