"""What was measured with a tester between two of its calibrations, and on which panels."""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, tzinfo
from decimal import Decimal

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.bench.records import BenchSession, Reading
from app.equipment import queries as equipment
from app.equipment.queries import ReportOnFile, Subject, SubjectKind
from app.equipment.records import Tester, TesterCertificate
from app.equipment.rules import AsFound, as_found, largest_error
from app.loads.queries import goes_ahead
from app.loads.records import LoadCoupon
from app.panels.records import IN_USE, Coupon, Decided, Panel


@dataclass(frozen=True, slots=True)
class MeasuredCoupon:
    """A coupon that was read with the tester: how often, and when for the last time."""

    code: str
    readings: int
    last_at: datetime


@dataclass(frozen=True, slots=True)
class MeasuredPanel:
    """A panel with such coupons, and what was decided about it; None: they rode on no panel."""

    code: str | None
    decided: Decided | None
    coupons: tuple[MeasuredCoupon, ...]


@dataclass(frozen=True, slots=True)
class Measured:
    """A tester's certificate, the accepted one before it, and what was measured between the two.

    ``since`` is the day of the one before, None where there is none on record. Readings of that day
    and of the day of this certificate are counted in. ``largest_error`` is the as-found error
    farthest from 0, read minus reference, in the tester's unit.
    """

    report: ReportOnFile
    tester: Tester
    found: AsFound
    largest_error: Decimal | None
    since: date | None
    panels: tuple[MeasuredPanel, ...]
    quarantined: bool

    @property
    def released(self) -> int:
        """How many of the panels were let go already."""
        return sum(one.decided in IN_USE for one in self.panels)

    @property
    def readings(self) -> int:
        """How many readings were taken."""
        return sum(coupon.readings for one in self.panels for coupon in one.coupons)


def measured_since(session: Session, certificate_id: int, *, zone: tzinfo) -> Measured:
    """What a tester's certificate may touch, if it was found out of tolerance; seven queries.

    Raises:
        NotFound: there is no such certificate.
    """
    report = equipment.report(session, Subject(SubjectKind.TESTER_CERTIFICATE, certificate_id))
    paper: TesterCertificate = report.row
    tester = session.get_one(Tester, paper.tester_id)
    accepted = equipment.tester_certificates(session, [tester.id])[tester.id]
    since = max((one.done_on for one in accepted if one.done_on < paper.done_on), default=None)
    return Measured(
        report=report,
        tester=tester,
        found=as_found(equipment.found_paper(paper, tester)),
        largest_error=largest_error(paper.as_found or ()),
        since=since,
        panels=_panels(session, tester.id, since, paper.done_on, zone),
        quarantined=bool(equipment.quarantine_of(session, [tester.id])),
    )


def _panels(
    session: Session, tester_id: int, since: date | None, until: date, zone: tzinfo
) -> tuple[MeasuredPanel, ...]:
    counted = func.count(Reading.id)
    query = (
        select(Reading.coupon_id, counted, func.max(Reading.taken_at))
        .join(BenchSession, BenchSession.id == Reading.session_id)
        .where(
            BenchSession.tester_id == tester_id,
            Reading.taken_at < _begins(until + timedelta(days=1), zone),
        )
        .group_by(Reading.coupon_id)
    )
    if since is not None:
        query = query.where(Reading.taken_at >= _begins(since, zone))
    read = {key: (many, last) for key, many, last in session.execute(query)}
    seats = session.execute(
        select(Coupon.id, Coupon.code, Panel.code.label("panel"), Panel.decided)
        .select_from(Coupon)
        .outerjoin(
            LoadCoupon,
            (LoadCoupon.coupon_id == Coupon.id) & goes_ahead(LoadCoupon.load_id),
        )
        .outerjoin(Panel, Panel.id == LoadCoupon.panel_id)
        .where(Coupon.id.in_(list(read)))
        .order_by(Panel.code, Coupon.code)
    )
    panels: dict[str | None, tuple[Decided | None, list[MeasuredCoupon]]] = {}
    for seat in seats:
        _, coupons = panels.setdefault(seat.panel, (seat.decided, []))
        coupons.append(MeasuredCoupon(seat.code, *read[seat.id]))
    return tuple(
        MeasuredPanel(code, decided, tuple(coupons)) for code, (decided, coupons) in panels.items()
    )


def _begins(day: date, zone: tzinfo) -> datetime:
    return datetime.combine(day, time.min, tzinfo=zone)
