"""What coupons were made of before their lot was corrected, as far as it decides a verdict."""

from collections.abc import Collection, Mapping

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.bench.rules.as_it_stood import MaterialThen
from app.panels.records import Coupon, LotCorrection, LotCorrectionAnswer


def material_then(
    session: Session, coupon_ids: Collection[int]
) -> dict[int, tuple[MaterialThen, ...]]:
    """By coupon, what it was before each approved correction of its lot, the earliest first.

    One query; coupons whose lot was never corrected are left out.
    """
    rows = session.execute(
        select(Coupon.id, LotCorrection.before, LotCorrectionAnswer)
        .join(LotCorrection, LotCorrection.lot_id == Coupon.lot_id)
        .join(LotCorrectionAnswer, LotCorrectionAnswer.correction_id == LotCorrection.id)
        .where(Coupon.id.in_(coupon_ids), LotCorrectionAnswer.approved)
        .order_by(LotCorrectionAnswer.id)
    )
    found: dict[int, tuple[MaterialThen, ...]] = {}
    for coupon_id, before, answer in rows:
        own: Mapping[str, str] = next((one for one in answer.coupons if one["id"] == coupon_id), {})
        then = MaterialThen(
            until=answer.answered_at,
            alloy=before["alloy"],
            form=before["form"],
            thickness_mm=own.get("thickness_mm"),
            surface=own.get("surface"),
        )
        found[coupon_id] = (*found.get(coupon_id, ()), then)
    return found
