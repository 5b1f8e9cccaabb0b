"""Sessions and checks on reference blocks, on both databases."""

from datetime import date, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import func, select

from app.audit.records import Identity
from app.bench import queries, service
from app.bench.records import BenchSession, BlockCheck
from app.bench.rules.bracketing import Standing
from app.equipment.records import ReferenceBlock
from app.errors import Conflict, NotAllowed, NotFound, Refusal
from tests.bench.bench_makers import FAILED_CHECK, ZONE, Bench
from tests.makers import NOW, bind


def _open(bench: Bench, **changed):
    given = {"tester_code": "HT-1", "by": bench.shop.inspector, "at": bench.tick(), "zone": ZONE}
    return service.open_session(bench.database, **{**given, **changed})


def _standing(bench: Bench, session_id: int) -> Standing:
    with bench.database.read() as session:
        return queries.bench_session(session, session_id).standing


def test_a_session_opens_with_a_conforming_check_and_ends_with_the_closing_one(
    bench: Bench,
) -> None:
    number = _open(bench)
    assert _standing(bench, number) is Standing.AWAITING_OPENING
    assert bench.check(number, "HT-1", "opening").outcome == "conforms"
    assert _standing(bench, number) is Standing.OPEN
    bench.check(number, "HT-1", "closing")
    assert _standing(bench, number) is Standing.CLOSED
    with pytest.raises(Conflict, match="Open a new one"):
        bench.check(number, "HT-1", "interim")


def test_a_failed_opening_check_may_be_made_again_and_stays_on_record(bench: Bench) -> None:
    number = _open(bench)
    assert bench.check(number, "HT-1", "opening", *FAILED_CHECK["HT-1"]).outcome != "conforms"
    assert _standing(bench, number) is Standing.AWAITING_OPENING
    bench.check(number, "HT-1", "opening")
    assert _standing(bench, number) is Standing.OPEN
    with bench.database.read() as session:
        assert session.scalar(select(func.count(BlockCheck.id))) == 2


def test_the_error_of_a_check_may_equal_the_permitted_one(bench: Bench) -> None:
    number = _open(bench)
    assert bench.check(number, "HT-1", "opening", "86.0", "86.0").outcome == "conforms"


def test_a_tester_is_not_used_before_its_certificate_or_after_its_due_day(bench: Bench) -> None:
    last = NOW.replace(year=2027, month=1, day=10)
    assert _open(bench, at=last) > 0
    with pytest.raises(Refusal, match=r"overdue since 2027-01-10.*Use another tester"):
        _open(bench, at=last + timedelta(days=1))
    with pytest.raises(Refusal, match="no paper on record"):
        _open(bench, at=NOW.replace(month=1, day=9))


def test_the_day_is_the_shops_and_not_the_servers(bench: Bench) -> None:
    late = NOW.replace(year=2027, month=1, day=10, hour=23, minute=30)
    with pytest.raises(Refusal, match="overdue since 2027-01-10"):
        _open(bench, at=late, zone=ZoneInfo("Europe/Vienna"))  # 00:30 on the 11th there
    assert _open(bench, at=late, zone=ZONE) > 0


def test_whoever_has_not_used_a_session_yet_is_given_it_again(bench: Bench) -> None:
    assert _open(bench) == _open(bench)
    with bench.database.read() as session:
        assert session.scalar(select(func.count(BenchSession.id))) == 1


def test_a_tester_has_one_running_session(bench: Bench) -> None:
    second = bench.shop.second
    waiting = _open(bench, by=second)
    running = bench.open("HT-1")
    assert _open(bench) == running
    with pytest.raises(Conflict, match=r"Mara Quill has a session running at HT-1"):
        _open(bench, by=second)
    with pytest.raises(Conflict, match="Mara Quill has a session running"):
        bench.check(waiting, "HT-1", "opening", by=second)
    bench.check(running, "HT-1", "closing")
    assert bench.check(waiting, "HT-1", "opening", by=second).outcome == "conforms"


def test_two_testers_are_two_sessions(bench: Bench) -> None:
    assert bench.open("HT-1") != bench.open("CM-1", by=bench.shop.second)


def test_only_the_operator_checks_but_a_supervisor_may_close(bench: Bench) -> None:
    number = bench.open()
    with pytest.raises(NotAllowed, match="Mara Quill's"):
        bench.check(number, "HT-1", "interim", by=bench.shop.second)
    with pytest.raises(NotAllowed, match="Mara Quill's"):
        bench.check(number, "HT-1", "closing", by=bench.shop.second)
    with pytest.raises(NotAllowed, match="Mara Quill's"):
        bench.check(number, "HT-1", "interim", by=bench.shop.supervisor)
    bench.check(number, "HT-1", "closing", by=bench.shop.supervisor)
    assert _standing(bench, number) is Standing.CLOSED


@pytest.mark.parametrize("role", ["engineer", "auditor", "administrator"])
def test_others_do_not_measure(bench: Bench, role: str) -> None:
    with pytest.raises(NotAllowed, match="Only an inspector or supervisor"):
        _open(bench, by=getattr(bench.shop, role))


def test_checks_come_in_turn(bench: Bench) -> None:
    number = _open(bench)
    with pytest.raises(Refusal, match="opening check comes first"):
        bench.check(number, "HT-1", "closing")
    bench.check(number, "HT-1", "opening")
    with pytest.raises(Conflict, match="ready for readings"):
        bench.check(number, "HT-1", "opening")


def test_the_block_fits_the_tester_and_is_in_date(bench: Bench) -> None:
    number = _open(bench)
    with pytest.raises(Refusal, match=r"RB-CM-1 is for conductivity in %IACS") as refused:
        bench.check(number, "HT-1", "opening", block="RB-CM-1")
    assert "block" in refused.value.fields
    with pytest.raises(NotFound, match="RB-9"):
        bench.check(number, "HT-1", "opening", block="RB-9")
    with bench.database.write() as session:
        old = ReferenceBlock(
            code="RB-OLD",
            quantity="hardness",
            unit="HRB",
            certified_value=Decimal("85.0"),
            permitted_error=Decimal("1.0"),
            expires_on=date(2026, 3, 1),
            certificate="C-OLD",
            registered_by_id=bench.shop.engineer.id,
            registered_at=NOW,
        )
        identity = Identity(code="RB-OLD", kind="reference_block", given_at=NOW)
        bind(session, identity, old)
    with pytest.raises(Refusal, match="ended on 2026-03-01"):
        bench.check(number, "HT-1", "opening", block="RB-OLD")


def test_a_check_needs_two_hardness_readings_and_one_of_conductivity(bench: Bench) -> None:
    number = _open(bench)
    with pytest.raises(Refusal, match="at least 2 check readings"):
        bench.check(number, "HT-1", "opening", "85.0")
    assert bench.open("CM-1") > 0


def test_a_check_reading_with_the_point_in_the_wrong_place_is_refused(bench: Bench) -> None:
    number = _open(bench)
    with pytest.raises(Refusal, match=r"did you mean 85\.1\?") as refused:
        bench.check(number, "HT-1", "opening", "85.0", "8.51")
    assert list(refused.value.fields) == ["reading_2"]


def test_a_check_reading_far_off_is_confirmed_before_it_fails_the_tester(bench: Bench) -> None:
    number = _open(bench)
    with pytest.raises(Refusal, match="unusual") as refused:
        bench.check(number, "HT-1", "opening", "85.0", "58.0")
    assert set(refused.value.fields) == {"reading_2", "confirmed"}
    found = bench.check(number, "HT-1", "opening", "85.0", "58.0", confirmed=True)
    assert found.outcome == "does_not_conform"
    with pytest.raises(Refusal, match="cannot be: give degrees Celsius"):
        bench.check(number, "HT-1", "opening", block_c=Decimal(205))


def test_an_unknown_session_or_tester_is_said_to_be_unknown(bench: Bench) -> None:
    with pytest.raises(NotFound, match="No bench session 77"):
        bench.check(77, "HT-1", "opening")
    with pytest.raises(NotFound, match="No tester HT-9"):
        _open(bench, tester_code="HT-9")


def test_testers_are_offered_with_who_is_at_them(bench: Bench) -> None:
    number = bench.open("HT-1")
    with bench.database.read() as session:
        offered = queries.tester_choices(session, on=date(2026, 3, 2))
        overdue = queries.tester_choices(session, on=date(2027, 1, 11))
    assert [one.code for one in offered] == ["CM-1", "HT-1"]
    assert offered[0].running is None
    assert offered[1].running is not None
    assert (offered[1].running.id, offered[1].running.operator) == (number, "Mara Quill")
    assert [one.usable for one in offered] == [True, True]
    assert [one.usable for one in overdue] == [False, False]
