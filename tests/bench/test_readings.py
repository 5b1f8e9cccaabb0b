"""Readings and the verdicts that follow at once, on both databases."""

from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from decimal import Decimal

import pytest
from sqlalchemy import event, func, select

from app.bench import queries
from app.bench.records import CouponVerdict, Reading
from app.errors import Conflict, NotAllowed, NotFound, Refusal
from app.judging.units import Quantity
from app.panels.records import Custody, CustodyStep, Decided, Panel
from tests.bench.bench_makers import FAILED_CHECK, ZONE, Bench
from tests.makers import bind


def test_readings_are_judged_at_once_and_provisionally_until_the_closing_check(
    bench: Bench,
) -> None:
    coupon = bench.coupon()
    bench.hard(coupon)
    number = bench.open("CM-1")
    saved = bench.read(number, coupon, "39.0", "39.1", "38.9")
    assert (saved.verdict, saved.provisional) == ("conforms", True)
    bench.check(number, "CM-1", "closing")
    assert (bench.now(coupon).verdict, bench.now(coupon).provisional) == ("conforms", False)


def test_a_missing_quantity_is_not_proven_and_named(bench: Bench) -> None:
    coupon = bench.coupon()
    assert bench.hard(coupon).verdict == "not_proven"
    assert "No counting reading of conductivity in %IACS: 3 readings needed" in bench.texts(coupon)


def test_a_reading_below_the_limit_does_not_conform_and_shows_its_working(bench: Bench) -> None:
    coupon = bench.coupon()
    assert bench.hard(coupon, "82.9", "84.0", "85.0").verdict == "does_not_conform"
    paper = bench.verdicts(coupon)[0].paper
    assert paper["entry"]["table"] == "AT-1"
    assert paper["entry"]["number"] == 1
    (failed,) = [one for one in paper["findings"] if one["outcome"] == "does_not_conform"]
    assert failed["value"] == "82.9"
    assert failed["limit"] == "83.0"
    assert failed["working"][0] == "reading 1: 82.9 HRB as entered"


def test_a_reading_on_the_limit_conforms(bench: Bench) -> None:
    coupon = bench.coupon()
    bench.conductive(coupon)
    assert bench.hard(coupon, "83.0", "83.0", "83.0").verdict == "conforms"


def test_the_first_reading_hands_the_coupon_over_to_the_bench(bench: Bench) -> None:
    coupon = bench.coupon()
    bench.hard(coupon)
    bench.conductive(coupon)
    with bench.database.read() as session:
        steps = session.scalars(
            select(CustodyStep.step)
            .where(CustodyStep.coupon_id == coupon.id)
            .order_by(CustodyStep.id)
        ).all()
    assert steps == [Custody.CUT, Custody.PLACED, Custody.RECOVERED, Custody.AT_BENCH]


def test_figures_are_kept_digit_for_digit(bench: Bench) -> None:
    coupon = bench.coupon()
    bench.hard(coupon, "84.50", "85", "85.0")
    assert [str(one.value) for one in bench.readings(coupon)] == ["84.50", "85", "85.0"]


def test_a_form_sent_twice_is_recorded_once(bench: Bench) -> None:
    coupon = bench.coupon()
    number = bench.open()
    first = bench.read(number, coupon, "84.5", "85.0", "85.5", submission="the form")
    again = bench.read(number, coupon, "84.5", "85.0", "85.5", submission="the form")
    assert first == again
    assert len(bench.readings(coupon)) == 3
    with pytest.raises(Conflict, match=r"recorded before, on C-0001-1, with other figures"):
        bench.read(number, coupon, "84.5", "85.0", "85.6", submission="the form")
    bench.check(number, "HT-1", "closing")
    repeated = bench.read(number, coupon, "84.5", "85.0", "85.5", submission="the form")
    assert repeated.provisional is False


def test_no_reading_without_an_opening_check_or_after_the_closing_one(bench: Bench) -> None:
    coupon = bench.coupon()
    number = bench.open()
    bench.check(number, "HT-1", "closing")
    with pytest.raises(Conflict, match="This session is closed"):
        bench.read(number, coupon, "85.0", "85.0", "85.0")
    other = bench.open("CM-1", by=bench.shop.second)
    with pytest.raises(NotAllowed, match="Deniz Okoro's"):
        bench.read(other, coupon, "39.0", "39.0", "39.0")


def test_a_check_of_another_day_lets_no_reading_in(bench: Bench) -> None:
    coupon = bench.coupon()
    number = bench.open()
    bench.at += timedelta(days=1)
    with pytest.raises(Refusal, match="was not made today"):
        bench.read(number, coupon, "85.0", "85.0", "85.0")
    bench.check(number, "HT-1", "interim")
    bench.read(number, coupon, "85.0", "85.0", "85.0")


def test_a_failed_closing_check_takes_the_proof_from_every_coupon_of_the_session(
    bench: Bench,
) -> None:
    first, second = bench.coupons(2)
    for coupon in (first, second):
        bench.conductive(coupon)
    number = bench.open()
    assert bench.read(number, first, "85.0", "85.0", "85.0").verdict == "conforms"
    assert bench.read(number, second, "82.5", "85.0", "85.0").verdict == "does_not_conform"
    bench.check(number, "HT-1", "closing", *FAILED_CHECK["HT-1"])
    for coupon in (first, second):
        assert bench.now(coupon).verdict == "not_proven"
        assert bench.now(coupon).provisional is False
        assert "nothing since the last conforming check is proven" in bench.texts(coupon)
    with pytest.raises(Conflict, match="ended by a failed check"):
        bench.read(number, first, "85.0", "85.0", "85.0")
    with pytest.raises(Conflict, match="HT-1 is out of use"):
        bench.open()


def test_an_interim_check_saves_what_was_read_before_it(bench: Bench) -> None:
    first, second = bench.coupons(2)
    number = bench.open()
    bench.read(number, first, "82.5", "85.0", "85.0")
    bench.check(number, "HT-1", "interim")
    assert bench.now(first).provisional is True
    bench.read(number, second, "82.5", "85.0", "85.0")
    bench.check(number, "HT-1", "closing", *FAILED_CHECK["HT-1"])
    assert (bench.now(first).verdict, bench.now(first).provisional) == ("does_not_conform", False)
    assert bench.now(second).verdict == "not_proven"


def test_a_verdict_is_written_only_when_what_it_rests_on_has_changed(bench: Bench) -> None:
    first, second = bench.coupons(2)
    number = bench.open()
    bench.read(number, first, "85.0", "85.0", "85.0")
    bench.read(number, second, "85.0", "85.0", "85.0")
    assert len(bench.verdicts(first)) == 1
    bench.check(number, "HT-1", "interim")
    assert len(bench.verdicts(first)) == 1
    bench.check(number, "HT-1", "closing")
    assert len(bench.verdicts(first)) == 2


@pytest.mark.parametrize(
    ("value", "says"),
    [
        ("8.52", r"8\.52 HRB cannot be: did you mean 85\.2\?"),
        ("852", r"852 HRB cannot be: did you mean 85\.2\?"),
        ("131", r"131 HRB cannot be: read the tester again"),
        ("0", r"0 HRB cannot be"),
        ("-85.2", r"-85\.2 HRB cannot be"),
    ],
)
def test_a_reading_that_cannot_be_is_refused_with_the_likely_slip(
    bench: Bench, value: str, says: str
) -> None:
    coupon = bench.coupon()
    number = bench.open()
    with pytest.raises(Refusal, match=says) as refused:
        bench.read(number, coupon, "85.0", value, "85.0", confirmed=True)
    assert list(refused.value.fields) == ["reading_2"]
    assert bench.readings(coupon) == []


def test_an_unusual_reading_is_recorded_once_it_is_confirmed(bench: Bench) -> None:
    coupon = bench.coupon()
    number = bench.open()
    with pytest.raises(Refusal, match=r"58\.2 HRB is unusual") as refused:
        bench.read(number, coupon, "85.0", "58.2", "85.0")
    assert set(refused.value.fields) == {"reading_2", "confirmed"}
    bench.read(number, coupon, "85.0", "58.2", "85.0", confirmed=True)


def test_a_reading_just_outside_the_limits_is_not_asked_about(bench: Bench) -> None:
    # A question for every low result would steer the hand that reads again.
    coupon = bench.coupon()
    number = bench.open()
    assert bench.read(number, coupon, "82.0", "82.1", "82.2").verdict == "does_not_conform"


def test_too_few_readings_are_recorded_only_when_confirmed_and_can_be_completed(
    bench: Bench,
) -> None:
    coupon = bench.coupon()
    number = bench.open()
    with pytest.raises(Refusal, match="The table asks for 3, and 2 are keyed"):
        bench.read(number, coupon, "85.0", "85.0")
    bench.read(number, coupon, "85.0", "85.0", confirmed=True)
    bench.read(number, coupon, "85.0")
    assert len(bench.readings(coupon)) == 3


def test_nobody_measures_until_it_fits(bench: Bench) -> None:
    coupon = bench.coupon()
    number = bench.open()
    bench.read(number, coupon, "82.0", "82.0", "82.0")
    with pytest.raises(Refusal, match="has its 3 counting hardness readings"):
        bench.read(number, coupon, "85.0", "85.0", "85.0")


def test_hardness_needs_the_tick_and_conductivity_both_temperatures(bench: Bench) -> None:
    coupon = bench.coupon()
    with pytest.raises(Refusal, match="spacing and edge distances") as refused:
        bench.read(bench.open(), coupon, "85.0", "85.0", "85.0", spacing_confirmed=False)
    assert list(refused.value.fields) == ["spacing_confirmed"]
    meter = bench.open("CM-1")
    with pytest.raises(Refusal, match="temperature of the reference block") as refused:
        bench.read(meter, coupon, "39.0", "39.0", "39.0", block_c=None)
    assert list(refused.value.fields) == ["block_c"]


def test_three_degrees_apart_count_and_more_are_asked_about(bench: Bench) -> None:
    first, second = bench.coupons(2)
    meter = bench.open("CM-1")
    bench.read(meter, first, "39.0", "39.0", "39.0", coupon_c=Decimal("23.5"))
    assert "does not count" not in bench.texts(first)
    with pytest.raises(Refusal, match="These readings would not count"):
        bench.read(meter, second, "39.0", "39.0", "39.0", coupon_c=Decimal("23.6"))
    bench.read(meter, second, "39.0", "39.0", "39.0", coupon_c=Decimal("23.6"), confirmed=True)
    assert "does not count" in bench.texts(second)


def test_the_scanned_coupon_must_be_expected(bench: Bench) -> None:
    number = bench.open()
    _, panel, placed, _ = bench.shop.panel_in_load(coupons=2)
    with bench.database.write() as session:
        loose = bench.shop.coupon(session, "C-LOOSE").code
        bench.shop.custody(session, placed[1], Custody.MISSING)
    expectations = {
        placed[0].code: "has not been recovered",
        placed[1].code: "recorded as missing",
        loose: "rode in no load",
        panel.code: "is a panel, not a coupon",
    }
    for code, says in expectations.items():
        with pytest.raises(Refusal, match=says):
            bench.read(number, code, "85.0", "85.0", "85.0")
    with pytest.raises(NotFound, match="No coupon C-9 is on record"):
        bench.read(number, "C-9", "85.0", "85.0", "85.0")


def test_a_conditional_zone_asks_for_the_yield_strength_and_names_the_test(bench: Bench) -> None:
    coupon = bench.coupon()
    bench.hard(coupon)
    assert bench.conductive(coupon, "37.4", "37.5", "37.6").verdict == "not_proven"
    assert "yield strength at most 480 MPa, which is not shown" in bench.texts(coupon)
    assert bench.laboratory(coupon, "471").verdict == "conforms"
    (result,) = [one for one in bench.readings(coupon) if one.report]
    assert (result.report, result.session_id) == ("LAB-7", None)


def test_a_laboratorys_result_is_checked_like_any_figure(bench: Bench) -> None:
    coupon = bench.coupon()
    with pytest.raises(Refusal, match=r"4710 MPa cannot be: did you mean 471") as refused:
        bench.laboratory(coupon, "4710")
    assert list(refused.value.fields) == ["value"]
    with pytest.raises(Refusal, match="later than now"):
        bench.laboratory(coupon, "471", tested_at=bench.at + timedelta(days=1))
    with pytest.raises(Refusal, match="is not measured here"):
        bench.laboratory(coupon, "471", unit="furlong")
    with pytest.raises(Refusal, match="Name the report"):
        bench.laboratory(coupon, "471", report=" ")
    first = bench.laboratory(coupon, "471", submission="paper")
    assert bench.laboratory(coupon, "471", submission="paper") == first
    assert len(bench.readings(coupon)) == 1


def test_two_sessions_measure_one_coupon_at_the_same_time(bench: Bench) -> None:
    coupon = bench.coupon()
    hard, meter = bench.open("HT-1"), bench.open("CM-1", by=bench.shop.second)
    bench.read(hard, coupon, "85.0", "85.0", "85.0")
    saved = bench.read(meter, coupon, "39.0", "39.0", "39.0", by=bench.shop.second)
    assert (saved.verdict, saved.provisional) == ("conforms", True)
    bench.check(hard, "HT-1", "closing")
    assert bench.now(coupon).provisional is True
    bench.check(meter, "CM-1", "closing", by=bench.shop.second)
    assert bench.now(coupon).provisional is False


def test_coupons_wait_until_their_verdict_is_final(bench: Bench) -> None:
    first, second = bench.coupons(2)
    bench.shop.panel_in_load(coupons=1)  # not recovered: nothing to measure yet

    def waiting() -> list[str]:
        with bench.database.read() as session:
            return [one.coupon for one in queries.awaiting(session)]

    assert waiting() == [first.code, second.code]
    bench.hard(first)
    assert first.code in waiting()
    bench.conductive(first)
    assert waiting() == [second.code]
    with bench.database.write() as session:
        panel = session.scalars(select(Panel).where(Panel.code == "P-0001")).one()
        panel.decided = Decided.SCRAPPED
        bench.shop.custody(session, second, Custody.AT_BENCH)
        bind(session, panel)
    assert waiting() == []


def test_the_lists_ask_the_same_number_of_queries_for_ten_coupons_and_for_twenty(
    bench: Bench,
) -> None:
    asked: list[str] = []
    event.listen(
        bench.database.engine,
        "before_cursor_execute",
        lambda _c, _k, statement, *_rest: asked.append(statement),
    )

    def count() -> int:
        asked.clear()
        with bench.database.read() as session:
            queries.awaiting(session)
            queries.expected_coupons(session, quantity=Quantity.HARDNESS, unit="HRB", zone=ZONE)
            queries.last_saves(session, 1)
        return len(asked)

    number = bench.open()
    for coupon in bench.coupons(10):
        bench.read(number, coupon, "85.0", "85.0", "85.0")
    ten = count()
    for coupon in bench.coupons(10):
        bench.read(number, coupon, "85.0", "85.0", "85.0")
    assert count() == ten


def test_the_verdicts_and_readers_of_many_coupons_come_at_once(bench: Bench) -> None:
    first, second = bench.coupons(2)
    bench.hard(first)
    bench.hard(second, by=bench.shop.second)
    with bench.database.read() as session:
        latest = queries.latest_coupon_verdicts(session, [first.id, second.id])
        assert latest[first.id].id == bench.verdicts(first)[0].id
        assert queries.readers(session, [first.id]) == {bench.shop.inspector.id}
        both = {bench.shop.inspector.id, bench.shop.second.id}
        assert queries.readers(session, [first.id, second.id]) == both
        assert session.scalar(select(func.count(CouponVerdict.id))) == 4
        assert session.scalar(select(func.count(Reading.id))) == 6


def test_the_same_form_sent_by_two_requests_at_once_is_recorded_once(bench: Bench) -> None:
    coupon = bench.coupon()
    number = bench.open()
    with ThreadPoolExecutor(4) as several:
        sent = [
            several.submit(bench.read, number, coupon, "84.5", "85.0", "85.5", submission="one")
            for _ in range(4)
        ]
    assert len({one.result() for one in sent}) == 1
    assert len(bench.readings(coupon)) == 3
