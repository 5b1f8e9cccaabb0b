"""Lots, the forms that register panels and coupons, hand-overs, and the index of the shop."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter, Response

from app.audit.actor import Actor
from app.equipment import queries as equipment
from app.equipment.rules import worst_due
from app.errors import Refusal
from app.panels import queries, service
from app.panels.forms import CouponsForm, HandOversForm, LotForm, PanelForm
from app.panels.pages.lot_shown import OpenedForm, lot_page
from app.panels.rules import (
    MOST_AT_ONCE,
    ORDER,
    WHAT_NEXT,
    Custody,
    codes_from_lines,
    next_steps,
)
from app.people.queries import names
from app.people.rights import Act, may, require
from app.people.signed_in import SignedIn
from app.requirements import queries as requirements
from app.requirements.service import KINDS
from app.web.entries import kept
from app.web.forms import TypedForm, parse
from app.web.page import Page, PageMaker, Records

router = APIRouter()

_LOTS_SHOWN = 50
_SENSORS_DUE_SHOWN = 20
_LOTS_IN_INDEX = 8


@router.get("/shop")
def show_shop(page: Page, records: Records, by: SignedIn) -> Response:
    """Equipment, requirements and material, each with where it stands."""
    at = page.shop_time()
    with records.read() as session:
        return page.show(
            "panels/shop.html",
            **_equipment(session, at),
            **_requirements(session, at),
            lots=queries.lots(session, most=_LOTS_IN_INDEX),
            may_register=may(by, Act.REGISTER_EQUIPMENT),
            may_write=may(by, Act.WRITE_REQUIREMENT),
            may_write_procedure=may(by, Act.WRITE_PROCEDURE),
            may_write_mapping=may(by, Act.WRITE_MAPPING),
            may_write_correction=may(by, Act.WRITE_CORRECTION_TABLE),
            may_receive=may(by, Act.RECEIVE_MATERIAL),
            may_hand_over=may(by, Act.RECORD_CUSTODY),
        )


@router.get("/lots")
def show_lots(page: Page, records: Records, by: SignedIn, before: int | None = None) -> Response:
    """Material lots, newest first, a part at a time."""
    with records.read() as session:
        lines = queries.lots(session, before=before, most=_LOTS_SHOWN + 1)
    shown = lines[:_LOTS_SHOWN]
    return page.show(
        "panels/lots.html",
        lots=shown,
        last=shown[-1].id if len(lines) > len(shown) else None,
        may_receive=may(by, Act.RECEIVE_MATERIAL),
    )


@router.get("/lots/{code:path}")
def show_lot(
    page: Page,
    records: Records,
    by: SignedIn,
    code: str,
    *,
    panels_after: int = 0,
    coupons_after: int = 0,
    correct: str = "",
) -> Response:
    """A material lot, its corrections, and the panels and coupons cut from it."""
    return lot_page(
        page,
        records,
        by,
        code,
        panels_after=panels_after,
        coupons_after=coupons_after,
        opened=OpenedForm("ask") if correct else None,
    )


@router.get("/register/lot")
def show_lot_form(page: Page, by: SignedIn) -> Response:
    """The form for a material lot."""
    return _register_page(page, by, "lot", typed={"surface": "bare"})


@router.post("/register/lot")
def submit_lot(page: Page, records: Records, by: SignedIn, typed: TypedForm) -> Response:
    """Receive a material lot."""
    try:
        form = parse(LotForm, typed)
        code = service.receive_lot(
            records,
            code=form.code,
            material=form.material(),
            cast=form.cast,
            certificate=form.certificate,
            received_on=form.received_on,
            by=by,
            at=page.shop_time(),
        )
    except Refusal as refusal:
        return _register_page(page, by, "lot", typed=typed, refusal=refusal)
    notice = f"Lot {code} is on record. Register the panels and coupons cut from it next."
    return page.see_other("/lots", code, notice=notice)


@router.get("/register/panel")
def show_panel_form(page: Page, by: SignedIn, lot: str = "") -> Response:
    """The form for a panel; ``lot`` fills in what it is cut from."""
    return _register_page(page, by, "panel", typed={"lot": lot, "treatments_before": "0"})


@router.post("/register/panel")
def submit_panel(page: Page, records: Records, by: SignedIn, typed: TypedForm) -> Response:
    """Register a panel."""
    try:
        form = parse(PanelForm, typed)
        code = service.register_panel(records, **form.model_dump(), by=by, at=page.shop_time())
    except Refusal as refusal:
        return _register_page(page, by, "panel", typed=typed, refusal=refusal)
    return page.see_other("/panels", code, notice=f"Panel {code} is registered.")


@router.get("/register/coupons")
def show_coupons_form(page: Page, by: SignedIn, lot: str = "") -> Response:
    """The form for coupons, several at once; ``lot`` fills in what they are cut from."""
    return _register_page(page, by, "coupons", typed={"lot": lot})


@router.post("/register/coupons")
def submit_coupons(page: Page, records: Records, by: SignedIn, typed: TypedForm) -> Response:
    """Register coupons, all of them or none."""
    try:
        form = parse(CouponsForm, typed)
        count = service.register_coupons(
            records,
            lot=form.lot,
            codes=codes_from_lines(form.codes),
            place=form.place,
            thickness_mm=form.thickness_mm,
            diameter_mm=form.diameter_mm,
            surface=form.surface,
            by=by,
            at=page.shop_time(),
        )
    except Refusal as refusal:
        return _register_page(page, by, "coupons", typed=typed, refusal=refusal)
    notice = f"{count} coupon{'' if count == 1 else 's'} cut and marked."
    return page.see_other("/lots", form.lot, notice=notice)


@router.get("/custody")
def show_custody(
    page: Page, records: Records, by: SignedIn, *, coupon: str = "", step: str = "", place: str = ""
) -> Response:
    """The form for hand-overs; step and place stay for the next coupons scanned."""
    return _custody_page(page, records, by, typed={"codes": coupon, "step": step, "place": place})


@router.post("/custody")
def submit_custody(page: Page, records: Records, by: SignedIn, typed: TypedForm) -> Response:
    """Record the hand-over of the coupons scanned, all or none, and ask for the next ones."""
    try:
        form = parse(HandOversForm, typed, zone=page.settings.zone)
        done = service.record_hand_overs(
            records, codes_from_lines(form.codes), form.hand_over(), by=by, at=page.shop_time()
        )
    except Refusal as refusal:
        return _custody_page(page, records, by, typed=typed, refusal=refusal)
    onward = urlencode({"step": form.step.value, "place": form.place})
    notice = f"{', '.join(done)}: {form.step.value}, {form.place}."
    return page.see_other(f"/custody?{onward}", notice=notice)


def _custody_page(
    page: PageMaker,
    records: Records,
    by: Actor,
    *,
    typed: Mapping[str, str],
    refusal: Refusal | None = None,
) -> Response:
    """The hand-over form; for coupons on record, where each is and what may happen to it next."""
    require(by, Act.RECORD_CUSTODY)
    scanned = [line.strip().upper() for line in typed.get("codes", "").splitlines() if line.strip()]
    with records.read() as session:
        last = queries.last_steps(session, scanned[:MOST_AT_ONCE])
        known = names(session)
    steps = {step for one in last for step in next_steps(one.step)} if last else set(Custody)
    return page.show(
        "panels/custody.html",
        coupons=[(one, known[one.by_id], WHAT_NEXT[one.step]) for one in last],
        steps=[(step.value, step.value) for step in (*ORDER[1:], Custody.MISSING) if step in steps],
        **kept(typed, refusal),
    )


def _register_page(
    page: PageMaker,
    by: Actor,
    thing: str,
    *,
    typed: Mapping[str, str],
    refusal: Refusal | None = None,
) -> Response:
    require(by, Act.RECEIVE_MATERIAL)
    return page.show(
        f"panels/register_{thing}.html",
        surfaces=[(surface, surface) for surface in service.SURFACES],
        **kept(typed, refusal),
    )


def _equipment(session: Any, at: datetime) -> dict[str, Any]:
    """Everything of the equipment with where it stands; of sensors those that need care."""
    today = at.date()
    furnaces = equipment.furnaces(session)
    dues = equipment.dues_of_furnaces(session, [one.id for one in furnaces], at=at)
    gauges = equipment.gauges(session)
    gauge_dues = equipment.dues_of_gauges(session, [one.id for one in gauges], at=at)
    testers = equipment.testers(session)
    tester_dues = equipment.dues_of_testers(session, [one.id for one in testers], on=today)
    thermometers = equipment.thermometers(session)
    thermometer_dues = equipment.dues_of_thermometers(
        session, [one.id for one in thermometers], on=today
    )
    blocks = equipment.blocks(session)
    block_dues = equipment.dues_of_blocks(session, blocks, on=today)
    board = equipment.due_board(session, at=at)
    sensors = [line for line in board if line.kind == "sensor"]
    return {
        "furnaces": [(one, worst_due(dues[one.id].values())) for one in furnaces],
        "gauges": [(one, gauge_dues[one.id]) for one in gauges],
        "testers": [(one, tester_dues[one.id]) for one in testers],
        "thermometers": [(one, thermometer_dues[one.id]) for one in thermometers],
        "blocks": [(one, block_dues[one.id]) for one in blocks],
        "sensors": [(line, line.due) for line in sensors[:_SENSORS_DUE_SHOWN]],
        "due_count": len(board),
        "review_count": len(equipment.waiting_reports(session)),
    }


def _requirements(session: Any, at: datetime) -> dict[str, Any]:
    """Verified papers of every kind by code, with the newest revision and where it stands."""
    found: dict[str, list[requirements.Revision]] = {}
    for one in requirements.revisions(session):
        found.setdefault(one.code, []).append(one)
    lines: dict[str, list[Any]] = {kind.place.strip("/"): [] for kind in KINDS.values()}
    for several in found.values():
        shown = requirements.shown_first(several, at)
        waiting = [
            one.revision
            for one in several
            if requirements.state_of(one, at) is requirements.RevisionState.UNVERIFIED
        ]
        place = KINDS[shown.kind].place.strip("/")
        lines[place].append((shown, requirements.state_of(shown, at), waiting))
    return lines
