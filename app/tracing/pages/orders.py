"""Customers' orders: the list, and one with its panels and what governs them."""

from fastapi import APIRouter, Response

from app.people.queries import acts_about, names
from app.people.rights import Act, may
from app.people.signed_in import SignedIn
from app.requirements.order_queries import newest_orders
from app.tracing.forms import place_in_list
from app.tracing.queries.orders import order_sheet
from app.web.page import Page, Records, now

router = APIRouter()
_SHOWN = 60


@router.get("/orders")
def show_orders(page: Page, records: Records, by: SignedIn, before: str = "") -> Response:
    """Orders, newest first."""
    with records.read() as session:
        found = newest_orders(session, most=_SHOWN + 1, before=place_in_list(before))
    return page.show(
        "tracing/orders.html",
        orders=found[:_SHOWN],
        may_enter=may(by, Act.ENTER_ORDER),
        next_url=f"/orders?before={found[_SHOWN - 1].id}" if len(found) > _SHOWN else None,
    )


@router.get("/orders/{number:path}")
def show_order(page: Page, records: Records, by: SignedIn, number: str) -> Response:
    """One order: what it states, what governs its panels and why."""
    with records.read() as session:
        sheet = order_sheet(session, number, at=now(), zone=page.settings.zone)
        return page.show(
            "tracing/order.html",
            order=sheet.on_file.order,
            sheet=sheet,
            names=names(session),
            acts=acts_about(session, "order", sheet.on_file.order.number),
            may_enter=may(by, Act.ENTER_ORDER),
            may_compose=may(by, Act.WRITE_REQUIREMENT) and may(by, Act.ENTER_ORDER),
        )
