"""What must be ordered for the lists of the coming weeks, and by when: as a page, and as CSV."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from planner.documents.figures import day
from planner.lists.output.orders import Order, orders, orders_table
from planner.web.lists.judged import session_path, state_of
from planner.web.security.authorisation import Building
from planner.web.server.presenting import page
from planner.web.server.site import Site, site_of

router = APIRouter()


@router.get("/lists/orders")
def show(request: Request, visitor: Building) -> Response:
    site = site_of(request)
    found, lead = _orders(site), _lead_days(site)
    return page(
        request, "list_orders.html", orders=[(one, session_path(one.session.id)) for one in found], day=day,
        lead=lead, without=[what for what in ("lens", "kit") if what not in lead],
    )  # fmt: skip


@router.get("/lists/orders.csv")
def table(request: Request, visitor: Building) -> Response:
    headers = {"Content-Disposition": 'inline; filename="orders.csv"'}
    content = orders_table(_orders(site_of(request))).encode()
    return Response(content, media_type="text/csv; charset=utf-8", headers=headers)


def _orders(site: Site) -> tuple[Order, ...]:
    state = state_of(site)
    return orders(state.held.instance, state.lists, _lead_days(site))


def _lead_days(site: Site) -> dict[str, int]:
    limits = site.lists.roster.limits.lead_days if site.lists else {}
    return {str(what): count for what, count in limits.items()}
