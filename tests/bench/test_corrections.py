"""Corrections, voids and retests, on both databases."""

import pytest

from app.bench import queries, service
from app.bench.records import VoidCause
from app.database import Database
from app.errors import Conflict, NotAllowed, NotFound, Refusal
from tests.bench.bench_makers import Bench

SETS = {"further": 2, "of": "sets"}
COUPONS = {"further": 2, "of": "coupons"}


def test_a_correction_stands_beside_what_it_corrects(bench: Bench) -> None:
    coupon = bench.coupon()
    bench.hard(coupon, "84.5", "85.5", "85.0")
    saved = bench.correct(coupon, bench.readings(coupon)[1], "85.4", by=bench.shop.inspector)
    assert saved.provisional is False
    old, new = bench.readings(coupon)[1], bench.readings(coupon)[3]
    assert (str(old.value), str(new.value)) == ("85.5", "85.4")
    assert new.replaces_id == old.id
    assert new.taken_at == old.taken_at < new.entered_at
    assert "replaced by a correction" in bench.texts(coupon)


def test_whoever_took_a_reading_does_not_correct_a_failure_away(bench: Bench) -> None:
    coupon = bench.coupon()
    bench.conductive(coupon)
    assert bench.hard(coupon, "82.5", "85.0", "85.0").verdict == "does_not_conform"
    low = next(one for one in bench.readings(coupon) if str(one.value) == "82.5")
    with pytest.raises(NotAllowed, match="A second person who did not take it"):
        bench.correct(coupon, low, "85.5", by=bench.shop.inspector)
    assert bench.now(coupon).verdict == "does_not_conform"
    assert len(bench.readings(coupon)) == 6
    assert bench.correct(coupon, low, "85.5", by=bench.shop.second).verdict == "conforms"


def test_nor_while_another_quantity_is_still_to_be_measured(bench: Bench) -> None:
    coupon = bench.coupon()
    bench.hard(coupon, "82.5", "85.0", "85.0")
    with pytest.raises(NotAllowed, match="second person"):
        bench.correct(coupon, bench.readings(coupon)[0], "85.2", by=bench.shop.inspector)


def test_nor_by_way_of_another_correction_of_their_own(bench: Bench) -> None:
    coupon = bench.coupon()
    bench.hard(coupon, "82.5", "85.0", "85.0")
    bench.correct(coupon, bench.readings(coupon)[0], "82.6", by=bench.shop.second)
    with pytest.raises(NotAllowed, match="second person"):
        bench.correct(coupon, bench.readings(coupon)[3], "85.2", by=bench.shop.inspector)


def test_nor_readings_too_far_apart(bench: Bench) -> None:
    coupon = bench.coupon()
    assert bench.hard(coupon, "81.9", "85.0", "85.0").verdict == "not_proven"
    with pytest.raises(NotAllowed, match="second person"):
        bench.correct(coupon, bench.readings(coupon)[0], "85.2", by=bench.shop.inspector)


def test_a_correction_says_why_and_changes_something(bench: Bench) -> None:
    coupon = bench.coupon()
    bench.hard(coupon)
    reading = bench.readings(coupon)[0]
    with pytest.raises(Refusal, match="at least 10 characters") as refused:
        bench.correct(coupon, reading, "84.6", by=bench.shop.inspector, reason="oops")
    assert list(refused.value.fields) == ["reason"]
    with pytest.raises(Refusal, match=r"84\.5 HRB already"):
        bench.correct(coupon, reading, "84.5", by=bench.shop.inspector)
    with pytest.raises(Refusal, match=r"did you mean 84\.6"):
        bench.correct(coupon, reading, "8.46", by=bench.shop.inspector)
    with pytest.raises(NotAllowed, match="Only an inspector or supervisor"):
        bench.correct(coupon, reading, "84.6", by=bench.shop.auditor)
    with pytest.raises(NotFound, match="no such reading"):
        bench.correct(bench.coupon(), reading, "84.6", by=bench.shop.inspector)


def test_a_reading_is_corrected_once_and_a_form_sent_twice_counts_once(bench: Bench) -> None:
    coupon = bench.coupon()
    bench.hard(coupon)
    reading = bench.readings(coupon)[0]
    for _ in range(2):
        bench.correct(coupon, reading, "84.6", by=bench.shop.inspector, submission="form")
    assert len(bench.readings(coupon)) == 4
    with pytest.raises(Conflict, match="corrected already"):
        bench.correct(coupon, reading, "84.7", by=bench.shop.inspector)


def test_a_void_needs_a_second_person_and_leaves_the_reading_to_be_seen(bench: Bench) -> None:
    coupon = bench.coupon()
    bench.hard(coupon, "82.5", "85.0", "85.0")
    low = bench.readings(coupon)[0]
    request = service.ask_void(
        bench.database,
        coupon_code=coupon.code,
        reading_id=low.id,
        cause=VoidCause.SLIPPED,
        evidence="the print shows a drag mark",
        by=bench.shop.inspector,
        at=bench.tick(),
    )
    assert bench.now(coupon).verdict == "does_not_conform"
    with bench.database.read() as session:
        assert [one.coupon for one in queries.voids_to_answer(session)] == [coupon.code]
    with pytest.raises(NotAllowed, match="Only a supervisor"):
        bench.answer(coupon, request, by=bench.shop.second)
    bench.answer(coupon, request)
    assert "voided: indenter or probe slipped" in bench.texts(coupon)
    assert "Only 2 readings" in bench.texts(coupon)
    assert len(bench.readings(coupon)) == 3
    with pytest.raises(Conflict, match="answered this request"):
        bench.answer(coupon, request)
    with pytest.raises(Conflict, match="voided already"):
        bench.correct(coupon, low, "85.1", by=bench.shop.second)
    bench.read(bench.open(), coupon, "85.1")
    assert "does not count" in bench.texts(coupon)
    with bench.database.read() as session:
        assert queries.voids_to_answer(session) == []
        assert queries.readers(session, [coupon.id]) == {
            bench.shop.inspector.id,
            bench.shop.supervisor.id,
        }


def test_a_declined_void_changes_nothing(bench: Bench) -> None:
    coupon = bench.coupon()
    bench.hard(coupon, "82.5", "85.0", "85.0")
    before = len(bench.verdicts(coupon))
    bench.void(coupon, bench.readings(coupon)[0], approved=False)
    assert bench.now(coupon).verdict == "does_not_conform"
    assert len(bench.verdicts(coupon)) == before


def test_a_supervisor_does_not_answer_a_void_of_their_own_reading_or_request(
    bench: Bench,
) -> None:
    coupon = bench.coupon()
    bench.hard(coupon, "82.5", "85.0", "85.0", by=bench.shop.supervisor)
    with pytest.raises(NotAllowed, match="second person"):
        bench.void(coupon, bench.readings(coupon)[0])


def test_a_void_is_asked_once_with_evidence(bench: Bench) -> None:
    coupon = bench.coupon()
    bench.hard(coupon)

    def ask(evidence: str, code: str = coupon.code) -> None:
        service.ask_void(
            bench.database,
            coupon_code=code,
            reading_id=bench.readings(coupon)[0].id,
            cause=VoidCause.SURFACE,
            evidence=evidence,
            by=bench.shop.inspector,
            at=bench.tick(),
        )

    with pytest.raises(Refusal, match="at least 10 characters") as refused:
        ask("low")
    assert list(refused.value.fields) == ["evidence"]
    ask("paint was left on the flat")
    with pytest.raises(Conflict, match="waits for a supervisor"):
        ask("paint was left on the flat")


@pytest.fixture
def with_sets(database: Database) -> Bench:
    return Bench(database, retest=SETS)


@pytest.fixture
def with_coupons(database: Database) -> Bench:
    return Bench(database, retest=COUPONS)


def test_every_further_set_of_a_retest_must_conform(with_sets: Bench) -> None:
    bench = with_sets
    coupon = bench.coupon()
    bench.conductive(coupon)
    bench.hard(coupon, "82.5", "85.0", "85.0")
    bench.retest(coupon)
    assert bench.now(coupon).verdict == "not_proven"
    assert "0 tested: 2 still to be tested" in bench.texts(coupon)
    assert bench.hard(coupon).verdict == "not_proven"
    assert bench.hard(coupon).verdict == "conforms"
    sets = [one.set_number for one in bench.readings(coupon)]
    assert sets == [None] * 6 + [1] * 3 + [2] * 3
    assert bench.verdicts(coupon)[0].paper["first"] == "does_not_conform"
    assert "First test (does not conform)" in bench.texts(coupon)
    with pytest.raises(Refusal, match="more would not decide"):
        bench.read(bench.open(), coupon, "85.0", "85.0", "85.0")


def test_one_further_set_that_fails_fails_the_retest_and_is_not_averaged(
    with_sets: Bench,
) -> None:
    bench = with_sets
    coupon = bench.coupon()
    bench.hard(coupon)
    bench.conductive(coupon, "36.0", "36.0", "36.0")
    bench.retest(coupon)
    bench.conductive(coupon, "41.0", "41.0", "41.0")
    assert bench.conductive(coupon, "36.9", "36.9", "36.9").verdict == "does_not_conform"


def test_a_further_set_whose_closing_check_fails_is_taken_again(with_sets: Bench) -> None:
    bench = with_sets
    coupon = bench.coupon()
    bench.conductive(coupon)
    bench.hard(coupon, "82.5", "85.0", "85.0")
    bench.retest(coupon)
    number = bench.open()
    bench.read(number, coupon, "82.0", "82.0", "82.0")
    bench.check(number, "HT-1", "closing", "87.2", "87.4")
    assert bench.now(coupon).verdict == "not_proven"
    bench.hard(coupon)
    assert bench.hard(coupon).verdict == "conforms"
    assert [one.set_number for one in bench.readings(coupon)][6:] == [1] * 6 + [2] * 3


def test_further_coupons_of_the_panel_stand_in_only_if_all_conform(with_coupons: Bench) -> None:
    bench = with_coupons
    failed, second, third, fourth = bench.coupons(4)
    bench.conductive(failed)
    bench.hard(failed, "82.5", "85.0", "85.0")
    bench.retest(failed)
    with pytest.raises(Refusal, match="more would not decide"):
        bench.read(bench.open(), failed, "85.0", "85.0", "85.0")
    with bench.database.read() as session:
        running = queries.running_sessions(session)[0].id
    bench.check(running, "HT-1", "closing")
    for coupon in (second, third):
        bench.hard(coupon)
        assert bench.now(failed).verdict == "not_proven"
        bench.conductive(coupon)
    assert bench.now(failed).verdict == "conforms"
    assert bench.now(second).verdict == "conforms"
    bench.hard(fourth, "82.5", "85.0", "85.0")  # a coupon beyond the two stands for itself
    assert bench.now(fourth).verdict == "does_not_conform"
    assert bench.now(failed).verdict == "conforms"
    with bench.database.read() as session:
        assert queries.readers(session, [failed.id]) == {bench.shop.inspector.id}


def test_a_further_coupon_that_fails_fails_both(with_coupons: Bench) -> None:
    bench = with_coupons
    failed, second = bench.coupons(2)
    bench.conductive(failed)
    bench.hard(failed, "82.5", "85.0", "85.0")
    bench.retest(failed)
    assert bench.hard(second, "82.5", "85.0", "85.0").verdict == "does_not_conform"
    assert bench.now(failed).verdict == "does_not_conform"


def test_a_retest_is_opened_by_a_supervisor_once_for_a_final_failure(with_sets: Bench) -> None:
    bench = with_sets
    coupon = bench.coupon()
    with pytest.raises(Refusal, match="is not proven; a retest is for one"):
        bench.retest(coupon)
    number = bench.open()
    bench.read(number, coupon, "82.5", "85.0", "85.0")
    with pytest.raises(Refusal, match="provisional until the closing check"):
        bench.retest(coupon)
    bench.check(number, "HT-1", "closing")
    with pytest.raises(NotAllowed, match="Only a supervisor may open a retest"):
        service.open_retest(
            bench.database,
            coupon_code=coupon.code,
            reason="because it would be nice",
            by=bench.shop.inspector,
            at=bench.tick(),
            zone=bench.at.tzinfo,
        )
    bench.retest(coupon)
    with pytest.raises(Conflict, match="opened already"):
        bench.retest(coupon)


def test_a_table_without_a_retest_rule_permits_none(bench: Bench) -> None:
    coupon = bench.coupon()
    bench.hard(coupon, "82.5", "85.0", "85.0")
    with pytest.raises(Refusal, match="permits no retest"):
        bench.retest(coupon)


def test_a_void_of_the_failed_reading_lets_the_first_test_decide_again(with_sets: Bench) -> None:
    bench = with_sets
    coupon = bench.coupon()
    bench.conductive(coupon)
    bench.hard(coupon, "82.5", "85.0", "85.0")
    low = bench.readings(coupon)[3]
    bench.retest(coupon)
    bench.hard(coupon, "82.1", "82.1", "82.1")
    assert bench.now(coupon).verdict == "does_not_conform"
    bench.void(coupon, low)
    bench.read(bench.open(), coupon, "85.0")
    assert bench.now(coupon).verdict == "does_not_conform"  # the further set is not forgotten
