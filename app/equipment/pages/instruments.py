"""Sensors, vacuum gauges, testers and thermometers: their pages and their certificates."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from fastapi import APIRouter, Response

from app.audit.actor import Actor
from app.equipment import queries, service
from app.equipment.forms import (
    GaugeCertificateForm,
    SensorCertificateForm,
    TermForm,
    TesterCertificateForm,
    ThermometerCertificateForm,
)
from app.equipment.pages.shared import common, sent_file, term
from app.equipment.queries import SubjectKind
from app.equipment.rules import Due, as_found
from app.errors import Refusal
from app.judging.furnace.procedure import InstrumentKind
from app.people.records import Meaning
from app.people.rights import Act, may, require
from app.people.signed_in import SignedIn
from app.web.entries import kept
from app.web.forms import TypedForm, parse
from app.web.page import Page, PageMaker, Records

router = APIRouter()

_SENSORS_SHOWN = 50
_AWAY = {"password": ""}


@dataclass(frozen=True, slots=True)
class _Shown:
    """An instrument as its page is made: its certificates, who asks for it, and when."""

    session: Any
    thing: Any
    certificates: Sequence[Any]
    by: Actor
    at: datetime


@dataclass(frozen=True, slots=True)
class Instrument:
    """How the pages of one kind of instrument are made; ``name`` names it in address and code."""

    name: str
    about: str
    subject: SubjectKind
    form: type[TermForm]
    record: Callable[..., int]
    find: Callable[[Any, str], Any]
    certificates: Callable[[Any, int], Any]
    due: Callable[[Any, int, datetime], Due]
    besides: Callable[[_Shown], dict[str, Any]]

    @property
    def place(self) -> str:
        """Where its pages are."""
        return f"/{self.name}s"


def _counted_by(kind: InstrumentKind) -> Callable[[_Shown], dict[str, Any]]:
    """How often an instrument is due by each procedure in force, in words."""

    def counted(shown: _Shown) -> dict[str, Any]:
        in_force = queries.procedures_in_force(shown.session, at=shown.at)
        procedures = [queries.procedure_of(one) for one in in_force]
        rows = [(one, one.instrument_interval(kind)) for one in procedures]
        words = [f"{one.title}: every {row.every.words}" for one, row in rows if row is not None]
        return {"counted": words}

    return counted


def _of_a_tester(shown: _Shown) -> dict[str, Any]:
    """What stands on a tester's page besides: its blocks, and whether it is out of use."""
    tester, by = shown.thing, shown.by
    open_one = queries.quarantine_of(shown.session, [tester.id]).get(tester.id)
    concerned = open_one is not None and by.is_among({open_one.placed_by_id, open_one.operator_id})
    return {
        "found": {one.id: as_found(queries.found_paper(one, tester)) for one in shown.certificates},
        "blocks": [
            one
            for one in queries.blocks(shown.session)
            if (one.quantity, one.unit) == (tester.quantity, tester.unit)
        ],
        "quarantine": open_one,
        "past": queries.quarantines(shown.session, tester.id),
        "concerned": concerned,
        "may_quarantine": may(by, Act.QUARANTINE_TESTER) and open_one is None,
        "may_lift": may(by, Act.LIFT_QUARANTINE) and open_one is not None and not concerned,
        "meaning": Meaning.QUARANTINE_LIFTED.value,
    }


SENSOR = Instrument(
    name="sensor",
    about="sensor",
    subject=SubjectKind.SENSOR_CERTIFICATE,
    form=SensorCertificateForm,
    record=service.record_sensor_certificate,
    find=queries.sensor,
    certificates=lambda session, key: queries.sensor_certificates(session, [key])[key],
    due=lambda session, key, at: queries.dues_of_sensors(session, [key], at=at)[key],
    besides=_counted_by(InstrumentKind.SENSOR),
)
GAUGE = Instrument(
    name="gauge",
    about="vacuum_gauge",
    subject=SubjectKind.GAUGE_CERTIFICATE,
    form=GaugeCertificateForm,
    record=service.record_gauge_certificate,
    find=queries.gauge,
    certificates=queries.gauge_certificates,
    due=lambda session, key, at: queries.dues_of_gauges(session, [key], at=at)[key],
    besides=_counted_by(InstrumentKind.VACUUM_GAUGE),
)
THERMOMETER = Instrument(
    name="thermometer",
    about="thermometer",
    subject=SubjectKind.THERMOMETER_CERTIFICATE,
    form=ThermometerCertificateForm,
    record=service.record_thermometer_certificate,
    find=queries.thermometer,
    certificates=queries.thermometer_certificates,
    due=lambda session, key, at: queries.dues_of_thermometers(session, [key], on=at.date())[key],
    besides=lambda _shown: {},
)
TESTER = Instrument(
    name="tester",
    about="tester",
    subject=SubjectKind.TESTER_CERTIFICATE,
    form=TesterCertificateForm,
    record=service.record_tester_certificate,
    find=queries.tester,
    certificates=queries.every_tester_certificate,
    due=lambda session, key, at: queries.dues_of_testers(session, [key], on=at.date())[key],
    besides=_of_a_tester,
)


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
    return instrument_page(page, records, by, code, SENSOR)


@router.post("/sensors/{code:path}/certificates")
def submit_sensor_certificate(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Record a sensor's certificate."""
    return _submit(page, records, by, code, SENSOR, typed)


@router.get("/gauges/{code:path}")
def show_gauge(page: Page, records: Records, by: SignedIn, code: str) -> Response:
    """A vacuum gauge, whether it is in date, and its certificates."""
    return instrument_page(page, records, by, code, GAUGE)


@router.post("/gauges/{code:path}/certificates")
def submit_gauge_certificate(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Record a vacuum gauge's certificate."""
    return _submit(page, records, by, code, GAUGE, typed)


@router.get("/thermometers/{code:path}")
def show_thermometer(page: Page, records: Records, by: SignedIn, code: str) -> Response:
    """A thermometer, whether it is in date, and its certificates."""
    return instrument_page(page, records, by, code, THERMOMETER)


@router.post("/thermometers/{code:path}/certificates")
def submit_thermometer_certificate(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Record a thermometer's certificate."""
    return _submit(page, records, by, code, THERMOMETER, typed)


@router.get("/testers/{code:path}")
def show_tester(page: Page, records: Records, by: SignedIn, code: str) -> Response:
    """A tester, whether it may be used, its certificates and its quarantines."""
    return instrument_page(page, records, by, code, TESTER)


@router.post("/testers/{code:path}/certificates")
def submit_tester_certificate(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Record a tester's certificate."""
    return _submit(page, records, by, code, TESTER, typed)


def _submit(  # noqa: PLR0917 - what every route hands on
    page: PageMaker, records: Records, by: Actor, code: str, which: Instrument, typed: TypedForm
) -> Response:
    require(by, Act.REGISTER_EQUIPMENT)
    try:
        form = parse(which.form, typed)
        given = form.model_dump(exclude={"done_on", "due_on"})
        which.record(
            records,
            **{which.name: code.upper()},
            **given,
            term=term(form),
            file=sent_file(typed),
            by=by,
            at=page.shop_time(),
        )
    except Refusal as refusal:
        return instrument_page(page, records, by, code, which, typed=typed, refusal=refusal)
    notice = f"Certificate {given['certificate']} is on record and waits for a second person."
    return page.see_other(which.place, code.upper(), notice=notice)


def instrument_page(
    page: PageMaker,
    records: Records,
    by: Actor,
    code: str,
    which: Instrument,
    *,
    typed: Mapping[str, str] | None = None,
    refusal: Refusal | None = None,
    part: str = "certificate",
) -> Response:
    """The page of an instrument; ``part`` names the form that ``typed`` and ``refusal`` are of."""
    at = page.shop_time()
    with records.read() as session:
        thing = which.find(session, code.upper())
        certificates = which.certificates(session, thing.id)
        keys = [one.id for one in certificates]
        return page.show(
            f"equipment/{which.name}.html",
            **{which.name: thing},
            due=which.due(session, thing.id, at),
            certificates=certificates,
            reviews=queries.reviews_of(session, which.subject, keys),
            part=part,
            **which.besides(_Shown(session, thing, certificates, by, at)),
            **common(session, by, which.about, thing.code),
            **kept({**(typed or {}), **_AWAY}, refusal),
        )
