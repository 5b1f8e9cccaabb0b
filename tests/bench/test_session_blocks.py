"""Sessions on several blocks: which are taken, at the opening, between and at the close."""

from datetime import timedelta

import pytest

from app.bench import queries, service
from app.bench.queries.sessions import BenchAtWork
from app.bench.rules.bracketing import Standing
from app.database import Database
from app.errors import Conflict, Refusal
from tests.bench.bench_makers import ZONE, Bench
from tests.bench.session_makers import (
    HIGH,
    LOW,
    add_standards,
    bench_with_standards,
    check_on,
    second_meter,
)

THREE = ("39.0", "39.0", "39.0")


def _open(bench: Bench, **changed) -> int:
    given = {"tester_code": "CM-1", "by": bench.shop.inspector, "at": bench.tick(), "zone": ZONE}
    return service.open_session(bench.database, **{**given, **changed})


def _session(bench: Bench, number: int) -> BenchAtWork:
    with bench.database.read() as session:
        return queries.bench_session(session, number)


def test_both_standards_are_checked_before_and_after(database: Database) -> None:
    bench = bench_with_standards(database)
    coupon = bench.coupon()
    bench.hard(coupon)
    number = _open(bench)
    check_on(bench, number, "opening", LOW)
    check_on(bench, number, "opening", HIGH)
    assert _session(bench, number).standing is Standing.OPEN
    bench.read(number, coupon, *THREE)
    assert bench.now(coupon).provisional
    check_on(bench, number, "closing", HIGH)
    assert _session(bench, number).standing is Standing.CLOSING
    assert _session(bench, number).to_close == (LOW,)
    assert bench.now(coupon).provisional
    with pytest.raises(Conflict, match=f"closing check on {LOW} too"):
        check_on(bench, number, "interim", LOW)
    with pytest.raises(Conflict, match="closing"):
        bench.read(number, coupon, *THREE)
    check_on(bench, number, "closing", LOW)
    assert _session(bench, number).standing is Standing.CLOSED
    assert (bench.now(coupon).verdict, bench.now(coupon).provisional) == ("conforms", False)


def test_while_a_block_is_still_to_be_closed_nobody_else_begins(database: Database) -> None:
    bench = Bench(database)
    add_standards(bench)
    number = _open(bench)
    for block in (LOW, HIGH):
        check_on(bench, number, "opening", block)
    check_on(bench, number, "closing", LOW)
    with pytest.raises(Conflict, match="Mara Quill has a session running at CM-1"):
        _open(bench, by=bench.shop.second)
    bench.check(number, "CM-1", "closing", "44.9", block=HIGH, by=bench.shop.supervisor)
    assert _open(bench, by=bench.shop.second) > number


def test_a_standard_between_the_limits_is_refused_before_it_is_recorded(
    database: Database,
) -> None:
    bench = bench_with_standards(database)
    bench.coupon()
    number = _open(bench)
    with pytest.raises(Refusal, match=f"Take {LOW} and {HIGH}") as refused:
        check_on(bench, number, "opening", "RB-CM-1")
    assert list(refused.value.fields) == ["block"]
    check_on(bench, number, "opening", LOW)
    with pytest.raises(Refusal, match=f"{LOW} and RB-CM-1 do not lie about the limits"):
        check_on(bench, number, "opening", "RB-CM-1")
    assert len(_session(bench, number).checks) == 1


def test_any_standard_will_do_where_no_coupon_asks_for_two(bench: Bench) -> None:
    add_standards(bench)
    bench.coupon()
    assert check_on(bench, _open(bench), "opening", "RB-CM-1") == "conforms"


def test_what_waits_is_told_with_its_coupons(database: Database) -> None:
    bench = bench_with_standards(database)
    coupon = bench.coupon()
    number = _open(bench)
    with bench.database.read() as session:
        asked = queries.standards_asked(session, queries.bench_session(session, number), zone=ZONE)
    assert [one.words for one in asked.wanted] == [
        (
            "two standards, one at or below 36.9 %IACS and one at or above 42.1 %IACS, at least "
            "8.0 %IACS apart"
        )
    ]
    assert asked.coupons[asked.wanted[0]] == (coupon.code,)
    assert asked.without == ()


def test_a_further_opening_check_comes_before_the_first_reading(bench: Bench) -> None:
    add_standards(bench)
    coupon = bench.coupon()
    number = _open(bench)
    check_on(bench, number, "opening", LOW)
    with pytest.raises(Conflict, match="ready for readings"):
        check_on(bench, number, "opening", LOW)
    bench.read(number, coupon, *THREE)
    with pytest.raises(Conflict, match="before the first reading"):
        check_on(bench, number, "opening", HIGH)


def test_one_block_that_fails_its_opening_keeps_the_session_waiting(bench: Bench) -> None:
    add_standards(bench)
    coupon = bench.coupon()
    number = _open(bench)
    check_on(bench, number, "opening", LOW)
    assert check_on(bench, number, "opening", HIGH, "43.9") == "does_not_conform"
    assert _session(bench, number).standing is Standing.AWAITING_OPENING
    with pytest.raises(Refusal, match="opening check comes first"):
        bench.read(number, coupon, *THREE)
    check_on(bench, number, "opening", HIGH)
    assert _session(bench, number).standing is Standing.OPEN


def test_later_checks_are_made_on_the_blocks_of_the_opening(bench: Bench) -> None:
    add_standards(bench)
    number = _open(bench)
    check_on(bench, number, "opening", LOW)
    for moment in ("interim", "closing"):
        with pytest.raises(Refusal, match=f"opened on {LOW}"):
            check_on(bench, number, moment, HIGH)
    bench.check(number, "CM-1", "closing", "44.9", block=HIGH, by=bench.shop.supervisor)
    assert _session(bench, number).standing is Standing.CLOSED


def _offered(bench: Bench) -> list[tuple[str, int | None]]:
    with bench.database.read() as session:
        offered = queries.blocks_for(session, quantity="hardness", unit="HRB", on=bench.at.date())
    return [(one.code, one.left) for one in offered]


def test_a_block_counts_down_and_another_closes_for_it_once_it_is_full(bench: Bench) -> None:
    with bench.database.write() as session:
        bench.shop.block(session, "RB-FEW", "hardness", "HRB", "85.0", "1.0", indents_most=3)
        bench.shop.block(session, "RB-FULL", "hardness", "HRB", "85.0", "1.0", indents_most=0)
    assert _offered(bench) == [("RB-FEW", 3), ("RB-HT-1", None)]
    number = _open(bench, tester_code="HT-1")
    with pytest.raises(Refusal, match="RB-FULL has no room for indents"):
        bench.check(number, "HT-1", "opening", block="RB-FULL")
    bench.check(number, "HT-1", "opening", "85.0", "85.1", block="RB-FEW")
    assert _offered(bench) == [("RB-HT-1", None)]
    with pytest.raises(Refusal, match="room for 1 indent only"):
        bench.check(number, "HT-1", "closing", "85.0", "85.1", block="RB-FEW")
    bench.check(number, "HT-1", "closing", block="RB-HT-1")
    assert _session(bench, number).standing is Standing.CLOSED


def test_a_block_that_nobody_accepted_is_not_checked(bench: Bench) -> None:
    with bench.database.write() as session:
        bench.shop.block(session, "RB-NEW", "hardness", "HRB", "85.0", "1.0", review=None)
        bench.shop.block(session, "RB-NOT", "hardness", "HRB", "85.0", "1.0", review=False)
    number = _open(bench, tester_code="HT-1")
    for code in ("RB-NEW", "RB-NOT"):
        with pytest.raises(Refusal, match=f"No second person has accepted .* {code}"):
            bench.check(number, "HT-1", "opening", block=code)


def test_a_tester_whose_certificate_nobody_accepted_is_not_used(bench: Bench) -> None:
    with bench.database.write() as session:
        bench.shop.tester(session, "HT-2", "hardness", "HRB", certificate={"review": None})
        bench.shop.tester(session, "HT-3", "hardness", "HRB", certificate={"review": False})
    with pytest.raises(Refusal, match=r"HT-2 may not be used: .*waits for review"):
        _open(bench, tester_code="HT-2")
    with pytest.raises(Refusal, match=r"HT-3 may not be used: .*was rejected"):
        _open(bench, tester_code="HT-3")


def test_a_session_names_its_thermometer_if_that_is_in_calibration(bench: Bench) -> None:
    with bench.database.write() as session:
        bench.shop.thermometer(session, "TH-1")
        bench.shop.thermometer(session, "TH-2", review=None)
    number = _open(bench, thermometer_code="TH-1")
    assert _session(bench, number).thermometer == "TH-1"
    assert _open(bench, thermometer_code="TH-1") == number
    with pytest.raises(Refusal, match=r"TH-2 was not in calibration .*waits for review") as refused:
        _open(bench, thermometer_code="TH-2")
    assert "thermometer" in refused.value.fields
    # Another thermometer, or none, is another session.
    assert _open(bench) > number


def test_the_next_check_is_due_by_the_testers_own_interval(bench: Bench) -> None:
    number = _open(bench, tester_code=second_meter(bench, check_every_min=60))
    assert _session(bench, number).check_due_at is None
    check_on(bench, number, "opening", "RB-CM-1")
    assert _session(bench, number).check_due_at == bench.at + timedelta(minutes=60)
    check_on(bench, number, "interim", "RB-CM-1")
    assert _session(bench, number).check_due_at == bench.at + timedelta(minutes=60)
    check_on(bench, number, "closing", "RB-CM-1")
    assert _session(bench, number).check_due_at is None
