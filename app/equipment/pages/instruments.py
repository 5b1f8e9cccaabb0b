"""Sensors, vacuum gauges, testers and reference blocks: their pages and their certificates."""

from datetime import datetime
from typing import Any

from fastapi import APIRouter, Response

from app.audit.actor import Actor
from app.equipment import queries, service
from app.equipment.forms import (
    GaugeCertificateForm,
    SensorCertificateForm,
    TesterCertificateForm,
)
from app.equipment.pages.shared import common, sent_file, term
from app.equipment.queries import SubjectKind
from app.equipment.rules import due_by
from app.errors import Refusal
from app.judging.furnace.procedure import InstrumentKind
from app.people.queries import acts_about, names
from app.people.rights import Act, may, require
from app.people.signed_in import SignedIn
from app.web.entries import kept
from app.web.forms import Typed, TypedForm, parse
from app.web.page import Page, PageMaker, Records

router = APIRouter()

_SENSORS_SHOWN = 50


@router.get("/sensors")
def show_sensors(page: Page, records: Records, by: SignedIn, after: str = "") -> Response:
    """All sensors by identity, with where each stands, a part at a time."""
    with records.read() as session:
        found = queries.sensors(session, after=after, most=_SENSORS_SHOWN + 1)
        shown = found[:_SENSORS_SHOWN]
        dues = queries.dues_of_sensors(session, [one.id for one in shown], at=page.shop_time())
        return page.show(
            "equipment/sensors.html",
            sensors=[(one, dues[one.id]) for one in shown],
            last=shown[-1].code if len(found) > len(shown) else None,
            may_register=may(by, Act.REGISTER_EQUIPMENT),
        )


@router.get("/sensors/{code:path}")
def show_sensor(page: Page, records: Records, by: SignedIn, code: str) -> Response:
    """A sensor, whether it is in date, and its certificates with their corrections."""
    return _sensor_page(page, records, by, code)


@router.post("/sensors/{code:path}/certificates")
def submit_sensor_certificate(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Record a sensor's certificate."""
    require(by, Act.REGISTER_EQUIPMENT)
    try:
        form = parse(SensorCertificateForm, typed)
        service.record_sensor_certificate(
            records,
            sensor=code.upper(),
            term=term(form),
            certificate=form.certificate,
            corrections=form.corrections,
            file=sent_file(typed),
            by=by,
            at=page.shop_time(),
        )
    except Refusal as refusal:
        return _sensor_page(page, records, by, code, typed=typed, refusal=refusal)
    notice = f"Certificate {form.certificate} is on record and waits for a second person."
    return page.see_other("/sensors", code.upper(), notice=notice)


@router.get("/gauges/{code:path}")
def show_gauge(page: Page, records: Records, by: SignedIn, code: str) -> Response:
    """A vacuum gauge, whether it is in date, and its certificates."""
    return _gauge_page(page, records, by, code)


@router.post("/gauges/{code:path}/certificates")
def submit_gauge_certificate(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Record a vacuum gauge's certificate."""
    require(by, Act.REGISTER_EQUIPMENT)
    try:
        form = parse(GaugeCertificateForm, typed)
        service.record_gauge_certificate(
            records,
            gauge=code.upper(),
            term=term(form),
            certificate=form.certificate,
            largest_error_kpa=form.largest_error_kpa,
            file=sent_file(typed),
            by=by,
            at=page.shop_time(),
        )
    except Refusal as refusal:
        return _gauge_page(page, records, by, code, typed=typed, refusal=refusal)
    notice = f"Certificate {form.certificate} is on record and waits for a second person."
    return page.see_other("/gauges", code.upper(), notice=notice)


@router.get("/testers/{code:path}")
def show_tester(page: Page, records: Records, by: SignedIn, code: str) -> Response:
    """A tester, whether it is in date, and its certificates."""
    return _tester_page(page, records, by, code)


@router.post("/testers/{code:path}/certificates")
def submit_tester_certificate(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Record a tester's certificate."""
    require(by, Act.REGISTER_EQUIPMENT)
    try:
        form = parse(TesterCertificateForm, typed)
        service.record_tester_certificate(
            records,
            tester=code.upper(),
            term=term(form),
            certificate=form.certificate,
            expanded_uncertainty=form.expanded_uncertainty,
            by=by,
            at=page.shop_time(),
        )
    except Refusal as refusal:
        return _tester_page(page, records, by, code, typed=typed, refusal=refusal)
    notice = f"Certificate {form.certificate} is on record."
    return page.see_other("/testers", code.upper(), notice=notice)


@router.get("/blocks/{code:path}")
def show_block(page: Page, records: Records, by: SignedIn, code: str) -> Response:
    """A reference block, its certified value, and whether it may still be used."""
    today = page.shop_time().date()
    with records.read() as session:
        block = queries.block(session, code.upper())
        return page.show(
            "equipment/block.html",
            block=block,
            due=due_by(block.expires_on, on=today),
            registered_by=names(session)[block.registered_by_id],
            acts=acts_about(session, "reference_block", block.code),
        )


def _sensor_page(
    page: PageMaker,
    records: Records,
    by: Actor,
    code: str,
    *,
    typed: Typed | None = None,
    refusal: Refusal | None = None,
) -> Response:
    at = page.shop_time()
    with records.read() as session:
        sensor = queries.sensor(session, code.upper())
        certificates = queries.sensor_certificates(session, [sensor.id])[sensor.id]
        keys = [one.id for one in certificates]
        return page.show(
            "equipment/sensor.html",
            sensor=sensor,
            due=queries.dues_of_sensors(session, [sensor.id], at=at)[sensor.id],
            certificates=certificates,
            reviews=queries.reviews_of(session, SubjectKind.SENSOR_CERTIFICATE, keys),
            counted=_counted_by(session, InstrumentKind.SENSOR, at),
            **common(session, by, "sensor", sensor.code),
            **kept(typed, refusal),
        )


def _gauge_page(
    page: PageMaker,
    records: Records,
    by: Actor,
    code: str,
    *,
    typed: Typed | None = None,
    refusal: Refusal | None = None,
) -> Response:
    at = page.shop_time()
    with records.read() as session:
        gauge = queries.gauge(session, code.upper())
        certificates = queries.gauge_certificates(session, gauge.id)
        keys = [one.id for one in certificates]
        return page.show(
            "equipment/gauge.html",
            gauge=gauge,
            due=queries.dues_of_gauges(session, [gauge.id], at=at)[gauge.id],
            certificates=certificates,
            reviews=queries.reviews_of(session, SubjectKind.GAUGE_CERTIFICATE, keys),
            counted=_counted_by(session, InstrumentKind.VACUUM_GAUGE, at),
            **common(session, by, "vacuum_gauge", gauge.code),
            **kept(typed, refusal),
        )


def _counted_by(session: Any, kind: InstrumentKind, at: datetime) -> list[str]:
    """How often an instrument is due by each procedure in force, in words."""
    procedures = [queries.procedure_of(one) for one in queries.procedures_in_force(session, at=at)]
    rows = [(one, one.instrument_interval(kind)) for one in procedures]
    return [f"{one.title}: every {row.every.words}" for one, row in rows if row is not None]


def _tester_page(
    page: PageMaker,
    records: Records,
    by: Actor,
    code: str,
    *,
    typed: Typed | None = None,
    refusal: Refusal | None = None,
) -> Response:
    with records.read() as session:
        tester = queries.tester(session, code.upper())
        certificates = queries.tester_certificates(session, tester.id)
        return page.show(
            "equipment/tester.html",
            tester=tester,
            due=queries.certificates_due(certificates, on=page.shop_time().date()),
            certificates=certificates,
            blocks=[
                one
                for one in queries.blocks(session)
                if (one.quantity, one.unit) == (tester.quantity, tester.unit)
            ],
            **common(session, by, "tester", tester.code),
            **kept(typed, refusal),
        )
