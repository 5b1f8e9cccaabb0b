"""The bench's stories in the filled demonstration: what went wrong and how it was answered."""

from sqlalchemy import select

from app.bench.records import (
    Baseline,
    BenchSession,
    CorrectionAnswer,
    CorrectionRequest,
    EntryDraft,
    Reading,
    Retest,
)
from app.database import Database
from app.equipment import records as equipment
from app.loads.trouble_records import CouponTrouble, TroubleAnswer, TroubleKind, TroubleOutcome
from app.panels.records import Coupon, Hold, HoldCause, Panel
from seed_demo.scenario import SECOND_METER, TESTERS
from seed_demo.scenario_loads import DRAFT_ON, LATE_ON, LOADS, TURN_ASKED_ON, TURNED_ON
from seed_demo.seeding_bench import coupons_of
from seed_demo.seeding_shop import PASSWORD
from tests.visits import Visit, words


def test_corrections_that_turn_a_result_took_a_second_person_or_wait_for_one(
    filled: Database,
) -> None:
    with filled.read() as session:
        asked = session.execute(
            select(Coupon.code, CorrectionAnswer.approved, CorrectionAnswer.answered_by_id)
            .select_from(CorrectionRequest)
            .join(Reading, Reading.id == CorrectionRequest.reading_id)
            .join(Coupon, Coupon.id == Reading.coupon_id)
            .outerjoin(CorrectionAnswer, CorrectionAnswer.request_id == CorrectionRequest.id)
            .order_by(CorrectionRequest.id)
        ).all()
        takers = set(
            session.scalars(
                select(Reading.taken_by_id)
                .join(Coupon, Coupon.id == Reading.coupon_id)
                .where(Coupon.code == TURNED_ON)
            )
        )
    assert [(row.code, row.approved) for row in asked] == [(TURNED_ON, True), (TURN_ASKED_ON, None)]
    assert asked[0].answered_by_id not in takers


def test_a_failed_meter_was_out_of_use_until_a_second_person_looked_and_no_retest_was_spent(
    filled: Database,
) -> None:
    with filled.read() as session:
        out, lift = session.execute(
            select(equipment.TesterQuarantine, equipment.QuarantineLift).outerjoin(
                equipment.QuarantineLift,
                equipment.QuarantineLift.quarantine_id == equipment.TesterQuarantine.id,
            )
        ).one()
        held = session.scalars(
            select(Panel.code)
            .join(Hold, Hold.panel_id == Panel.id)
            .where(Hold.cause == HoldCause.FAILED_CHECK)
            .order_by(Panel.code)
        ).all()
        meters = set(
            session.scalars(
                select(equipment.Tester.code)
                .join(BenchSession, BenchSession.tester_id == equipment.Tester.id)
                .join(Reading, Reading.session_id == BenchSession.id)
                .join(Coupon, Coupon.id == Reading.coupon_id)
                .where(Coupon.code == "TW-1063-A", Reading.quantity == "conductivity")
            )
        )
        assert session.scalars(select(Retest)).all() == []
    assert lift is not None
    assert lift.lifted_by_id != out.placed_by_id
    assert held == ["TW-1062", "TW-1063"]
    assert meters == {"EC-5", SECOND_METER.code}


def test_what_was_read_late_or_before_the_furnace_or_is_only_keyed_stands_so(
    filled: Database,
) -> None:
    with filled.read() as session:
        late = session.execute(
            select(Coupon.code, Reading.taken_at, Reading.entered_at)
            .join(Reading, Reading.coupon_id == Coupon.id)
            .where(Reading.late_reason.is_not(None))
        ).all()
        before = session.scalars(
            select(Coupon.code).join(Baseline, Baseline.coupon_id == Coupon.id).distinct()
        ).all()
        drafts = session.scalars(
            select(Coupon.code).join(EntryDraft, EntryDraft.coupon_id == Coupon.id)
        ).all()
        sized = session.scalars(
            select(Coupon.code)
            .join(Reading, Reading.coupon_id == Coupon.id)
            .where(Reading.indentation.is_not(None))
            .distinct()
        ).all()
    assert {row.code for row in late} == {LATE_ON}
    assert all(row.taken_at < row.entered_at for row in late)
    told = [load for load in LOADS if load.baselines]
    assert len(told) == 2
    assert set(before) == {
        panel.coupon_code(one) for load in told for panel, one in coupons_of(load)
    }
    assert drafts == [DRAFT_ON]
    assert sized == [
        panel.coupon_code(one) for load in LOADS for panel, one in coupons_of(load) if one.is_round
    ]


def test_a_spare_stands_in_for_one_coupon_and_two_troubles_wait(filled: Database) -> None:
    with filled.read() as session:
        told = session.execute(
            select(CouponTrouble.kind, TroubleAnswer.outcome)
            .outerjoin(TroubleAnswer, TroubleAnswer.trouble_id == CouponTrouble.id)
            .order_by(CouponTrouble.id)
        ).all()
    assert [tuple(row) for row in told] == [
        (TroubleKind.MISSING, TroubleOutcome.SPARE),
        (TroubleKind.MISSING, None),
        (TroubleKind.DOUBLED, None),
    ]


def test_the_charts_of_both_testers_have_checks_enough_for_limits(visit: Visit) -> None:
    visit.sign_in("skestle", PASSWORD)
    for tester in TESTERS:
        told = words(visit.get(f"/testers/{tester.code}/chart").text)
        assert "centre" in told.lower(), tester.code
