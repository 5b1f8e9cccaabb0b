"""Receiving lots, registering panels and coupons, handing coupons over; on both databases."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from sqlalchemy import delete, select, update
from sqlalchemy.exc import DatabaseError

from app.audit.records import Identity
from app.database import Database
from app.errors import Conflict, NotAllowed, NotFound, Refusal
from app.panels import queries, service
from app.panels.records import Coupon, Custody, CustodyStep, Decided, MaterialLot
from app.people.queries import acts_about
from tests.makers import NOW, Shop

MATERIAL = service.Material("Q-77", "W", "plate", Decimal("12.50"), "bare")


def _lot(database: Database, shop: Shop, **changed: Any) -> str:
    given: dict[str, Any] = {
        "code": "lot/9",
        "material": MATERIAL,
        "cast": "CAST 9",
        "certificate": "MC-9",
        "received_on": NOW.date(),
        "by": shop.inspector,
        "at": NOW,
        **changed,
    }
    return service.receive_lot(database, **given)


def _panel(database: Database, shop: Shop, **changed: Any) -> str:
    given: dict[str, Any] = {
        "code": "P-9",
        "lot": "LOT-1",
        "drawing": "DRW-9",
        "order_number": "ORD-9",
        "target_temper": "K1",
        "length_mm": Decimal("14000.0"),
        "width_mm": Decimal(2600),
        "treatments_most": 2,
        "treatments_before": 0,
        "by": shop.inspector,
        "at": NOW,
        **changed,
    }
    return service.register_panel(database, **given)


def _coupons(database: Database, shop: Shop, *codes: str, **changed: Any) -> int:
    given: dict[str, Any] = {
        "lot": "lot-1",
        "codes": codes or ("C-1", "C-2"),
        "place": " tray   3 ",
        "by": shop.inspector,
        "at": NOW,
        **changed,
    }
    return service.register_coupons(database, **given)


def _hand_over(database: Database, shop: Shop, step: Custody, **changed: Any) -> str:
    given: dict[str, Any] = {
        "coupon": " c-1 ",
        "step": step,
        "place": "bench",
        "by": shop.inspector,
        "at": NOW,
        **changed,
    }
    return service.record_custody(database, **given)


def test_a_lot_is_kept_as_its_certificate_says(database: Database) -> None:
    shop = Shop(database)
    assert _lot(database, shop) == "LOT/9"
    with database.read() as session:
        kept = queries.lot(session, "LOT/9")
        assert (str(kept.thickness_mm), kept.surface, kept.cast) == ("12.50", "bare", "CAST 9")
        acts = acts_about(session, "material_lot", "LOT/9")
    assert [(act.person, act.act, act.note) for act in acts] == [
        ("Mara Quill", "lot received", "Q-77 W plate, 12.50 mm")
    ]


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"material": replace(MATERIAL, thickness_mm=Decimal(0))}, "thickness_mm"),
        ({"material": replace(MATERIAL, thickness_mm=Decimal(1001))}, "thickness_mm"),
        ({"material": replace(MATERIAL, surface="shiny")}, "surface"),
        ({"received_on": date(2026, 3, 3)}, "received_on"),
    ],
)
def test_a_lot_that_cannot_be_is_refused_at_its_field(
    database: Database, changed: dict[str, Any], field: str
) -> None:
    shop = Shop(database)
    with pytest.raises(Refusal) as refused:
        _lot(database, shop, **changed)
    assert list(refused.value.fields) == [field]


def test_a_panel_is_open_until_it_is_decided(database: Database) -> None:
    shop = Shop(database)
    assert _panel(database, shop, lot=" lot-1") == "P-9"
    with database.read() as session:
        kept = queries.panel(session, "P-9")
        assert (kept.decided, str(kept.length_mm)) == (Decided.OPEN, "14000.0")
        assert kept.lot_id == queries.lot(session, "LOT-1").id


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"lot": "LOT-77"}, "lot"),
        ({"length_mm": Decimal(0)}, "length_mm"),
        ({"width_mm": Decimal(100_001)}, "width_mm"),
        ({"treatments_most": 0}, "treatments_most"),
        ({"treatments_before": -1}, "treatments_before"),
    ],
)
def test_a_panel_that_cannot_be_is_refused_at_its_field(
    database: Database, changed: dict[str, Any], field: str
) -> None:
    shop = Shop(database)
    with pytest.raises(Refusal) as refused:
        _panel(database, shop, **changed)
    assert list(refused.value.fields) == [field]
    with database.read() as session:
        assert session.get(Identity, "P-9") is None


def test_coupons_take_thickness_and_surface_from_their_lot(database: Database) -> None:
    shop = Shop(database)
    assert _coupons(database, shop) == 2
    _coupons(database, shop, "C-3", thickness_mm=Decimal("10.0"), surface="clad removed")
    with database.read() as session:
        first, milled = queries.coupon(session, "C-1"), queries.coupon(session, "C-3")
        assert (str(first.thickness_mm), first.surface) == ("12.5", "bare")
        assert (str(milled.thickness_mm), milled.surface) == ("10.0", "clad removed")
        steps = queries.custody(session, first.id)
        assert [(step.step, step.place) for step in steps] == [(Custody.CUT, "tray 3")]
        acts = acts_about(session, "coupon", "C-1")
    assert [act.act for act in acts] == ["coupon registered"]


def test_round_coupons_keep_their_diameter(database: Database) -> None:
    shop = Shop(database)
    _coupons(database, shop, "C-1", diameter_mm=Decimal("12.70"))
    _coupons(database, shop, "C-2")
    with database.read() as session:
        round_one, flat = queries.coupon(session, "C-1"), queries.coupon(session, "C-2")
        assert (str(round_one.diameter_mm), flat.diameter_mm) == ("12.70", None)
        acts = acts_about(session, "coupon", "C-1")
    assert "12.70 mm round" in acts[0].note
    with pytest.raises(Refusal, match="cannot be") as refused:
        _coupons(database, shop, "C-3", diameter_mm=Decimal(0))
    assert list(refused.value.fields) == ["diameter_mm"]


@pytest.mark.parametrize("wrong", ["LOT-1", "?", "C-1"])
def test_all_coupons_are_taken_or_none(database: Database, wrong: str) -> None:
    shop = Shop(database)
    with pytest.raises((Conflict, Refusal)):
        _coupons(database, shop, "C-1", "C-2", wrong)
    with database.read() as session:
        assert session.scalars(select(Coupon)).all() == []
        assert session.get(Identity, "C-1") is None


def test_coupons_of_no_lot_on_record_are_refused(database: Database) -> None:
    shop = Shop(database)
    with pytest.raises(Refusal, match="No material lot LOT-77"):
        _coupons(database, shop, lot="LOT-77")


def test_the_whole_way_of_a_coupon_in_its_order(database: Database) -> None:
    shop = Shop(database)
    _coupons(database, shop)
    way = (Custody.PLACED, Custody.RECOVERED, Custody.AT_BENCH, Custody.SHELVED)
    for hours, step in enumerate(way, start=1):
        assert _hand_over(database, shop, step, at=NOW + timedelta(hours=hours)) == "C-1"
    with database.read() as session:
        coupon = queries.coupon(session, "C-1")
        steps = queries.custody(session, coupon.id)
        last = queries.last_step(session, coupon.id)
        lines = queries.lot_coupons(session, coupon.lot_id)
    assert [step.step for step in steps] == [Custody.CUT, *way]
    assert last is not None
    assert last.step is Custody.SHELVED
    assert [(line.code, line.step) for line in lines] == [
        ("C-1", Custody.SHELVED),
        ("C-2", Custody.CUT),
    ]


def test_a_step_out_of_order_is_refused_with_what_comes_first(database: Database) -> None:
    shop = Shop(database)
    _coupons(database, shop)
    with pytest.raises(Refusal, match="first it has to be placed on the panel") as refused:
        _hand_over(database, shop, Custody.RECOVERED)
    assert list(refused.value.fields) == ["step"]
    _hand_over(database, shop, Custody.MISSING)
    with pytest.raises(Refusal, match="recorded as missing"):
        _hand_over(database, shop, Custody.PLACED)


def _together(
    database: Database, shop: Shop, *codes: str, step: Custody = Custody.PLACED, **changed: Any
) -> list[str]:
    given = service.HandOver(step, "former 2")
    return service.record_hand_overs(
        database, codes, given, by=shop.inspector, at=NOW + timedelta(hours=1), **changed
    )


def test_several_coupons_are_handed_over_together(database: Database) -> None:
    shop = Shop(database)
    _coupons(database, shop)
    assert _together(database, shop, "C-1", "C-2") == ["C-1", "C-2"]
    with database.read() as session:
        last = queries.last_steps(session, ["C-2", "C-1", "C-77"])
    assert [(one.code, one.step, one.place) for one in last] == [
        ("C-1", Custody.PLACED, "former 2"),
        ("C-2", Custody.PLACED, "former 2"),
    ]


def test_several_are_handed_over_all_or_none_and_each_problem_is_said(database: Database) -> None:
    shop = Shop(database)
    _coupons(database, shop)
    _hand_over(database, shop, Custody.PLACED, coupon="C-2")
    with pytest.raises(Refusal) as refused:
        _together(database, shop, "C-1", "C-2", "C-77")
    assert list(refused.value.fields) == ["codes"]
    assert refused.value.sentence.startswith("None was recorded.")
    assert "C-2: It is placed on the panel already" in refused.value.sentence
    assert "No coupon C-77 is on record" in refused.value.sentence
    with database.read() as session:
        assert queries.last_steps(session, ["C-1"])[0].step is Custody.CUT


def test_only_the_coupons_of_a_load_are_taken_where_it_is_about_a_load(database: Database) -> None:
    shop = Shop(database)
    _coupons(database, shop)
    among = service.Among("load L-1", frozenset({"C-1"}))
    with pytest.raises(Refusal, match="C-2 is not a coupon of load L-1"):
        _together(database, shop, "C-1", "C-2", among=among)
    assert _together(database, shop, "C-1", among=among) == ["C-1"]


def test_a_late_entry_keeps_both_times_and_no_step_comes_before_the_last(
    database: Database,
) -> None:
    shop = Shop(database)
    _coupons(database, shop)
    entered = NOW + timedelta(hours=9)
    for taken_at, says in (
        (entered + timedelta(seconds=1), "before it happens"),
        (NOW - timedelta(seconds=1), "was cut and marked later than that"),
    ):
        with pytest.raises(Refusal, match=says) as refused:
            _hand_over(database, shop, Custody.PLACED, taken_at=taken_at, at=entered)
        assert list(refused.value.fields) == ["taken_at"]
    _hand_over(database, shop, Custody.PLACED, taken_at=NOW, at=entered, note="entered late")
    with database.read() as session:
        last = queries.last_step(session, queries.coupon(session, "C-1").id)
    assert last is not None
    assert (last.taken_at, last.entered_at, last.note) == (NOW, entered, "entered late")


def test_a_coupon_that_is_none_is_said_beside_the_scan(database: Database) -> None:
    shop = Shop(database)
    with pytest.raises(NotFound, match="No coupon LOT-1 is on record") as refused:
        _hand_over(database, shop, Custody.PLACED, coupon="LOT-1")
    assert list(refused.value.fields) == ["coupon"]


@pytest.mark.parametrize("person", ["auditor", "administrator"])
def test_who_may_not_receive_or_hand_over_is_told(database: Database, person: str) -> None:
    shop = Shop(database)
    by = getattr(shop, person)
    acts: list[Callable[[], object]] = [
        lambda: _lot(database, shop, by=by),
        lambda: _panel(database, shop, by=by),
        lambda: _coupons(database, shop, by=by),
        lambda: _hand_over(database, shop, Custody.PLACED, by=by),
    ]
    for act in acts:
        with pytest.raises(NotAllowed, match="Only an inspector"):
            act()


def test_an_engineer_registers_but_hands_nothing_over(database: Database) -> None:
    shop = Shop(database)
    _coupons(database, shop, by=shop.engineer)
    with pytest.raises(NotAllowed):
        _hand_over(database, shop, Custody.PLACED, by=shop.engineer)


@pytest.mark.parametrize(
    ("row", "column"), [(MaterialLot, "cast"), (Coupon, "surface"), (CustodyStep, "place")]
)
def test_the_database_itself_refuses_to_change_or_remove_what_was_recorded(
    database: Database, row: type[Any], column: str
) -> None:
    shop = Shop(database)
    _coupons(database, shop)
    for statement in (update(row).values({column: "altered"}), delete(row)):
        with pytest.raises(DatabaseError), database.write() as session:
            session.execute(statement)
