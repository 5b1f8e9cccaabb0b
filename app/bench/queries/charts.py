"""What is read for a tester's control charts: its checks, block by block."""

from dataclasses import dataclass, field
from datetime import date, datetime, tzinfo
from decimal import Decimal
from fractions import Fraction

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.bench.records import BenchSession, BlockCheck
from app.bench.rules.bracketing import day_of
from app.equipment.queries import tester_certificates
from app.equipment.records import ReferenceBlock
from app.judging.rounding import mean
from app.judging.witness.control_chart import ControlChart, Point, control_chart
from app.people.records import Person


@dataclass(frozen=True, slots=True)
class ChartedCheck:
    """One check of the chart: its exact mean error, and at which ``place`` of the chart it is."""

    place: int
    session_id: int
    moment: str
    by: str
    at: datetime
    readings: tuple[Decimal, ...]
    error: Fraction
    conforms: bool


@dataclass(frozen=True, slots=True)
class BlockChart:
    """The chart of a tester on one block: checks oldest first, and how many were left out.

    Left out are the checks before the tester was last adjusted (``adjusted_on``).
    """

    block: str
    certified: Decimal
    permitted: Decimal
    checks: tuple[ChartedCheck, ...]
    earlier: int
    chart: ControlChart = field(repr=False)


def adjusted_on(session: Session, tester_id: int) -> date | None:
    """The day of the latest calibration at which the tester was adjusted; None where it never was.

    Only a certificate that a second person accepted tells of one.
    """
    days = [
        one.done_on
        for one in tester_certificates(session, [tester_id])[tester_id]
        if one.as_left is not None
    ]
    return max(days, default=None)


def block_charts(
    session: Session, tester_id: int, *, since: date | None, zone: tzinfo
) -> list[BlockChart]:
    """The tester's charts, one for each block it was checked on, by the block's code; one query.

    Checks before ``since`` (a day in ``zone``; None: there is none) are counted and left out: an
    adjusted tester is another one.
    """
    rows = session.execute(
        select(
            ReferenceBlock.code,
            ReferenceBlock.certified_value,
            ReferenceBlock.permitted_error,
            BlockCheck.session_id,
            BlockCheck.moment,
            Person.full_name,
            BlockCheck.taken_at,
            BlockCheck.readings,
            BlockCheck.outcome,
        )
        .join(BenchSession, BenchSession.id == BlockCheck.session_id)
        .join(ReferenceBlock, ReferenceBlock.id == BlockCheck.block_id)
        .join(Person, Person.id == BlockCheck.by_id)
        .where(BenchSession.tester_id == tester_id)
        .order_by(BlockCheck.id)
    )
    checks: dict[str, list[ChartedCheck]] = {}
    blocks: dict[str, tuple[Decimal, Decimal]] = {}
    earlier: dict[str, int] = {}
    for row in rows:
        blocks[row.code] = row.certified_value, row.permitted_error
        several = checks.setdefault(row.code, [])
        if since is not None and day_of(row.taken_at, zone) < since:
            earlier[row.code] = earlier.get(row.code, 0) + 1
            continue
        readings = tuple(map(Fraction, row.readings))
        several.append(
            ChartedCheck(
                place=len(several),
                session_id=row.session_id,
                moment=row.moment.value,
                by=row.full_name,
                at=row.taken_at,
                readings=row.readings,
                error=mean(readings) - Fraction(row.certified_value),
                conforms=row.outcome == "conforms",
            )
        )
    return [
        BlockChart(
            block=code,
            certified=certified,
            permitted=permitted,
            checks=tuple(checks[code]),
            earlier=earlier.get(code, 0),
            chart=control_chart([Point(one.error, one.conforms) for one in checks[code]]),
        )
        for code, (certified, permitted) in sorted(blocks.items())
    ]
