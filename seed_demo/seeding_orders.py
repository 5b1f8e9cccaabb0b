"""Filling the demonstration: customers' orders, a customer's own table, and what is composed."""

import json
from datetime import datetime, timedelta
from functools import partial

from app.requirements import service as requirements
from app.requirements.records import RequirementKind
from app.requirements.service import Named
from app.requirements.service.orders import compose_table, enter_order, state_requirement
from seed_demo.diary import DemoShop
from seed_demo.scenario_decided import (
    COMPOSED_FOR,
    COMPOSED_TABLE,
    EXTRA_TABLE,
    ORDERS,
    DemoOrder,
)
from seed_demo.scenario_papers import CUSTOMERS_TABLE, TABLES
from seed_demo.seeding_keying import key_as_written, verify_whole

_CLERK, _SUPERVISOR = "skestle", "rhalvarth"


def enter_orders(shop: DemoShop, password: str) -> None:
    """Each on the day it was placed; the last with the customer's table and the composed one."""
    for order in ORDERS:
        at = shop.day(order.placed_days_ago, 9, 15)
        if order.number == COMPOSED_FOR:
            _enter_composed(shop, order, at, password)
        else:
            shop.enter(at, partial(_enter, shop, order))


def _enter_composed(shop: DemoShop, order: DemoOrder, at: datetime, password: str) -> None:
    """The customer's table comes before its order; the composed one is keyed and verified too."""
    kind = RequirementKind.ACCEPTANCE_TABLE
    before = at - timedelta(days=1)
    extra = Named(kind, EXTRA_TABLE, CUSTOMERS_TABLE["revision"])
    shop.enter(before, partial(_write_extra, shop))
    _enter_verifying(shop, extra, before, password)
    shop.enter(at, partial(_enter, shop, order))
    composed = at + timedelta(minutes=30)
    shop.enter(composed, partial(_compose, shop))
    _enter_verifying(shop, Named(kind, COMPOSED_TABLE, "1"), composed, password)


def _enter_verifying(shop: DemoShop, named: Named, at: datetime, password: str) -> None:
    keyed = partial(key_as_written, shop, named, password)
    shop.enter(at + timedelta(minutes=40), keyed)
    verified = partial(verify_whole, shop, named, _SUPERVISOR, password)
    shop.enter(at + timedelta(minutes=80), verified)


def _enter(shop: DemoShop, order: DemoOrder, at: datetime) -> None:
    by = shop.people[_CLERK]
    enter_order(
        shop.database,
        number=order.number,
        customer=order.customer,
        placed_on=at.date(),
        later_revisions_allowed=order.later_revisions,
        rework_needs_customer=order.rework_needs_customer,
        note=order.note,
        by=by,
        at=at,
        zone=shop.zone,
    )
    if order.stated is not None:
        code, revision, clause = order.stated
        state_requirement(
            shop.database,
            order.number,
            code=code,
            stated_revision=revision,
            is_extra=code == EXTRA_TABLE,
            clause=clause,
            by=by,
            at=at,
        )


def _write_extra(shop: DemoShop, at: datetime) -> None:
    requirements.write_table(
        shop.database,
        code=EXTRA_TABLE,
        paper=json.dumps(CUSTOMERS_TABLE),
        filename=f"{EXTRA_TABLE}.json",
        source_document="Hallowmere sheet HX-31 (invented)",
        by=shop.people[_CLERK],
        at=at,
    )


def _compose(shop: DemoShop, at: datetime) -> None:
    compose_table(
        shop.database,
        COMPOSED_FOR,
        base=TABLES[0].code,
        code=COMPOSED_TABLE,
        name="Witness coupons, M-31 A2, for Hallowmere Wings (invented)",
        revision="1",
        by=shop.people[_CLERK],
        at=at,
        zone=shop.zone,
    )
