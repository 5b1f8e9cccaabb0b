"""What the dossier shows besides the facts a decision rests on. Fixed numbers of queries."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any, NamedTuple

from sqlalchemy import BindParameter, Row, bindparam, exists, select
from sqlalchemy.orm import Session

from app.audit.records import TrailEntry
from app.bench.records import (
    BenchSession,
    BlockCheck,
    Reading,
    VoidAnswer,
    VoidRequest,
)
from app.equipment.records import (
    QuarantineLift,
    ReferenceBlock,
    Sensor,
    Tester,
    TesterQuarantine,
)
from app.loads.records import LoadSensor, SensorExclusion
from app.panels.records import Panel
from app.people.records import Person
from app.release.queries.panel_facts import panel_id
from app.requirements.records import CustomerOrder

Rows = Sequence[Row[Any]]

_coupon_ids: BindParameter[Any] = bindparam("coupon_ids", expanding=True)

_out_of_use = (
    select(TesterQuarantine.reason)
    .outerjoin(QuarantineLift, QuarantineLift.quarantine_id == TesterQuarantine.id)
    .where(TesterQuarantine.tester_id == Tester.id, QuarantineLift.id.is_(None))
    .limit(1)
    .scalar_subquery()
)
"""Why the tester is out of use now, or null."""

_READINGS: Any = (
    select(
        Reading.id,
        Reading.coupon_id,
        Reading.quantity,
        Reading.unit,
        Reading.value,
        Reading.report,
        Reading.replaces_id,
        Reading.reason,
        Reading.retest_id,
        Reading.session_id,
        Reading.taken_by_id,
        Reading.taken_at,
        Reading.entered_at,
        Reading.late_reason,
        Reading.evidence,
        Tester.code.label("tester"),
        _out_of_use.label("out_of_use"),
        VoidRequest.cause.label("void_cause"),
        VoidAnswer.approved.label("void_approved"),
    )
    .outerjoin(BenchSession, BenchSession.id == Reading.session_id)
    .outerjoin(Tester, Tester.id == BenchSession.tester_id)
    .outerjoin(VoidRequest, VoidRequest.reading_id == Reading.id)
    .outerjoin(VoidAnswer, VoidAnswer.request_id == VoidRequest.id)
    .where(Reading.coupon_id.in_(_coupon_ids))
    .order_by(Reading.coupon_id, Reading.id, VoidRequest.id)
)

_CHECKS: Any = (
    select(
        BlockCheck.session_id,
        BlockCheck.moment,
        BlockCheck.outcome,
        ReferenceBlock.code.label("block"),
    )
    .join(ReferenceBlock, ReferenceBlock.id == BlockCheck.block_id)
    .where(BlockCheck.session_id.in_(bindparam("session_ids", expanding=True)))
    .order_by(BlockCheck.id)
)

_SENSORS: Any = (
    select(
        LoadSensor.load_id,
        LoadSensor.panel_id,
        LoadSensor.channel,
        LoadSensor.role,
        LoadSensor.station,
        LoadSensor.x,
        LoadSensor.y,
        Sensor.code,
        SensorExclusion.reason.label("excluded"),
    )
    .join(Sensor, Sensor.id == LoadSensor.sensor_id)
    .outerjoin(SensorExclusion, SensorExclusion.load_sensor_id == LoadSensor.id)
    .where(LoadSensor.load_id.in_(bindparam("load_ids", expanding=True)))
    .order_by(LoadSensor.id)
)

_LINES = (
    select(
        TrailEntry.number,
        TrailEntry.at,
        TrailEntry.by,
        TrailEntry.tag,
        TrailEntry.about_code,
        TrailEntry.note,
    )
    .where(TrailEntry.about_code.in_(bindparam("codes", expanding=True)))
    .order_by(TrailEntry.number.desc())
    .limit(bindparam("most"))
)

_HEAD = select(TrailEntry.hash).order_by(TrailEntry.number.desc()).limit(1)

_PEOPLE = select(Person.id, Person.username, Person.full_name)


class Name(NamedTuple):
    """How a person is shown, and what their page of the trail is asked by."""

    full: str
    user: str


def panel_on_file(session: Session, code: str) -> tuple[int, bool]:
    """A panel's key, and whether the order that it is for is on record.

    Raises:
        NotFound: there is no such panel.
    """
    on_file = exists().where(CustomerOrder.number == Panel.order_number)
    row = session.execute(select(Panel.id, on_file).where(Panel.code == code)).one_or_none()
    return (panel_id(session, code), False) if row is None else (row[0], row[1])


def people_by_id(session: Session) -> dict[int, Name]:
    """Everybody's names; a shop has tens of people."""
    return {
        row.id: Name(row.full_name, row.username) for row in session.connection().execute(_PEOPLE)
    }


def readings(session: Session, coupon_ids: Sequence[int]) -> Rows:
    """Every reading of the coupons in the order taken, voided and replaced ones among them."""
    return (
        session.connection().execute(_READINGS, {"coupon_ids": coupon_ids}).all()
        if coupon_ids
        else ()
    )


def checks(session: Session, session_ids: Sequence[int]) -> Rows:
    """Checks on reference blocks in those bench sessions, in the order made."""
    return (
        session.connection().execute(_CHECKS, {"session_ids": session_ids}).all()
        if session_ids
        else ()
    )


def sensors(session: Session, load_ids: Sequence[int]) -> Rows:
    """The sensors of the loads at their stations, with why one was excluded."""
    return session.connection().execute(_SENSORS, {"load_ids": load_ids}).all() if load_ids else ()


def trail_head(session: Session) -> str:
    """The hash of the trail's newest entry; it names the state of the whole record."""
    head: str | None = session.connection().execute(_HEAD).scalar()
    return head or ""


class TrailLine(NamedTuple):
    """One entry of the trail as a list shows it."""

    number: int
    at: datetime
    by: str
    tag: str
    about_code: str
    note: str


def trail_lines(session: Session, codes: Sequence[str], *, most: int) -> list[TrailLine]:
    """The newest entries about any of those identities, newest first."""
    rows = session.connection().execute(_LINES, {"codes": codes, "most": most})
    return [TrailLine(*row) for row in rows]
