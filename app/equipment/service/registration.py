"""Registering furnaces, sensors, gauges, testers and reference blocks.

``at`` is the server's time in the shop's zone: its calendar day is the day of the entry.
"""

from collections.abc import Sequence
from datetime import date, datetime
from decimal import Decimal

from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.identities import as_code, claim
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Base, Database
from app.equipment.records import Furnace, ReferenceBlock, Sensor, Tester, VacuumGauge
from app.equipment.rules import THERMOCOUPLE_TYPES
from app.equipment.service.terms import refuse
from app.errors import Refusal
from app.judging.units import Quantity, check_unit
from app.people.rights import Act, require

MEASURED = (Quantity.HARDNESS, Quantity.CONDUCTIVITY)
"""What testers and reference blocks are for."""


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
        _register(session, furnace, Tag.FURNACE_REGISTERED, kind="furnace", by=by, at=at, note=note)
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
        _register(
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
        _register(
            session, gauge, Tag.GAUGE_REGISTERED, kind="vacuum_gauge", by=by, at=at, note=name
        )
        return gauge.code


def register_tester(
    database: Database,
    *,
    code: str,
    name: str,
    quantity: str,
    unit: str,
    frequency_khz: Decimal | None,
    by: Actor,
    at: datetime,
) -> str:
    """Put a hardness tester or conductivity meter on record and hand back its identity.

    Raises:
        NotAllowed, Refusal, Conflict: who may, what is wrong, or whose identity it is.
    """
    require(by, Act.REGISTER_EQUIPMENT)
    measured = _measured(quantity, unit)
    if frequency_khz is not None and (measured is not Quantity.CONDUCTIVITY or frequency_khz <= 0):
        refuse(
            "frequency_khz",
            "A frequency is for conductivity meters and above 0 kHz; correct it or leave it out.",
        )
    tester = Tester(
        code=as_code(code),
        name=name,
        quantity=measured.value,
        unit=unit,
        frequency_khz=frequency_khz,
        registered_by_id=by.id,
        registered_at=at,
    )
    with database.write() as session:
        _register(
            session,
            tester,
            Tag.TESTER_REGISTERED,
            kind="tester",
            by=by,
            at=at,
            note=f"{name}: {measured.words}, {unit}",
        )
        return tester.code


def register_block(
    database: Database,
    *,
    code: str,
    quantity: str,
    unit: str,
    certified_value: Decimal,
    permitted_error: Decimal,
    expires_on: date,
    certificate: str,
    by: Actor,
    at: datetime,
) -> str:
    """Put a hardness block or conductivity standard on record and hand back its identity.

    ``permitted_error`` is the largest error of the mean check reading, plus or minus, included;
    the block may be used up to and including ``expires_on``.

    Raises:
        NotAllowed, Refusal, Conflict: who may, what is wrong, or whose identity it is.
    """
    require(by, Act.REGISTER_EQUIPMENT)
    measured = _measured(quantity, unit)
    if certified_value <= 0:
        refuse(
            "certified_value", f"A block of {certified_value} {unit} cannot be; give it above 0."
        )
    if not 0 < permitted_error < certified_value:
        refuse(
            "permitted_error",
            f"A permitted error of {permitted_error} {unit} cannot be; give it above 0 and below "
            "the certified value.",
        )
    block = ReferenceBlock(
        code=as_code(code),
        quantity=measured.value,
        unit=unit,
        certified_value=certified_value,
        permitted_error=permitted_error,
        expires_on=expires_on,
        certificate=certificate,
        registered_by_id=by.id,
        registered_at=at,
    )
    with database.write() as session:
        _register(
            session,
            block,
            Tag.BLOCK_REGISTERED,
            kind="reference_block",
            by=by,
            at=at,
            note=f"{certified_value} {unit}, permitted error {permitted_error}",
        )
        return block.code


def _register(
    session: Session,
    thing: Furnace | Sensor | VacuumGauge | Tester | ReferenceBlock,
    tag: Tag,
    *,
    kind: str,
    by: Actor,
    at: datetime,
    note: str,
) -> None:
    identity = claim(session, thing.code, kind=kind, at=at)
    session.flush()
    session.add(thing)
    rows: Sequence[Base] = [identity, thing]
    append(session, tag, by=by, at=at, about=(kind, thing.code), rows=rows, note=note)


def _measured(quantity: str, unit: str) -> Quantity:
    """The quantity a tester or block is for, its scale or unit checked."""
    if quantity not in MEASURED:
        refuse("quantity", f"{quantity[:40]!r}: choose hardness or conductivity.")
    measured = Quantity(quantity)
    try:
        check_unit(measured, unit, where="Scale or unit")
    except Refusal as refusal:
        refuse("unit", refusal.sentence)
    return measured
