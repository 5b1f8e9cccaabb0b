"""The statements that gather a panel's facts, each written once and for any number of panels.

Built at import, so that a page pays for running them and not for putting them together. Large
papers come as text and only where they are asked for.
"""

from typing import Any

from sqlalchemy import BindParameter, Text, bindparam, case, func, select, type_coerce
from sqlalchemy.orm import aliased

from app.bench.records import (
    CorrectionAnswer,
    CorrectionRequest,
    CouponVerdict,
    Reading,
    VoidAnswer,
    VoidRequest,
)
from app.equipment.records import Furnace
from app.loads.queries import goes_ahead, in_use
from app.loads.records import (
    FurnaceRecord,
    LeakCheck,
    Load,
    LoadCoupon,
    LoadPanel,
    LotException,
    RecordVerdict,
    Unwrapping,
)
from app.loads.trouble_records import CouponTrouble, TroubleAnswer
from app.panels.records import Coupon, CustodyStep, Hold, MaterialLot, Panel
from app.people.records import AuthorisationEnd, Signature
from app.release.records import Decision, HoldLift
from app.requirements.records import (
    Requirement,
    RequirementRevision,
    RequirementVerification,
    RequirementWithdrawal,
)

_panel_ids: BindParameter[Any] = bindparam("panel_ids", expanding=True)
_load_ids: BindParameter[Any] = bindparam("load_ids", expanding=True)
_coupon_ids: BindParameter[Any] = bindparam("coupon_ids", expanding=True)
_in_full: BindParameter[Any] = bindparam("in_full", expanding=True)
"""The loads or panels of which papers are read too."""

PANEL_ID = select(Panel.id).where(Panel.code == bindparam("code"))

PANELS = (
    select(
        Panel.id,
        Panel.code,
        MaterialLot.code.label("lot_code"),
        MaterialLot.alloy,
        MaterialLot.incoming_temper,
        MaterialLot.form,
        MaterialLot.thickness_mm,
        MaterialLot.surface,
        MaterialLot.cast.label("cast_number"),
        MaterialLot.certificate,
        Panel.drawing,
        Panel.order_number,
        Panel.target_temper,
        Panel.length_mm,
        Panel.width_mm,
        Panel.treatments_most,
        Panel.treatments_before,
        Panel.decided,
        Panel.registered_by_id,
        Panel.registered_at,
    )
    .join(MaterialLot, MaterialLot.id == Panel.lot_id)
    .where(Panel.id.in_(_panel_ids))
)


def _revision_columns(prefix: str, owner: Any) -> tuple[list[Any], Any]:
    """Columns of the revision that ``owner`` names, and a function that joins them in."""
    revision = aliased(RequirementRevision)
    requirement = aliased(Requirement)
    verification = aliased(RequirementVerification)
    withdrawal = aliased(RequirementWithdrawal)
    columns = [
        revision.id.label(f"{prefix}_id"),
        requirement.code.label(f"{prefix}_code"),
        revision.revision.label(f"{prefix}_revision"),
        revision.paper_sha256.label(f"{prefix}_sha256"),
        revision.shop_rules.label(f"{prefix}_rules"),
        revision.written_by_id.label(f"{prefix}_written_by_id"),
        verification.verified_by_id.label(f"{prefix}_verified_by_id"),
        verification.in_force_from.label(f"{prefix}_in_force_from"),
        withdrawal.withdrawn_at.label(f"{prefix}_withdrawn_at"),
    ]

    def joined(query: Any) -> Any:
        return (
            query.join(revision, revision.id == owner)
            .join(requirement, requirement.id == revision.requirement_id)
            .outerjoin(verification, verification.revision_id == revision.id)
            .outerjoin(withdrawal, withdrawal.revision_id == revision.id)
        )

    return columns, joined


def _loads() -> Any:
    cycle, with_cycle = _revision_columns("cycle", Load.cycle_revision_id)
    table, with_table = _revision_columns("table", LoadPanel.table_revision_id)
    leak, found = aliased(LeakCheck), aliased(Unwrapping)
    last_leak = (
        select(func.max(LeakCheck.id))
        .where(LeakCheck.load_id == LoadPanel.load_id, LeakCheck.panel_id == LoadPanel.panel_id)
        .correlate(LoadPanel)
        .scalar_subquery()
    )
    last_unwrapping = (
        select(func.max(Unwrapping.id))
        .where(Unwrapping.load_id == LoadPanel.load_id, Unwrapping.panel_id == LoadPanel.panel_id)
        .correlate(LoadPanel)
        .scalar_subquery()
    )
    query = (
        select(
            LoadPanel.panel_id,
            LoadPanel.treatment_number,
            LoadPanel.former,
            LoadPanel.governed,
            Load.id,
            Load.code,
            Load.planned_at,
            Load.planned_start,
            Furnace.code.label("furnace_code"),
            leak.outcome.label("leak_outcome"),
            leak.start_kpa,
            leak.end_kpa,
            leak.minutes,
            leak.limit_kpa,
            found.bag_intact,
            found.surface_clear,
            found.findings.label("unwrapping_findings"),
            found.contour_gap_mm,
            found.contour_limit_mm,
            *cycle,
            *table,
        )
        .join(Load, Load.id == LoadPanel.load_id)
        .join(Furnace, Furnace.id == Load.furnace_id)
    )
    query = with_table(with_cycle(query))
    return (
        query.outerjoin(leak, leak.id == last_leak)
        .outerjoin(found, found.id == last_unwrapping)
        .where(LoadPanel.panel_id.in_(_panel_ids), goes_ahead(LoadPanel.load_id))
        .order_by(LoadPanel.id)
    )


LOADS = _loads()


def _records() -> Any:
    """Records that no other replaces, with their last verdict.

    Of the loads in full the verdict's paper too, where something failed.
    """
    last = (
        select(func.max(RecordVerdict.id))
        .where(RecordVerdict.record_id == FurnaceRecord.id)
        .correlate(FurnaceRecord)
        .scalar_subquery()
    )
    text = type_coerce(RecordVerdict.paper, Text)
    return (
        select(
            FurnaceRecord.load_id,
            FurnaceRecord.file_sha256,
            FurnaceRecord.file_name,
            FurnaceRecord.starts_at,
            FurnaceRecord.trace_sha256,
            RecordVerdict.verdict,
            RecordVerdict.paper_sha256,
            case(
                (FurnaceRecord.load_id.in_(_in_full) & (RecordVerdict.verdict != "conforms"), text)
            ).label("paper"),
        )
        .outerjoin(RecordVerdict, RecordVerdict.id == last)
        .where(FurnaceRecord.load_id.in_(_load_ids), in_use())
        .order_by(FurnaceRecord.id)
    )


RECORDS = _records()


def _coupons() -> Any:
    """Seats with their coupon, its lot, and its last verdict; of panels in full with its paper."""
    last = (
        select(func.max(CouponVerdict.id))
        .where(CouponVerdict.coupon_id == LoadCoupon.coupon_id)
        .correlate(LoadCoupon)
        .scalar_subquery()
    )
    text = type_coerce(CouponVerdict.paper, Text)
    return (
        select(
            LoadCoupon.panel_id,
            LoadCoupon.load_id,
            LoadCoupon.station,
            LoadCoupon.x,
            LoadCoupon.y,
            Coupon.id,
            Coupon.code,
            Coupon.thickness_mm,
            Coupon.surface,
            MaterialLot.code.label("lot_code"),
            MaterialLot.alloy,
            MaterialLot.form,
            CouponVerdict.verdict,
            CouponVerdict.provisional,
            CouponVerdict.table_revision_id,
            CouponVerdict.inputs_sha256,
            case((LoadCoupon.panel_id.in_(_in_full), text)).label("paper"),
            LotException.reason.label("lot_reason"),
            Signature.printed_name.label("lot_accepted_by"),
        )
        .join(Coupon, Coupon.id == LoadCoupon.coupon_id)
        .join(MaterialLot, MaterialLot.id == Coupon.lot_id)
        .outerjoin(CouponVerdict, CouponVerdict.id == last)
        .outerjoin(
            LotException,
            (LotException.coupon_id == LoadCoupon.coupon_id)
            & (LotException.panel_id == LoadCoupon.panel_id),
        )
        .outerjoin(Signature, Signature.id == LotException.signature_id)
        .where(LoadCoupon.panel_id.in_(_panel_ids), goes_ahead(LoadCoupon.load_id))
        .order_by(LoadCoupon.id)
    )


COUPONS = _coupons()

CUSTODY = (
    select(
        CustodyStep.coupon_id,
        CustodyStep.step,
        CustodyStep.place,
        CustodyStep.note,
        CustodyStep.by_id,
        CustodyStep.taken_at,
    )
    .where(CustodyStep.coupon_id.in_(_coupon_ids))
    .order_by(CustodyStep.id)
)

_lost, _place, _spare = aliased(Coupon), aliased(Coupon), aliased(Coupon)
TROUBLES = (
    select(
        CouponTrouble.panel_id,
        CouponTrouble.load_id,
        CouponTrouble.kind,
        _lost.code.label("coupon"),
        _place.code.label("place"),
        TroubleAnswer.outcome,
        _spare.code.label("spare"),
        Signature.printed_name,
        TroubleAnswer.reason,
    )
    .outerjoin(_lost, _lost.id == CouponTrouble.coupon_id)
    .outerjoin(_place, _place.id == CouponTrouble.other_id)
    .outerjoin(TroubleAnswer, TroubleAnswer.trouble_id == CouponTrouble.id)
    .outerjoin(_spare, _spare.id == TroubleAnswer.spare_id)
    .outerjoin(Signature, Signature.id == TroubleAnswer.signature_id)
    .where(CouponTrouble.panel_id.in_(_panel_ids), goes_ahead(CouponTrouble.load_id))
    .order_by(CouponTrouble.id)
)

HANDS = (
    select(
        Reading.coupon_id,
        Reading.taken_by_id,
        VoidRequest.id.label("request_id"),
        VoidRequest.asked_by_id,
        VoidAnswer.answered_by_id,
        CorrectionRequest.asked_by_id.label("correction_by_id"),
        CorrectionAnswer.answered_by_id.label("corrected_by_id"),
    )
    .outerjoin(VoidRequest, VoidRequest.reading_id == Reading.id)
    .outerjoin(VoidAnswer, VoidAnswer.request_id == VoidRequest.id)
    .outerjoin(CorrectionRequest, CorrectionRequest.reading_id == Reading.id)
    .outerjoin(CorrectionAnswer, CorrectionAnswer.request_id == CorrectionRequest.id)
    .where(Reading.coupon_id.in_(_coupon_ids))
    .distinct()
)
"""Who had a hand in a coupon's readings: took, or asked for or answered a void or correction."""

HOLDS = (
    select(
        Hold.panel_id,
        Hold.id,
        Hold.reason,
        Hold.placed_by_id,
        Hold.placed_at,
        Decision.number,
    )
    .outerjoin(HoldLift, HoldLift.hold_id == Hold.id)
    .outerjoin(Decision, Decision.id == HoldLift.decision_id)
    .where(Hold.panel_id.in_(_panel_ids))
    .order_by(Hold.id)
)

DECISIONS = (
    select(
        Decision.panel_id,
        Decision.number,
        Decision.kind,
        Decision.reason,
        Decision.evidence_sha256,
        Decision.decided_by_id,
        Decision.decided_at,
        Signature.printed_name,
        Signature.meaning,
        Signature.content_sha256,
        AuthorisationEnd.ended_at,
    )
    .join(Signature, Signature.id == Decision.signature_id)
    .outerjoin(AuthorisationEnd, AuthorisationEnd.authorisation_id == Decision.authorisation_id)
    .where(Decision.panel_id.in_(_panel_ids))
    .order_by(Decision.panel_id, Decision.number)
)
