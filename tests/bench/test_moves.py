"""The order of moves about a conductivity that does not conform; on both databases."""

from typing import Any

from app.bench import queries, service
from app.bench.queries import Walk
from app.bench.rules.coupon_file import judge_file
from app.bench.rules.moves import Step, why_not_decided_yet
from app.database import Database
from app.panels.records import Coupon
from tests.bench.bench_makers import ZONE, Bench
from tests.bench.session_makers import HIGH, LOW, bench_with_standards, check_on

LOW_ONES = ("36.5", "36.4", "36.6")
THREE = ("84.5", "85.0", "85.5")


def _walk(bench: Bench, coupon: Coupon, person: Any = None) -> Walk | None:
    with bench.database.read() as session:
        files = queries.coupon_files(session, [coupon.id])
        file = files[coupon.id]
        judged = judge_file(file, files, ZONE)
        person_id = (person or bench.shop.inspector).id
        return queries.walk_for(session, file, judged, person_id=person_id, zone=ZONE)


def _next(bench: Bench, coupon: Coupon) -> Step | None:
    walk = _walk(bench, coupon)
    assert walk is not None
    return None if walk.next is None else walk.next.step


def test_first_the_meter_then_the_hardness_then_the_decision(bench: Bench) -> None:
    coupon = bench.coupon()
    number = bench.open("CM-1")
    bench.read(number, coupon, *LOW_ONES)
    walk = _walk(bench, coupon)
    assert walk is not None
    assert [(move.step, move.done, move.is_next) for move in walk.made] == [
        (Step.CHECK_METER, False, True),
        (Step.MEASURE_HARDNESS, False, False),
        (Step.DECIDE, False, False),
    ]
    assert walk.made[0].session_id == number
    assert walk.made[0].why == (
        "Check CM-1 again on RB-CM-1: a meter that reads wrongly fails good metal."
    )
    assert why_not_decided_yet(walk.made) == f"Not yet: {walk.made[0].why}"
    bench.check(number, "CM-1", "interim")
    assert _next(bench, coupon) is Step.MEASURE_HARDNESS
    hard = bench.open("HT-1")
    bench.read(hard, coupon, *THREE)
    assert _next(bench, coupon) is Step.DECIDE


def test_hardness_that_was_measured_before_is_not_measured_again(bench: Bench) -> None:
    coupon = bench.coupon()
    bench.hard(coupon)
    number = bench.open("CM-1")
    bench.read(number, coupon, *LOW_ONES)
    assert _next(bench, coupon) is Step.CHECK_METER
    bench.check(number, "CM-1", "closing")
    assert _next(bench, coupon) is Step.DECIDE


def test_a_check_before_the_readings_is_no_check_after_them(bench: Bench) -> None:
    coupon = bench.coupon()
    number = bench.open("CM-1")
    bench.check(number, "CM-1", "interim")
    bench.read(number, coupon, *LOW_ONES)
    assert _next(bench, coupon) is Step.CHECK_METER


def test_both_standards_of_the_session_are_checked_again(database: Database) -> None:
    bench = bench_with_standards(database)
    coupon = bench.coupon()
    number = _opened(bench)
    bench.read(number, coupon, *LOW_ONES)
    check_on(bench, number, "interim", LOW)
    walk = _walk(bench, coupon)
    assert walk is not None
    assert walk.next is not None
    assert walk.next.why.startswith(f"Check CM-1 again on {HIGH}:")
    check_on(bench, number, "interim", HIGH)
    assert _next(bench, coupon) is Step.MEASURE_HARDNESS


def _opened(bench: Bench) -> int:
    number = service.open_session(
        bench.database, tester_code="CM-1", by=bench.shop.inspector, at=bench.tick(), zone=ZONE
    )
    check_on(bench, number, "opening", LOW)
    check_on(bench, number, "opening", HIGH)
    return number


def test_a_meter_that_fails_its_check_leaves_nothing_to_walk(bench: Bench) -> None:
    coupon = bench.coupon()
    number = bench.open("CM-1")
    bench.read(number, coupon, *LOW_ONES)
    bench.check(number, "CM-1", "interim", "40.1")
    assert _walk(bench, coupon) is None
    assert bench.now(coupon).verdict == "not_proven"


def test_a_conductivity_that_conforms_asks_for_nothing(bench: Bench) -> None:
    coupon = bench.coupon()
    bench.conductive(coupon)
    assert _walk(bench, coupon) is None
    bench.hard(coupon, "80.0", "80.5", "81.0")
    assert _walk(bench, coupon) is None


def test_an_opened_retest_is_the_decision(database: Database) -> None:
    bench = Bench(database, retest={"further": 1, "of": "sets"})
    coupon = bench.coupon()
    bench.hard(coupon)
    bench.conductive(coupon, *LOW_ONES)
    assert _next(bench, coupon) is Step.DECIDE
    bench.retest(coupon)
    assert _next(bench, coupon) is None


def test_the_hardness_session_is_the_visitors_own_and_open(bench: Bench) -> None:
    coupon = bench.coupon()
    number = bench.open("CM-1")
    bench.read(number, coupon, *LOW_ONES)
    hard = bench.open("HT-1", bench.shop.second)
    walk, other = _walk(bench, coupon), _walk(bench, coupon, bench.shop.second)
    assert walk is not None
    assert other is not None
    assert (walk.hardness_session, other.hardness_session) == (None, hard)


def test_a_session_tells_only_of_its_own_coupons_with_a_move_left(bench: Bench) -> None:
    low, good = bench.coupons(2)
    number = bench.open("CM-1")
    bench.read(number, low, *LOW_ONES)
    bench.read(number, good, "39.0", "39.0", "39.0")

    def walks(session_id: int) -> list[str]:
        with bench.database.read() as session:
            at = queries.bench_session(session, session_id)
            found = queries.walks_in(session, at, person_id=bench.shop.inspector.id, zone=ZONE)
            return [one.coupon for one in found]

    assert walks(number) == [low.code]
    assert walks(bench.open("HT-1")) == []
