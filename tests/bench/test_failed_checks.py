"""A failed check: out of use, not proven, on hold, all at once; on both databases."""

import pytest
from sqlalchemy import func, select

from app.bench import queries, service
from app.bench.rules.bracketing import Standing
from app.equipment import service as equipment
from app.errors import Conflict, NotAllowed, Refusal
from app.panels.records import Decided, Hold, Panel
from tests.bench.bench_makers import FAILED_CHECK, ZONE, Bench
from tests.bench.session_makers import holds, out_of_use, second_meter
from tests.makers import bind
from tests.visits import PASSWORD

BAD = FAILED_CHECK["HT-1"]
THREE = ("84.5", "85.0", "85.5")


def _standing(bench: Bench, session_id: int) -> Standing:
    with bench.database.read() as session:
        return queries.bench_session(session, session_id).standing


@pytest.mark.parametrize("moment", ["interim", "closing"])
def test_a_failed_check_puts_tester_coupons_and_panels_right_at_once(
    bench: Bench, moment: str
) -> None:
    first, second = bench.coupon(), bench.coupon()
    number = bench.open()
    for coupon in (first, second):
        bench.read(number, coupon, *THREE)
    assert bench.check(number, "HT-1", moment, *BAD).outcome == "does_not_conform"
    assert _standing(bench, number) is Standing.FAILED
    assert out_of_use(bench, "HT-1") == f"its {moment} check on RB-HT-1 failed in session {number}"
    assert [bench.now(coupon).verdict for coupon in (first, second)] == ["not_proven"] * 2
    placed = holds(bench)
    assert [(code, cause) for code, cause, _ in placed] == [
        ("P-0001", "a tester failed its check"),
        ("P-0002", "a tester failed its check"),
    ]
    assert "6 readings since its last conforming check are not proven" in placed[0][2]


def test_readings_before_a_good_interim_check_stay_and_their_panel_is_not_held(
    bench: Bench,
) -> None:
    before, after = bench.coupon(), bench.coupon()
    bench.conductive(before)
    number = bench.open()
    bench.read(number, before, *THREE)
    bench.check(number, "HT-1", "interim")
    bench.read(number, after, *THREE)
    bench.check(number, "HT-1", "interim", *BAD)
    assert bench.now(before).verdict == "conforms"
    assert not bench.now(before).provisional
    assert bench.now(after).verdict == "not_proven"
    assert [code for code, _, _ in holds(bench)] == ["P-0002"]


def test_a_failed_check_before_any_reading_holds_nothing(bench: Bench) -> None:
    number = bench.open()
    bench.check(number, "HT-1", "interim", *BAD)
    assert out_of_use(bench, "HT-1") is not None
    assert holds(bench) == []


def test_a_released_panel_is_held_too_and_a_scrapped_one_is_not(bench: Bench) -> None:
    released, scrapped = bench.coupon(), bench.coupon()
    number = bench.open()
    for coupon in (released, scrapped):
        bench.read(number, coupon, *THREE)
    ends = {"P-0001": Decided.RELEASED, "P-0002": Decided.SCRAPPED}
    with bench.database.write() as session:
        for panel in session.scalars(select(Panel)):
            panel.decided = ends[panel.code]
            bind(session, panel, about=("panel", panel.code))
    bench.check(number, "HT-1", "closing", *BAD)
    assert [code for code, _, _ in holds(bench)] == ["P-0001"]


def test_a_first_failed_opening_check_is_tried_again_and_a_second_takes_it_out(
    bench: Bench,
) -> None:
    number = service.open_session(
        bench.database, tester_code="HT-1", by=bench.shop.inspector, at=bench.tick(), zone=ZONE
    )
    bench.check(number, "HT-1", "opening", *BAD)
    assert out_of_use(bench, "HT-1") is None
    assert _standing(bench, number) is Standing.AWAITING_OPENING
    bench.check(number, "HT-1", "opening", *BAD)
    assert out_of_use(bench, "HT-1") == f"its opening check on RB-HT-1 failed in session {number}"
    assert _standing(bench, number) is Standing.FAILED


def test_two_failed_opening_checks_in_a_row_count_over_sessions_and_people(bench: Bench) -> None:
    numbers = [
        service.open_session(
            bench.database, tester_code="HT-1", by=person, at=bench.tick(), zone=ZONE
        )
        for person in (bench.shop.inspector, bench.shop.second)
    ]
    bench.check(numbers[0], "HT-1", "opening", *BAD)
    bench.check(numbers[1], "HT-1", "opening", *BAD, by=bench.shop.second)
    assert out_of_use(bench, "HT-1") == (
        f"its opening check on RB-HT-1 failed in session {numbers[1]}"
    )


def test_a_good_check_between_two_failed_ones_begins_anew(bench: Bench) -> None:
    opened = {"tester_code": "HT-1", "zone": ZONE, "by": bench.shop.inspector}
    number = service.open_session(bench.database, at=bench.tick(), **opened)
    bench.check(number, "HT-1", "opening", *BAD)
    bench.check(number, "HT-1", "opening")
    bench.check(number, "HT-1", "closing")
    number = service.open_session(bench.database, at=bench.tick(), **opened)
    bench.check(number, "HT-1", "opening", *BAD)
    assert out_of_use(bench, "HT-1") is None


def test_a_tester_out_of_use_opens_nothing_and_takes_no_check_and_no_reading(
    bench: Bench,
) -> None:
    coupon = bench.coupon()
    number = bench.open()
    equipment.place_quarantine(
        bench.database,
        tester="HT-1",
        reason="it fell off the bench",
        by=bench.shop.inspector,
        at=bench.tick(),
    )
    with pytest.raises(Conflict, match="HT-1 is out of use: it fell off the bench"):
        bench.read(number, coupon, *THREE)
    with pytest.raises(Conflict, match="out of use"):
        bench.check(number, "HT-1", "closing")
    with pytest.raises(Conflict, match="out of use"):
        bench.open(by=bench.shop.second)


def _lift(bench: Bench, by) -> None:
    equipment.lift_quarantine(
        bench.database,
        tester="HT-1",
        reason="indenter changed, calibrated anew",
        password=PASSWORD,
        by=by,
        at=bench.tick(),
    )


def test_after_the_lift_a_new_session_begins_and_one_slip_is_forgiven_again(bench: Bench) -> None:
    coupon = bench.coupon()
    number = bench.open()
    bench.read(number, coupon, *THREE)
    bench.check(number, "HT-1", "closing", *BAD)
    with pytest.raises(NotAllowed, match="Only a supervisor or engineer"):
        _lift(bench, bench.shop.inspector)
    _lift(bench, bench.shop.engineer)
    assert out_of_use(bench, "HT-1") is None
    with pytest.raises(Conflict, match="ended by a failed check"):
        bench.check(number, "HT-1", "closing")
    again = service.open_session(
        bench.database, tester_code="HT-1", by=bench.shop.inspector, at=bench.tick(), zone=ZONE
    )
    assert again != number
    bench.check(again, "HT-1", "opening", *BAD)
    assert out_of_use(bench, "HT-1") is None
    bench.check(again, "HT-1", "opening")
    bench.read(again, coupon, *THREE)
    bench.check(again, "HT-1", "closing")
    bench.conductive(coupon)
    assert bench.now(coupon).verdict == "conforms"


def test_a_supervisor_whose_closing_check_fails_does_not_lift_it(bench: Bench) -> None:
    number = bench.open()
    bench.check(number, "HT-1", "closing", *BAD, by=bench.shop.supervisor)
    with pytest.raises(NotAllowed, match="another supervisor or engineer"):
        _lift(bench, bench.shop.supervisor)


def test_what_it_left_behind_is_told_with_the_testers_that_may_be_used(bench: Bench) -> None:
    coupons = bench.coupons(2)
    second_meter(bench)
    number = bench.open("CM-1")
    for coupon in coupons:
        bench.read(number, coupon, "39.0", "39.0", "39.0")
    bench.check(number, "CM-1", "interim", *FAILED_CHECK["CM-1"])
    with bench.database.read() as session:
        found = queries.aftermath(
            session, queries.bench_session(session, number), on=bench.at.date()
        )
    assert found is not None
    assert found.readings == 6
    assert found.coupons == tuple(coupon.code for coupon in coupons)
    assert found.panels == ("P-0001",)
    assert found.quarantine is not None
    assert [other.code for other in found.others] == ["CM-2"]


def test_a_slip_of_the_key_takes_nothing_out_of_use(bench: Bench) -> None:
    number = bench.open()
    with pytest.raises(Refusal, match="unusual"):
        bench.check(number, "HT-1", "interim", "85.0", "58.0")
    assert out_of_use(bench, "HT-1") is None
    with bench.database.read() as session:
        assert session.scalar(select(func.count(Hold.id))) == 0
