"""Where coupons rode and what they are, read by statements that are made once.

A statement that is put together anew for every call costs several times what the database needs to
answer it; a save asks a dozen of them.
"""

from collections.abc import Collection, Sequence
from typing import Any

from sqlalchemy import ColumnElement, Row, Select, bindparam, exists, func, select
from sqlalchemy.orm import Session

from app.bench.records import Baseline, CouponVerdict, EntryDraft, Reading, Retest
from app.loads.queries import goes_ahead
from app.loads.records import Load, LoadCoupon, LoadPanel
from app.loads.trouble_queries import free_of_trouble
from app.panels.records import Coupon, CustodyStep, MaterialLot, Panel
from app.requirements.records import Requirement, RequirementRevision

coupon, seat, panel = Coupon.__table__.c, LoadCoupon.__table__.c, Panel.__table__.c
lot, load, place = MaterialLot.__table__.c, Load.__table__.c, LoadPanel.__table__.c
revision, requirement = RequirementRevision.__table__.c, Requirement.__table__.c
_step = CustodyStep.__table__.alias("step")
_last = CustodyStep.__table__.alias("last")
_near = LoadCoupon.__table__.alias("near")
_reading, _retest = Reading.__table__.c, Retest.__table__.c
_baseline, _draft = Baseline.__table__.c, EntryDraft.__table__.c
_verdict = CouponVerdict.__table__.c
_judged = (
    select(_verdict.inputs_sha256)
    .where(_verdict.coupon_id == coupon.id)
    .order_by(_verdict.id.desc())
    .limit(1)
)


def _seats(wanted: ColumnElement[bool]) -> Select[Any]:
    last_step = select(func.max(_last.c.id)).where(_last.c.coupon_id == coupon.id)
    return (
        select(
            coupon.id,
            coupon.code,
            coupon.thickness_mm,
            coupon.diameter_mm,
            coupon.surface,
            lot.alloy,
            lot.form,
            panel.target_temper,
            seat.panel_id,
            seat.load_id,
            seat.station,
            panel.code.label("panel"),
            panel.decided.label("panel_decided"),
            load.code.label("load"),
            place.table_revision_id,
            requirement.code.label("table_code"),
            revision.paper_sha256.label("table_sha256"),
            _step.c.step.label("custody"),
            free_of_trouble(coupon.id).label("free"),
            _judged.scalar_subquery().label("judged_sha256"),
            # What there is none of need not be asked for.
            exists().where(_reading.coupon_id == coupon.id).label("has_readings"),
            exists().where(_baseline.coupon_id == coupon.id).label("has_baselines"),
            exists().where(_draft.coupon_id == coupon.id).label("has_drafts"),
            exists()
            .where(
                _near.c.coupon_id == _retest.coupon_id,
                _near.c.load_id == seat.load_id,
                _near.c.panel_id == seat.panel_id,
            )
            .label("has_retests"),
        )
        .join(LoadCoupon.__table__, seat.coupon_id == coupon.id)
        .join(MaterialLot.__table__, lot.id == coupon.lot_id)
        .join(Panel.__table__, panel.id == seat.panel_id)
        .join(Load.__table__, load.id == seat.load_id)
        .join(
            LoadPanel.__table__,
            (place.load_id == seat.load_id) & (place.panel_id == seat.panel_id),
        )
        .join(RequirementRevision.__table__, revision.id == place.table_revision_id)
        .join(Requirement.__table__, requirement.id == revision.requirement_id)
        .outerjoin(_step, _step.c.id == last_step.scalar_subquery())
        .where(wanted, goes_ahead(seat.load_id))
    )


_BY_KEY = _seats(coupon.id.in_(bindparam("keys", expanding=True))).order_by(coupon.id)
_BY_CODE = _seats(coupon.code == bindparam("code"))
_OF_LOADS = _seats(load.code.in_(bindparam("loads", expanding=True))).order_by(
    load.id, panel.code, seat.station, coupon.id
)

SeatRow = Row[Any]
"""``has_retests``: of the coupon or a neighbour on its panel; ``judged_sha256``: the digest of what
its newest verdict rests on."""


def seats_of(session: Session, coupon_ids: Collection[int]) -> Sequence[SeatRow]:
    """The coupons among those that ride in a load that goes ahead, by key; one query."""
    return session.execute(_BY_KEY, {"keys": list(coupon_ids)}).all()


def seat_by_code(session: Session, code: str) -> SeatRow | None:
    """The coupon of that identity where it rides in a load that goes ahead; one query."""
    return session.execute(_BY_CODE, {"code": code}).one_or_none()


def seats_in(session: Session, loads: Collection[str]) -> Sequence[SeatRow]:
    """Every coupon of those loads, in the order of load, panel and station; one query."""
    return session.execute(_OF_LOADS, {"loads": list(loads)}).all()
