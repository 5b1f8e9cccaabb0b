"""Furnaces, sensors, testers and reference blocks: their pages and the forms that register them."""

from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter, Response

from app.audit.actor import Actor
from app.equipment import queries, service
from app.equipment.forms import (
    BlockForm,
    FurnaceCheckForm,
    FurnaceForm,
    SensorCertificateForm,
    SensorForm,
    TermForm,
    TesterCertificateForm,
    TesterForm,
)
from app.equipment.records import FurnaceCheckKind
from app.equipment.rules import (
    THERMOCOUPLE_TYPES,
    due_by,
    worst_due,
)
from app.errors import Refusal
from app.judging.units import UNITS, Quantity
from app.people.queries import acts_about, names
from app.people.rights import Act, may, require
from app.people.signed_in import SignedIn
from app.web.entries import kept
from app.web.forms import Typed, TypedForm, parse
from app.web.page import Page, PageMaker, Records

router = APIRouter()

_SENSORS_SHOWN = 50


@router.get("/register/furnace")
def show_furnace_form(page: Page, by: SignedIn) -> Response:
    """The form for a new furnace."""
    return _register_page(page, by, "furnace")


@router.post("/register/furnace")
def submit_furnace(page: Page, records: Records, by: SignedIn, typed: TypedForm) -> Response:
    """Register a furnace."""
    try:
        form = parse(FurnaceForm, typed)
        code = service.register_furnace(records, **form.model_dump(), by=by, at=page.shop_time())
    except Refusal as refusal:
        return _register_page(page, by, "furnace", typed=typed, refusal=refusal)
    notice = f"Furnace {code} is registered. Enter its survey, accuracy test and calibration next."
    return page.see_other("/furnaces", code, notice=notice)


@router.get("/furnaces/{code:path}")
def show_furnace(page: Page, records: Records, by: SignedIn, code: str) -> Response:
    """A furnace, whether it is in date, and its papers."""
    return _furnace_page(page, records, by, code)


@router.post("/furnaces/{code:path}/checks")
def submit_furnace_check(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Record a survey, accuracy test or recorder calibration."""
    require(by, Act.REGISTER_EQUIPMENT)
    try:
        form = parse(FurnaceCheckForm, typed)
        service.record_furnace_check(
            records,
            furnace=code.upper(),
            kind=form.kind,
            term=_term(form),
            passed=form.outcome == "passed",
            report=form.report,
            note=form.note,
            by=by,
            at=page.shop_time(),
        )
    except Refusal as refusal:
        return _furnace_page(page, records, by, code, typed=typed, refusal=refusal)
    return page.see_other("/furnaces", code.upper(), notice=f"The {form.kind} is on record.")


@router.get("/register/sensor")
def show_sensor_form(page: Page, by: SignedIn) -> Response:
    """The form for a new sensor."""
    return _register_page(page, by, "sensor")


@router.post("/register/sensor")
def submit_sensor(page: Page, records: Records, by: SignedIn, typed: TypedForm) -> Response:
    """Register a sensor."""
    try:
        form = parse(SensorForm, typed)
        code = service.register_sensor(records, **form.model_dump(), by=by, at=page.shop_time())
    except Refusal as refusal:
        return _register_page(page, by, "sensor", typed=typed, refusal=refusal)
    notice = f"Sensor {code} is registered. Enter its certificate next."
    return page.see_other("/sensors", code, notice=notice)


@router.get("/sensors")
def show_sensors(page: Page, records: Records, by: SignedIn, after: str = "") -> Response:
    """All sensors by identity, with where each stands, a part at a time."""
    today = page.shop_time().date()
    with records.read() as session:
        lines = queries.sensors(session, on=today, after=after, most=_SENSORS_SHOWN + 1)
    shown = lines[:_SENSORS_SHOWN]
    return page.show(
        "equipment/sensors.html",
        sensors=[(line, queries.sensor_due(line, on=today)) for line in shown],
        last=shown[-1].code if len(lines) > len(shown) else None,
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
            term=_term(form),
            certificate=form.certificate,
            corrections=form.corrections,
            by=by,
            at=page.shop_time(),
        )
    except Refusal as refusal:
        return _sensor_page(page, records, by, code, typed=typed, refusal=refusal)
    notice = f"Certificate {form.certificate} is on record."
    return page.see_other("/sensors", code.upper(), notice=notice)


@router.get("/register/tester")
def show_tester_form(page: Page, by: SignedIn) -> Response:
    """The form for a new tester."""
    return _register_page(page, by, "tester")


@router.post("/register/tester")
def submit_tester(page: Page, records: Records, by: SignedIn, typed: TypedForm) -> Response:
    """Register a tester."""
    try:
        form = parse(TesterForm, typed)
        code = service.register_tester(records, **form.model_dump(), by=by, at=page.shop_time())
    except Refusal as refusal:
        return _register_page(page, by, "tester", typed=typed, refusal=refusal)
    notice = f"Tester {code} is registered. Enter its certificate next."
    return page.see_other("/testers", code, notice=notice)


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
            term=_term(form),
            certificate=form.certificate,
            expanded_uncertainty=form.expanded_uncertainty,
            by=by,
            at=page.shop_time(),
        )
    except Refusal as refusal:
        return _tester_page(page, records, by, code, typed=typed, refusal=refusal)
    notice = f"Certificate {form.certificate} is on record."
    return page.see_other("/testers", code.upper(), notice=notice)


@router.get("/register/block")
def show_block_form(page: Page, by: SignedIn) -> Response:
    """The form for a new reference block."""
    return _register_page(page, by, "block")


@router.post("/register/block")
def submit_block(page: Page, records: Records, by: SignedIn, typed: TypedForm) -> Response:
    """Register a reference block."""
    try:
        form = parse(BlockForm, typed)
        code = service.register_block(records, **form.model_dump(), by=by, at=page.shop_time())
    except Refusal as refusal:
        return _register_page(page, by, "block", typed=typed, refusal=refusal)
    return page.see_other("/blocks", code, notice=f"Reference block {code} is registered.")


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


def _register_page(
    page: PageMaker,
    by: Actor,
    thing: str,
    *,
    typed: Mapping[str, str] | None = None,
    refusal: Refusal | None = None,
) -> Response:
    require(by, Act.REGISTER_EQUIPMENT)
    return page.show(
        f"equipment/register_{thing}.html",
        quantities=[(quantity.value, quantity.words) for quantity in service.MEASURED],
        units=[
            *((unit, unit) for unit in UNITS[Quantity.CONDUCTIVITY]),
            *((scale, scale) for scale in UNITS[Quantity.HARDNESS]),
        ],
        types=[(letter, letter) for letter in THERMOCOUPLE_TYPES],
        **kept(typed, refusal),
    )


def _furnace_page(
    page: PageMaker,
    records: Records,
    by: Actor,
    code: str,
    *,
    typed: Typed | None = None,
    refusal: Refusal | None = None,
) -> Response:
    with records.read() as session:
        furnace = queries.furnace(session, code.upper())
        checks = queries.furnace_checks(session, furnace.id)
        papers = queries.furnace_due(checks, on=page.shop_time().date())
        return page.show(
            "equipment/furnace.html",
            furnace=furnace,
            due=worst_due(papers.values()),
            papers=papers,
            checks=checks,
            kinds=[(kind.value, kind.value) for kind in FurnaceCheckKind],
            **_common(session, by, "furnace", furnace.code),
            **kept(typed, refusal),
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
    with records.read() as session:
        sensor = queries.sensor(session, code.upper())
        certificates = queries.sensor_certificates(session, [sensor.id])[sensor.id]
        return page.show(
            "equipment/sensor.html",
            sensor=sensor,
            due=queries.certificates_due(certificates, on=page.shop_time().date()),
            certificates=certificates,
            **_common(session, by, "sensor", sensor.code),
            **kept(typed, refusal),
        )


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
            **_common(session, by, "tester", tester.code),
            **kept(typed, refusal),
        )


def _common(session: Any, by: Actor, kind: str, code: str) -> dict[str, Any]:
    """What the page of every instrument shows besides."""
    return {
        "names": names(session),
        "acts": acts_about(session, kind, code),
        "may_register": may(by, Act.REGISTER_EQUIPMENT),
    }


def _term(form: TermForm) -> service.Term:
    return service.Term(form.done_on, form.due_on)
