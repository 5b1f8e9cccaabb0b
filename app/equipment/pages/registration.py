"""The forms that register furnaces, sensors, gauges, thermometers, testers and blocks."""

from collections.abc import Mapping

from fastapi import APIRouter, Response

from app.audit.actor import Actor
from app.equipment import service
from app.equipment.forms import (
    BlockForm,
    FurnaceForm,
    GaugeForm,
    SensorForm,
    TesterForm,
    ThermometerForm,
)
from app.equipment.pages.shared import sent_file
from app.equipment.records import Build
from app.equipment.rules import THERMOCOUPLE_TYPES
from app.errors import Refusal
from app.judging.units import UNITS, Quantity
from app.people.rights import Act, require
from app.people.signed_in import SignedIn
from app.web.entries import kept
from app.web.forms import TypedForm, parse
from app.web.page import Page, PageMaker, Records

router = APIRouter()

_BUILDS = {Build.FIXED: "fixed: stands on the bench", Build.PORTABLE: "portable: held by hand"}


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
    notice = f"Furnace {code} is registered. Enter to what it is kept, and its three checks next."
    return page.see_other("/furnaces", code, notice=notice)


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


@router.get("/register/gauge")
def show_gauge_form(page: Page, by: SignedIn) -> Response:
    """The form for a new vacuum gauge."""
    return _register_page(page, by, "gauge")


@router.post("/register/gauge")
def submit_gauge(page: Page, records: Records, by: SignedIn, typed: TypedForm) -> Response:
    """Register a vacuum gauge."""
    try:
        form = parse(GaugeForm, typed)
        code = service.register_gauge(records, **form.model_dump(), by=by, at=page.shop_time())
    except Refusal as refusal:
        return _register_page(page, by, "gauge", typed=typed, refusal=refusal)
    notice = f"Vacuum gauge {code} is registered. Enter its certificate next."
    return page.see_other("/gauges", code, notice=notice)


@router.get("/register/thermometer")
def show_thermometer_form(page: Page, by: SignedIn) -> Response:
    """The form for a new thermometer."""
    return _register_page(page, by, "thermometer")


@router.post("/register/thermometer")
def submit_thermometer(page: Page, records: Records, by: SignedIn, typed: TypedForm) -> Response:
    """Register a thermometer."""
    try:
        form = parse(ThermometerForm, typed)
        code = service.register_thermometer(
            records, **form.model_dump(), by=by, at=page.shop_time()
        )
    except Refusal as refusal:
        return _register_page(page, by, "thermometer", typed=typed, refusal=refusal)
    notice = f"Thermometer {code} is registered. Enter its certificate next."
    return page.see_other("/thermometers", code, notice=notice)


@router.get("/register/tester")
def show_tester_form(page: Page, by: SignedIn) -> Response:
    """The form for a new tester."""
    return _register_page(page, by, "tester")


@router.post("/register/tester")
def submit_tester(page: Page, records: Records, by: SignedIn, typed: TypedForm) -> Response:
    """Register a tester."""
    try:
        form = parse(TesterForm, typed)
        code = service.register_tester(
            records,
            code=form.code,
            name=form.name,
            quantity=form.quantity,
            unit=form.unit,
            figures=form.figures,
            by=by,
            at=page.shop_time(),
        )
    except Refusal as refusal:
        return _register_page(page, by, "tester", typed=typed, refusal=refusal)
    notice = f"Tester {code} is registered. Enter its certificate next."
    return page.see_other("/testers", code, notice=notice)


@router.get("/register/block")
def show_block_form(page: Page, by: SignedIn) -> Response:
    """The form for a new reference block."""
    return _register_page(page, by, "block")


@router.post("/register/block")
def submit_block(page: Page, records: Records, by: SignedIn, typed: TypedForm) -> Response:
    """Register a reference block."""
    try:
        form = parse(BlockForm, typed)
        service.register_block(
            records,
            code=form.code,
            quantity=form.quantity,
            unit=form.unit,
            figures=form.figures,
            expires_on=form.expires_on,
            certificate=form.certificate,
            file=sent_file(typed),
            by=by,
            at=page.shop_time(),
        )
    except Refusal as refusal:
        return _register_page(page, by, "block", typed=typed, refusal=refusal)
    notice = f"Reference block {form.code} is registered. It counts once somebody accepted it."
    return page.see_other("/blocks", form.code, notice=notice)


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
        builds=[(build.value, _BUILDS[build]) for build in Build],
        types=[(letter, letter) for letter in THERMOCOUPLE_TYPES],
        **kept(typed, refusal),
    )
