"""Where coupons are on their way from cutting to the shelf, and what comes next."""

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.bench.queries.baseline import BaselineLine, baselines
from app.loads.queries import goes_ahead
from app.loads.records import Load, LoadCoupon
from app.loads.trouble_queries import Trouble, troubles_of_coupons
from app.panels.queries import custody_of
from app.panels.records import Coupon, Custody, CustodyStep, MaterialLot, Panel
from app.panels.rules import ORDER, WHAT_NEXT, next_steps
from app.people.queries import names


@dataclass(frozen=True, slots=True)
class Journey:
    """A coupon's way. ``panel``, ``load`` and ``station``: where it rides, None before a plan."""

    coupon_id: int
    code: str
    lot: str
    panel: str | None
    load: str | None
    station: str | None
    steps: tuple[tuple[CustodyStep, str], ...]
    """Its hand-overs in the order recorded, each with who recorded it."""
    baselines: tuple[BaselineLine, ...]
    troubles: tuple[Trouble, ...]

    @property
    def last(self) -> Custody | None:
        """Its last hand-over."""
        return self.steps[-1][0].step if self.steps else None

    @property
    def place(self) -> str:
        """Where it is."""
        return self.steps[-1][0].place if self.steps else ""

    @property
    def doubt(self) -> Trouble | None:
        """The report that stands against it: open, or decided so that it is no evidence."""
        return next((one for one in self.troubles if one.is_open or one.takes_out), None)

    @property
    def next_steps(self) -> tuple[Custody, ...]:
        """What may be recorded of it next."""
        return next_steps(self.last)

    @property
    def what_next(self) -> str:
        """What comes next, as a phrase."""
        if self.doubt is not None and self.doubt.is_open:
            return "a supervisor decides about it"
        if self.doubt is not None:
            return f"nothing: {self.doubt.ended}"
        return "it is cut and marked first" if self.last is None else WHAT_NEXT[self.last]


def journey(session: Session, coupon_id: int) -> Journey:
    """The way of one coupon on record; five queries."""
    return _journeys(session, _seats().where(Coupon.id == coupon_id))[0]


def journeys_of_load(session: Session, load_id: int) -> list[Journey]:
    """The ways of the load's coupons, in the order of panels and stations; five queries."""
    rides = select(LoadCoupon.coupon_id).where(LoadCoupon.load_id == load_id)
    return _journeys(session, _seats().where(Coupon.id.in_(rides.correlate(None))))


def _journeys(session: Session, seats: Any) -> list[Journey]:
    rows: Any = session.execute(seats).all()
    keys: list[int] = [row.id for row in rows]
    known = names(session)
    steps = custody_of(session, keys)
    read = baselines(session, keys)
    reports: dict[int | None, list[Trouble]] = {}
    for one in troubles_of_coupons(session, keys):
        reports.setdefault(one.about_id, []).append(one)
    return [
        Journey(
            coupon_id=row.id,
            code=row.code,
            lot=row.lot,
            panel=row.panel,
            load=row.load,
            station=row.station,
            steps=tuple((step, known[step.by_id]) for step in steps[row.id]),
            baselines=read.get(row.id, ()),
            troubles=tuple(reports.get(row.id, ())),
        )
        for row in rows
    ]


def _seats() -> Any:
    return (
        select(
            Coupon.id,
            Coupon.code,
            MaterialLot.code.label("lot"),
            Panel.code.label("panel"),
            Load.code.label("load"),
            LoadCoupon.station,
        )
        .select_from(Coupon)
        .join(MaterialLot, MaterialLot.id == Coupon.lot_id)
        .outerjoin(LoadCoupon, (LoadCoupon.coupon_id == Coupon.id) & goes_ahead(LoadCoupon.load_id))
        .outerjoin(Panel, Panel.id == LoadCoupon.panel_id)
        .outerjoin(Load, Load.id == LoadCoupon.load_id)
        .order_by(LoadCoupon.panel_id, LoadCoupon.id, Coupon.id)
    )


@dataclass(frozen=True, slots=True)
class Turn:
    """What comes next for a load: the step, None where none is left, and whose turn it is."""

    step: Custody | None
    coupons: tuple[Journey, ...]


def turn_of(ways: Collection[Journey]) -> Turn:
    """The earliest step that coupons wait for; one in doubt waits for nothing."""
    going = [one for one in ways if one.doubt is None and one.last in ORDER[:-1]]
    if not going:
        return Turn(None, ())
    first = min(ORDER.index(one.last) for one in going if one.last is not None)
    waiting = tuple(one for one in going if one.last is ORDER[first])
    return Turn(ORDER[first + 1], waiting)
