"""The loads' pages: the list, a load's sheet, leak checks, unwrapping, excluded sensors."""

from fastapi import APIRouter, Response

from app.audit.actor import Actor
from app.database import Database
from app.errors import Refusal
from app.loads import lists, queries, service, sheet
from app.loads.forms import ExclusionForm, LeakForm, UnwrappingForm, or_now
from app.loads.judged import JudgedRecord
from app.people.records import Meaning
from app.people.rights import Act, may, require
from app.people.signed_in import SignedIn
from app.web.entries import kept
from app.web.forms import Typed, TypedForm, parse
from app.web.page import Page, PageMaker, Records, now

router = APIRouter()


@router.get("/loads")
def show_loads(page: Page, records: Records, by: SignedIn, before: int | None = None) -> Response:
    """The shop's loads, newest first."""
    with records.read() as session:
        lines, onward = lists.load_lines(session, before=before)
    return page.show(
        "loads/loads.html",
        lines=lines,
        more=f"/loads?before={onward}" if onward is not None else None,
        may_plan=may(by, Act.PLAN_LOAD),
    )


@router.get("/loads/{code:path}/leak-check")
def show_leak_check(
    page: Page, records: Records, by: SignedIn, code: str, panel: str = ""
) -> Response:
    """The form for a bag's leak check."""
    require(by, Act.CHECK_BAG)
    return _leak_page(page, records, code, typed={"panel": panel})


@router.post("/loads/{code:path}/leak-check")
def submit_leak_check(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Record a bag's leak check; a refusal shows the form again with what was typed."""
    at = now()
    try:
        form = parse(LeakForm, typed, zone=page.settings.zone)
        finding = service.record_leak_check(
            records,
            code,
            form.panel,
            form.reading(),
            taken_at=or_now(form.taken_at, at),
            by=by,
            at=at,
        )
    except Refusal as refusal:
        return _leak_page(page, records, code, typed=dict(typed), refusal=refusal)
    return page.see_other("/loads", code, notice=f"{form.panel}: {finding.text}")


def _leak_page(
    page: PageMaker,
    records: Database,
    code: str,
    *,
    typed: dict[str, str],
    refusal: Refusal | None = None,
) -> Response:
    with records.read() as session:
        seen = sheet.sheet(session, code, zone=page.settings.zone)
    rules = seen.cycle.shop_rules
    return page.show(
        "loads/leak_check.html",
        load=seen.load,
        panels=[(panel.code, panel.code) for panel in seen.panels],
        limit_kpa=rules.get("leak_limit_kpa"),
        minutes=rules.get("leak_minutes"),
        **kept(typed, refusal),
    )


@router.get("/loads/{code:path}/unwrapping")
def show_unwrapping(
    page: Page, records: Records, by: SignedIn, code: str, panel: str = ""
) -> Response:
    """The form for a panel's unwrapping."""
    require(by, Act.UNWRAP)
    return _unwrapping_page(page, records, code, typed={"panel": panel})


@router.post("/loads/{code:path}/unwrapping")
def submit_unwrapping(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Record what was found on unwrapping, and where each coupon went."""
    at = now()
    try:
        form = parse(UnwrappingForm, typed, zone=page.settings.zone)
        service.record_unwrapping(
            records,
            code,
            form.panel,
            form.unwrapped(typed),
            taken_at=or_now(form.taken_at, at),
            by=by,
            at=at,
        )
    except Refusal as refusal:
        return _unwrapping_page(page, records, code, typed=dict(typed), refusal=refusal)
    return page.see_other("/loads", code, notice=f"The unwrapping of {form.panel} is recorded.")


def _unwrapping_page(
    page: PageMaker,
    records: Database,
    code: str,
    *,
    typed: dict[str, str],
    refusal: Refusal | None = None,
) -> Response:
    with records.read() as session:
        load = queries.load(session, code)
        seats = queries.seats(session, load.id)
    chosen = typed.get("panel", "").strip().upper()
    panel = next((one for one in seats.panels if one.code == chosen), None)
    if panel is None and len(seats.panels) == 1:
        panel = seats.panels[0]
    on_panel = [one for one in seats.coupons if panel is not None and one.panel_id == panel.id]
    return page.show(
        "loads/unwrapping.html",
        load=load,
        panels=[one.code for one in seats.panels],
        panel=panel,
        coupons=on_panel,
        **kept(typed, refusal),
    )


@router.get("/loads/{code:path}/exclude-sensor")
def show_exclusion(
    page: Page, records: Records, by: SignedIn, code: str, channel: str = ""
) -> Response:
    """The form to exclude a failed load sensor."""
    require(by, Act.EXCLUDE_SENSOR)
    return _exclusion_page(page, records, code, typed={"channel": channel})


@router.post("/loads/{code:path}/exclude-sensor")
def submit_exclusion(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Exclude a failed load sensor, signed, and judge the record again."""
    try:
        judged = _exclude(page, records, by, code, typed)
    except Refusal as refusal:
        kept = {name: text for name, text in typed.items() if name != "password"}
        return _exclusion_page(page, records, code, typed=kept, refusal=refusal)
    said = f"{typed.get('channel')} no longer decides."
    if judged is not None:
        said += f" The record was judged again: {judged.verdict.replace('_', ' ')}."
    return page.see_other("/loads", code, notice=said)


def _exclude(
    page: PageMaker, records: Database, by: Actor, code: str, typed: Typed
) -> JudgedRecord | None:
    form = parse(ExclusionForm, typed)
    return service.exclude_sensor(
        records,
        code,
        form.channel,
        reason=form.reason,
        password=form.password,
        by=by,
        at=now(),
        zone=page.settings.zone,
    )


def _exclusion_page(
    page: PageMaker,
    records: Database,
    code: str,
    *,
    typed: dict[str, str],
    refusal: Refusal | None = None,
) -> Response:
    with records.read() as session:
        load = queries.load(session, code)
        seats = queries.seats(session, load.id)
    return page.show(
        "loads/exclude_sensor.html",
        load=load,
        channels=[
            (one.channel, f"{one.channel}, sensor {one.code}, {one.station}")
            for one in seats.required
        ],
        meaning=Meaning.EXCLUDED_SENSOR.value,
        **kept(typed, refusal),
    )


@router.get("/loads/{code:path}")
def show_load(page: Page, records: Records, by: SignedIn, code: str) -> Response:
    """A load: where it stands, the verdict on its record, its evidence, its history."""
    with records.read() as session:
        seen = sheet.sheet(session, code, zone=page.settings.zone)
    return page.show(
        "loads/load.html",
        sheet=seen,
        may_check=may(by, Act.CHECK_BAG),
        may_import=may(by, Act.IMPORT_RECORD),
        may_exclude=may(by, Act.EXCLUDE_SENSOR) and len(seen.seats.required) > 1,
        may_unwrap=may(by, Act.UNWRAP),
    )
