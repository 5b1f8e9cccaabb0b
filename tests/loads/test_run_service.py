"""A load's start, end and cancelling through the service, on both databases."""

from datetime import UTC, date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from sqlalchemy import select

from app.bench.queries.coupon_page import coupon_place
from app.bench.queries.evidence import coupon_files
from app.database import Database
from app.equipment.records import FurnaceCheckKind
from app.errors import Conflict, NotAllowed, Refusal
from app.loads import lists, queries, run_queries
from app.loads.bags.bag import LeakReading
from app.loads.records import LoadEnd, LoadStart
from app.loads.service import (
    cancel_load,
    end_load,
    plan_load,
    record_leak_check,
    start_load,
)
from app.panels import queries as panels
from app.panels.records import Custody
from app.release.queries.panel_facts import panel_facts
from tests.loads.plans import START, a_plan, make_material
from tests.makers import NOW, Shop
from tests.robustness.test_two_at_once import at_once

SOON = START + timedelta(minutes=2)


@pytest.fixture
def shop(database: Database) -> Shop:
    made = Shop(database)
    make_material(made)
    plan_load(database, a_plan(), by=made.inspector, at=NOW, zone=UTC)
    return made


def _check(shop: Shop, **changed: Any) -> None:
    given: dict[str, Any] = {"gauge": "VG-1", "taken_at": START - timedelta(minutes=20)}
    record_leak_check(
        shop.database,
        "L-1",
        "P-1",
        LeakReading(Decimal("88.0"), Decimal("87.0"), Decimal(5)),
        by=shop.inspector,
        at=START,
        zone=UTC,
        **(given | changed),
    )


def _start(shop: Shop, **changed: Any) -> None:
    given: dict[str, Any] = {"started_at": START, "by": shop.inspector, "at": SOON, "zone": UTC}
    start_load(shop.database, "L-1", **(given | changed))


def _end(shop: Shop, **changed: Any) -> list[Any]:
    out = START + timedelta(hours=6)
    given: dict[str, Any] = {"ended_at": out, "by": shop.second, "at": out, "zone": UTC}
    return end_load(shop.database, "L-1", **(given | changed))


def _cancel(shop: Shop, **changed: Any) -> None:
    given: dict[str, Any] = {"reason": "fan broken", "by": shop.engineer, "at": SOON}
    cancel_load(shop.database, "L-1", **(given | changed))


def _stands(shop: Shop) -> str:
    with shop.database.read() as session:
        load = queries.load(session, "L-1")
        return lists.standings(session, [load.id])[load.id]


def test_a_load_goes_from_plan_to_bag_to_furnace_and_out(shop: Shop) -> None:
    assert _stands(shop) == "planned"
    _check(shop)
    assert _stands(shop) == "bag checked"
    _start(shop)
    assert _stands(shop) == "in the furnace"
    assert {finding.outcome.value for finding in _end(shop)} <= {"conforms", "note"}
    assert _stands(shop) == "out of the furnace"
    with shop.database.read() as session:
        load = queries.load(session, "L-1")
        started = run_queries.load_start(session, load.id)
        assert started is not None
        assert (started.started_at, started.entered_at) == (START, SOON)
        assert {one["code"] for one in started.findings} >= {"furnace.zone", "bag.checked"}


def test_a_bag_that_nobody_checked_stops_the_start_and_says_who_can_help(shop: Shop) -> None:
    with pytest.raises(Refusal, match="No leak check of the bag of P-1") as caught:
        _start(shop)
    assert "an inspector checks the bag" in caught.value.sentence
    with shop.database.read() as session:
        assert session.scalars(select(LoadStart)).all() == []


def test_a_check_read_off_a_gauge_nobody_named_proves_nothing(shop: Shop) -> None:
    _check(shop, gauge=None)
    assert _stands(shop) == "planned"
    with pytest.raises(Refusal, match="proves nothing; check it again"):
        _start(shop)


def test_papers_that_ran_out_since_planning_stop_the_start(shop: Shop) -> None:
    late = NOW.replace(month=5, day=1, hour=20)
    _check(shop, taken_at=START)
    with pytest.raises(Refusal, match=r"uniformity survey .* 2026-05-01"):
        _start(shop, started_at=late, at=late)
    next_day = late + timedelta(days=1)
    with pytest.raises(Refusal, match=r"in date until 2026-05-01; the load started on 2026-05-02"):
        _start(shop, started_at=next_day, at=next_day)


def test_a_survey_that_failed_since_planning_stops_the_start(shop: Shop) -> None:
    _check(shop)
    with shop.database.write() as session:
        shop.furnace_check(
            session,
            shop.furnace_id,
            FurnaceCheckKind.UNIFORMITY_SURVEY,
            done_on=date(2026, 3, 2),
            due_on=date(2026, 6, 2),
            passed=False,
            report="R-FAILED",
        )
    with pytest.raises(Refusal, match="failed"):
        _start(shop)


def test_a_second_start_is_told_who_was_first(shop: Shop) -> None:
    _check(shop)
    _start(shop)
    with pytest.raises(Conflict, match="Mara Quill entered it"):
        _start(shop, by=shop.second)


def test_an_end_is_never_refused_for_a_gate_but_kept_with_it(shop: Shop) -> None:
    _check(shop)
    _start(shop)
    late = NOW.replace(month=5, day=2)
    against = [f for f in _end(shop, ended_at=late, at=late) if f.outcome.value == "not_proven"]
    assert any(finding.code.startswith("furnace") for finding in against)
    with shop.database.read() as session:
        kept = session.scalars(select(LoadEnd)).one()
        assert any(one["outcome"] == "not_proven" for one in kept.findings)
    with pytest.raises(Conflict, match="taken out already"):
        _end(shop)


def test_an_end_needs_a_start_before_it(shop: Shop) -> None:
    with pytest.raises(Refusal, match="no start on record"):
        _end(shop)
    _check(shop)
    _start(shop)
    with pytest.raises(Refusal, match="before its door closed"):
        _end(shop, ended_at=START)
    with pytest.raises(Refusal, match="lies in the future"):
        _end(shop, ended_at=START + timedelta(hours=7), at=START + timedelta(hours=6))


def test_a_cancelled_load_frees_everything_and_is_no_treatment(shop: Shop) -> None:
    _cancel(shop)
    assert _stands(shop) == "cancelled"
    with shop.database.read() as session:
        load = queries.load(session, "L-1")
        seats = queries.seats(session, load.id)
        keys = [panel.id for panel in seats.panels]
        assert queries.unfinished_loads(session, keys) == {}
        assert queries.loads_of_panels(session, keys) == {keys[0]: []}
        assert panel_facts(session, keys, zone=UTC)[keys[0]].loads == ()
        chain = panels.custody(session, seats.coupons[0].id)
        assert [step.step for step in chain] == [Custody.CUT, Custody.PLACED, Custody.CUT]
        assert queries.seated_coupons(session, [seats.coupons[0].id]) == {}
    plan_load(shop.database, a_plan(code="L-2"), by=shop.inspector, at=NOW, zone=UTC)
    with shop.database.read() as session:
        seats = queries.seats(session, queries.load(session, "L-2").id)
        assert [panel.treatment_number for panel in seats.panels] == [1]
        key = seats.coupons[0].id
        assert queries.seated_coupons(session, [key]) == {key: "L-2"}
        facts = panel_facts(session, [seats.panels[0].id], zone=UTC)
        assert [load.code for load in facts[seats.panels[0].id].loads] == ["L-2"]


def test_nothing_more_is_done_to_a_cancelled_load(shop: Shop) -> None:
    _cancel(shop)
    with pytest.raises(Conflict, match="Tomas Brandl: fan broken"):
        _check(shop)
    with pytest.raises(Conflict, match="fan broken"):
        _start(shop)
    with pytest.raises(Conflict, match="fan broken"):
        _cancel(shop)


def test_a_started_load_is_not_cancelled_and_a_reason_is_asked(shop: Shop) -> None:
    with pytest.raises(Refusal, match="why the load is not run"):
        _cancel(shop, reason="  ")
    _check(shop)
    _start(shop)
    with pytest.raises(Conflict, match="started already"):
        _cancel(shop)


def test_each_act_is_for_its_roles(shop: Shop) -> None:
    with pytest.raises(NotAllowed):
        _start(shop, by=shop.engineer)
    with pytest.raises(NotAllowed):
        _end(shop, by=shop.auditor)
    with pytest.raises(NotAllowed):
        _cancel(shop, by=shop.auditor)


def test_of_two_starts_at_one_moment_one_stands(shop: Shop) -> None:
    _check(shop)
    ends = at_once(lambda: _start(shop), lambda: _start(shop, by=shop.second))
    assert sorted(type(end).__name__ for end in ends) == ["Conflict", "NoneType"]
    with shop.database.read() as session:
        assert len(session.scalars(select(LoadStart)).all()) == 1


def test_a_start_and_a_cancelling_at_one_moment_do_not_both_stand(shop: Shop) -> None:
    _check(shop)
    ends = at_once(lambda: _start(shop), lambda: _cancel(shop))
    assert sorted(type(end).__name__ for end in ends) == ["Conflict", "NoneType"]


def test_a_coupon_of_a_cancelled_load_is_judged_where_it_rides_then(shop: Shop) -> None:
    _cancel(shop)
    plan_load(shop.database, a_plan(code="L-2"), by=shop.inspector, at=NOW, zone=UTC)
    with shop.database.read() as session:
        load = queries.load(session, "L-2")
        seats = queries.seats(session, load.id)
        keys = [coupon.id for coupon in seats.coupons]
        place = coupon_place(session, keys[0])
        assert (place.load, place.panel) == ("L-2", "P-1")
        files = coupon_files(session, keys)
        assert {file.load_id for file in files.values()} == {load.id}
        assert {file.table_revision_id for file in files.values()} == {shop.table_revision_id}
