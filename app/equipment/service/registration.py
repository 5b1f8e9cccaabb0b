"""Registering furnaces, sensors, vacuum gauges and thermometers.

``at`` is the server's time in the shop's zone: its calendar day is the day of the entry.
"""

from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal
from typing import Any

from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.identities import as_code, claim
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Base, Database
from app.equipment.records import Furnace, Sensor, Thermometer, VacuumGauge
from app.equipment.rules import THERMOCOUPLE_TYPES
from app.errors import refuse
from app.people.rights import Act, require


def register_furnace(
    database: Database,
    *,
    code: str,
    name: str,
    furnace_class: int,
    uniformity_c: Decimal,
    instrumentation_type: str,
    by: Actor,
    at: datetime,
) -> str:
    """Put a furnace on record and hand back its identity.

    ``uniformity_c`` is the uniformity tolerance of its class, plus or minus, in degC.

    Raises:
        NotAllowed, Refusal, Conflict: who may, what is wrong, or whose identity it is.
    """
    require(by, Act.REGISTER_EQUIPMENT)
    if furnace_class < 1:
        refuse("furnace_class", f"Class {furnace_class} is no furnace class; give 1 or more.")
    if uniformity_c <= 0:
        refuse("uniformity_c", f"A tolerance of {uniformity_c} degC cannot be; give it above 0.")
    furnace = Furnace(
        code=as_code(code),
        name=name,
        furnace_class=furnace_class,
        uniformity_c=uniformity_c,
        instrumentation_type=instrumentation_type.upper(),
        registered_by_id=by.id,
        registered_at=at,
    )
    note = f"{name}, class {furnace_class}, uniform to {uniformity_c} degC either side"
    with database.write() as session:
        put_on_record(
            session, furnace, Tag.FURNACE_REGISTERED, kind="furnace", by=by, at=at, note=note
        )
        return furnace.code


def register_sensor(
    database: Database, *, code: str, thermocouple_type: str, by: Actor, at: datetime
) -> str:
    """Put a thermocouple on record and hand back its identity.

    Raises:
        NotAllowed, Refusal, Conflict: who may, what is wrong, or whose identity it is.
    """
    require(by, Act.REGISTER_EQUIPMENT)
    letter = thermocouple_type.strip().upper()
    if letter not in THERMOCOUPLE_TYPES:
        refuse(
            "thermocouple_type",
            f"{thermocouple_type[:20]!r} is no thermocouple type; give one of "
            f"{', '.join(THERMOCOUPLE_TYPES)}.",
        )
    sensor = Sensor(
        code=as_code(code), thermocouple_type=letter, registered_by_id=by.id, registered_at=at
    )
    with database.write() as session:
        put_on_record(
            session,
            sensor,
            Tag.SENSOR_REGISTERED,
            kind="sensor",
            by=by,
            at=at,
            note=f"type {letter}",
        )
        return sensor.code


def register_gauge(database: Database, *, code: str, name: str, by: Actor, at: datetime) -> str:
    """Put a vacuum gauge on record and hand back its identity.

    Raises:
        NotAllowed, Refusal, Conflict: who may, what is wrong, or whose identity it is.
    """
    require(by, Act.REGISTER_EQUIPMENT)
    gauge = VacuumGauge(code=as_code(code), name=name, registered_by_id=by.id, registered_at=at)
    with database.write() as session:
        put_on_record(
            session, gauge, Tag.GAUGE_REGISTERED, kind="vacuum_gauge", by=by, at=at, note=name
        )
        return gauge.code


def register_thermometer(
    database: Database, *, code: str, name: str, by: Actor, at: datetime
) -> str:
    """Put a thermometer of the bench on record and hand back its identity.

    Raises:
        NotAllowed, Refusal, Conflict: who may, what is wrong, or whose identity it is.
    """
    require(by, Act.REGISTER_EQUIPMENT)
    thermometer = Thermometer(
        code=as_code(code), name=name, registered_by_id=by.id, registered_at=at
    )
    with database.write() as session:
        put_on_record(
            session,
            thermometer,
            Tag.THERMOMETER_REGISTERED,
            kind="thermometer",
            by=by,
            at=at,
            note=name,
        )
        return thermometer.code


def put_on_record(
    session: Session,
    thing: Any,
    tag: Tag,
    *,
    kind: str,
    by: Actor,
    at: datetime,
    note: str,
    besides: Sequence[Base] = (),
) -> None:
    """Claim a new thing's identity and put both on the trail, with the rows that come with it."""
    identity = claim(session, thing.code, kind=kind, at=at)
    session.flush()
    session.add(thing)
    rows = [identity, *besides, thing]
    append(session, tag, by=by, at=at, about=(kind, thing.code), rows=rows, note=note)
