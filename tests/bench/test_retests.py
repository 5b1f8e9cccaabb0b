"""Retests as planned, on both databases."""

import copy
from typing import Any

import pytest

from app.audit.records import Identity
from app.bench import queries, service
from app.bench.records import Retest
from app.database import Database, paper_sha256
from app.errors import Conflict, NotAllowed, Refusal
from app.loads.service import Report, report_trouble
from app.loads.trouble_records import TroubleKind
from app.panels.records import Coupon, Custody
from app.people.records import Meaning, Signature
from app.requirements.records import RequirementRevision, RequirementVerification
from tests.bench.bench_makers import ZONE, Bench
from tests.makers import TABLE_PAPER, bind, digest

SETS = {"further": 2, "of": "sets"}
COUPONS = {"further": 2, "of": "coupons"}


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
    for _ in range(2):
        _hard_elsewhere(bench, coupon, "85.0", "85.0", "85.0")
    assert bench.now(coupon).verdict == "conforms"
    assert [one.set_number for one in bench.readings(coupon)][6:] == [1] * 6 + [2] * 3


def test_further_coupons_of_the_panel_stand_in_only_if_all_conform(with_coupons: Bench) -> None:
    bench = with_coupons
    failed, second, third, fourth = bench.coupons(4)
    bench.conductive(failed)
    bench.hard(failed, "82.5", "85.0", "85.0")
    bench.retest(failed, second, third)
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
    failed, second, third = bench.coupons(3)
    bench.conductive(failed)
    bench.hard(failed, "82.5", "85.0", "85.0")
    bench.retest(failed, second, third)
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
        bench.retest(coupon, by=bench.shop.inspector)
    with pytest.raises(Refusal, match="the password is not yours"):
        bench.retest(coupon, password="not mine at all")
    bench.retest(coupon)
    with pytest.raises(Conflict, match="a second is never opened"):
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


def _hard_elsewhere(bench: Bench, coupon: Coupon, *values: str) -> None:
    """A whole session at a second tester: the first is out of use since it failed its check."""
    with bench.database.write() as session:
        if session.get(Identity, "HT-2") is None:
            bench.shop.tester(session, "HT-2", "hardness", "HRB")
    number = service.open_session(
        bench.database, tester_code="HT-2", by=bench.shop.inspector, at=bench.tick(), zone=ZONE
    )
    for moment in ("opening", "closing"):
        bench.check(number, "HT-2", moment, "85.2", "84.8", block="RB-HT-1")
        if moment == "opening":
            bench.read(number, coupon, *values)


def _revise(bench: Bench, paper: dict[str, Any]) -> None:
    """Revision B of the bench's table, verified and in force from now."""
    with bench.database.write() as session:
        now = session.get_one(RequirementRevision, bench.shop.table_revision_id)
        revision = RequirementRevision(
            requirement_id=now.requirement_id,
            revision="B",
            paper=paper,
            paper_sha256=digest(paper),
            shop_rules={},
            source_document="invented for the tests",
            written_by_id=bench.shop.engineer.id,
            written_at=bench.at,
        )
        bind(session, revision)
        signature = Signature(
            person_id=bench.shop.supervisor.id,
            printed_name=bench.shop.supervisor.full_name,
            meaning=Meaning.VERIFIED_TABLE,
            signed_at=bench.at,
            content_sha256=digest(paper),
        )
        bind(session, signature)
        verified = RequirementVerification(
            revision_id=revision.id,
            verified_by_id=bench.shop.supervisor.id,
            verified_at=bench.at,
            in_force_from=bench.at,
            signature_id=signature.id,
        )
        bind(session, verified)


def _plan(bench: Bench, coupon: Coupon) -> dict[str, Any]:
    with bench.database.read() as session:
        opened = queries.retest_of(session, coupon.id)
        assert opened is not None
        assert opened.plan is not None
        return opened.plan


def test_the_plan_of_further_sets_is_fixed_when_it_is_opened(with_sets: Bench) -> None:
    bench = with_sets
    coupon = bench.coupon()
    bench.conductive(coupon)
    bench.hard(coupon, "82.5", "85.0", "85.0")
    bench.retest(coupon)
    assert _plan(bench, coupon) == {
        "of": "sets",
        "further": 2,
        "quantities": ["hardness"],
        "positions": None,
        "by_another": False,
        "not_by": [],
        "words": (
            "Hardness again on this coupon, 2 further sets of readings; every one of them must "
            "conform, and nothing is averaged across them."
        ),
    }


def test_opening_a_retest_is_signed_over_its_plan_and_reason(with_sets: Bench) -> None:
    bench = with_sets
    coupon = bench.coupon()
    bench.hard(coupon, "82.5", "85.0", "85.0")
    number = bench.retest(coupon)
    with bench.database.read() as session:
        opened = session.get_one(Retest, number)
        signature = session.get_one(Signature, opened.signature_id)
        assert signature.printed_name == bench.shop.supervisor.full_name
        assert signature.meaning.value.startswith("I open this retest as it is planned")
        assert signature.content_sha256 == paper_sha256(
            {"coupon": coupon.code, "plan": opened.plan, "reason": opened.reason}
        )


def test_the_coupons_that_serve_are_chosen_before_anything_is_measured(
    with_coupons: Bench,
) -> None:
    bench = with_coupons
    failed, measured, second, third = bench.coupons(4)
    stranger = bench.coupon()
    bench.hard(measured)
    bench.hard(failed, "82.5", "85.0", "85.0")
    for chosen, says in (
        ((), "choose exactly as many, before anything is measured on them .0 chosen"),
        ((second,), "exactly as many"),
        ((second, second), "exactly as many"),
        ((second, measured), f"{measured.code} cannot serve: it has been measured already"),
        ((second, stranger), f"{stranger.code} cannot serve: it did not ride on the same panel"),
        ((second, failed), f"{failed.code} cannot serve"),
    ):
        with pytest.raises(Refusal, match=says) as refused:
            bench.retest(failed, *chosen)
        assert list(refused.value.fields) == ["positions"]
    bench.retest(failed, third, second)
    plan = _plan(bench, failed)
    assert plan["positions"] == [second.code, third.code]
    assert plan["quantities"] == ["hardness", "conductivity", "yield_strength"]
    assert f"{second.code} at S3 and {third.code} at S4" in plan["words"]


def test_without_enough_coupons_left_there_is_no_retest(with_coupons: Bench) -> None:
    bench = with_coupons
    failed, measured, missing, free = bench.coupons(4)
    bench.hard(failed, "82.5", "85.0", "85.0")
    bench.hard(measured)
    with bench.database.write() as session:
        bench.shop.custody(session, missing, Custody.MISSING)
    with pytest.raises(Refusal, match="asks for 2 further coupons of the panel, and 1 can serve"):
        bench.retest(failed, free, missing)


def test_a_coupon_in_doubt_serves_no_retest(with_coupons: Bench) -> None:
    bench = with_coupons
    failed, doubted, second, third = bench.coupons(4)
    bench.hard(failed, "82.5", "85.0", "85.0")
    with bench.database.read() as session:
        place = queries.coupon_place(session, doubted.id)
    assert place.load is not None
    assert place.panel is not None
    report_trouble(
        bench.database,
        place.load,
        place.panel,
        Report(TroubleKind.UNMARKED, "No mark under the lens, lay there.", coupon=doubted.code),
        by=bench.shop.inspector,
        at=bench.tick(),
    )
    with pytest.raises(Refusal, match=f"{doubted.code} cannot serve: it is not measured, for a"):
        bench.retest(failed, doubted, second)
    bench.retest(failed, second, third)


def test_a_coupon_serves_one_retest_and_has_none_of_its_own(with_coupons: Bench) -> None:
    bench = with_coupons
    failed, other, second, third, fourth, fifth = bench.coupons(6)
    for one in (failed, other):
        bench.hard(one, "82.5", "85.0", "85.0")
    bench.retest(failed, second, third)
    with pytest.raises(Refusal, match="it serves another retest"):
        bench.retest(other, second, fourth)
    bench.retest(other, fourth, fifth)
    bench.hard(second, "82.5", "85.0", "85.0")
    with pytest.raises(Refusal, match=f"measured for the retest of {failed.code}"):
        bench.retest(second)


def test_a_reading_that_does_not_fit_the_plan_is_refused(database: Database) -> None:
    bench = Bench(database, retest={**SETS, "by_another": True})
    coupon = bench.coupon()
    bench.conductive(coupon, by=bench.shop.supervisor)
    bench.hard(coupon, "82.5", "85.0", "85.0")
    bench.retest(coupon)
    assert _plan(bench, coupon)["not_by"] == [bench.shop.inspector.id]
    assert f"not measured by {bench.shop.inspector.full_name}" in _plan(bench, coupon)["words"]
    number = bench.open()
    with pytest.raises(Refusal, match="asks for another person"):
        bench.read(number, coupon, "85.0", "85.0", "85.0")
    bench.check(number, "HT-1", "closing")
    bench.hard(coupon, by=bench.shop.second)
    assert bench.hard(coupon, by=bench.shop.second).verdict == "conforms"


def test_who_may_not_measure_may_still_correct_a_slip_of_the_key(database: Database) -> None:
    bench = Bench(database, retest={"further": 1, "of": "sets", "by_another": True})
    coupon = bench.coupon()
    bench.conductive(coupon)
    bench.hard(coupon, "82.5", "85.0", "85.0")
    bench.retest(coupon)
    bench.hard(coupon, "84.4", "85.0", "85.0", by=bench.shop.second)
    slip = bench.readings(coupon)[6]
    assert bench.correct(coupon, slip, "84.6", by=bench.shop.inspector).verdict == "conforms"


def test_a_planned_coupon_that_was_not_chosen_stands_for_itself(with_coupons: Bench) -> None:
    bench = with_coupons
    failed, unchosen, second, third = bench.coupons(4)
    bench.conductive(failed)
    bench.hard(failed, "82.5", "85.0", "85.0")
    bench.retest(failed, second, third)
    bench.hard(unchosen)
    bench.conductive(unchosen)
    assert {one.retest_id for one in bench.readings(unchosen)} == {None}
    assert "0 tested: 2 still to be tested" in bench.texts(failed)


def test_the_order_of_moves_comes_before_a_retest(with_sets: Bench) -> None:
    bench = with_sets
    coupon = bench.coupon()
    bench.conductive(coupon, "36.0", "36.0", "36.0")
    with pytest.raises(Refusal, match="Not yet: Measure the hardness"):
        bench.retest(coupon)
    bench.hard(coupon)
    bench.retest(coupon)
    assert _plan(bench, coupon)["quantities"] == ["conductivity"]


def test_a_later_revision_of_the_table_does_not_touch_an_open_retest(with_sets: Bench) -> None:
    bench = with_sets
    coupon = bench.coupon()
    bench.conductive(coupon)
    bench.hard(coupon, "82.5", "85.0", "85.0")
    bench.retest(coupon)
    before = _plan(bench, coupon)
    paper = copy.deepcopy(TABLE_PAPER)
    paper["revision"] = "B"
    paper["entries"][0]["criteria"][0]["min"] = "80.0"  # by which the first would conform
    paper["entries"][0]["retest"] = {"further": 1, "of": "coupons"}
    _revise(bench, paper)
    bench.hard(coupon)
    assert bench.now(coupon).verdict == "not_proven"
    assert "2 further sets, 1 tested: 1 still to be tested" in bench.texts(coupon)
    assert bench.hard(coupon, "82.9", "84.0", "84.0").verdict == "does_not_conform"
    assert _plan(bench, coupon) == before


def test_a_repeat_after_a_failed_check_uses_up_no_retest(with_sets: Bench) -> None:
    bench = with_sets
    coupon = bench.coupon()
    bench.conductive(coupon)
    number = bench.open()
    bench.read(number, coupon, "82.5", "85.0", "85.0")
    bench.check(number, "HT-1", "closing", "87.2", "87.4")
    with pytest.raises(Refusal, match="because a check failed are taken again without one"):
        bench.retest(coupon)
    _hard_elsewhere(bench, coupon, "82.0", "84.0", "84.0")
    bench.retest(coupon)
    assert bench.now(coupon).verdict == "not_proven"


def test_no_mean_is_taken_across_sets(with_sets: Bench) -> None:
    bench = with_sets
    coupon = bench.coupon()
    bench.hard(coupon)
    bench.conductive(coupon, "36.0", "36.0", "36.0")
    bench.retest(coupon)
    bench.conductive(coupon, "41.0", "41.0", "41.0")
    bench.conductive(coupon, "39.0", "39.0", "39.0")
    paper = bench.verdicts(coupon)[0].paper
    means = {
        line.split(" = ")[-1]
        for finding in paper["findings"]
        for line in finding["working"]
        if line.startswith("mean") and " = " in line
    }
    assert means == {"36", "41", "39"}
    assert bench.now(coupon).verdict == "conforms"
