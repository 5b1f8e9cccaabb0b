"""What a failed check left behind: what it concerns, and what can be done now."""

from dataclasses import dataclass
from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.bench.queries.instruments import TesterChoice, tester_choices
from app.bench.queries.sessions import BenchAtWork, CheckLine
from app.bench.records import Reading
from app.bench.rules.bracketing import Standing, newly_unproven
from app.equipment import queries as equipment
from app.equipment.queries import Quarantine
from app.loads.queries import goes_ahead
from app.loads.records import LoadCoupon
from app.panels.records import Coupon, Panel


@dataclass(frozen=True, slots=True)
class Aftermath:
    """The failed check that ended a session, and how many readings, and of what, it concerns.

    ``quarantine`` is None once the tester may be used again; ``others`` are testers of the same
    quantity and unit that may be used now.
    """

    check: CheckLine
    readings: int
    coupons: tuple[str, ...]
    panels: tuple[str, ...]
    quarantine: Quarantine | None
    others: tuple[TesterChoice, ...]


def aftermath(session: Session, bench: BenchAtWork, *, on: date) -> Aftermath | None:
    """What the failed check that ended the session left; None where none ended it."""
    if bench.standing is not Standing.FAILED:
        return None
    rows = session.execute(
        select(Reading.id, Reading.taken_at, Coupon.code, Panel.code.label("panel"))
        .join(Coupon, Coupon.id == Reading.coupon_id)
        .join(LoadCoupon, LoadCoupon.coupon_id == Coupon.id)
        .join(Panel, Panel.id == LoadCoupon.panel_id)
        .where(Reading.session_id == bench.id, goes_ahead(LoadCoupon.load_id))
        .order_by(Reading.id)
    ).all()
    unproven = set(newly_unproven([(row.id, row.taken_at) for row in rows], bench.bracketing))
    concerned = [row for row in rows if row.id in unproven]
    return Aftermath(
        check=bench.checks[-1],
        readings=len(concerned),
        coupons=tuple(dict.fromkeys(row.code for row in concerned)),
        panels=tuple(dict.fromkeys(row.panel for row in concerned)),
        quarantine=equipment.quarantine_of(session, [bench.tester_id]).get(bench.tester_id),
        others=tuple(
            one
            for one in tester_choices(session, on=on)
            if one.usable
            and (one.quantity, one.unit) == (bench.quantity, bench.unit)
            and one.code != bench.tester
        ),
    )
