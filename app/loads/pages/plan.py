"""Plan a load: the form, what would fail in the morning, and the plan kept."""

from collections.abc import Mapping
from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Query, Response

from app.audit.actor import Actor
from app.database import Database
from app.errors import Refusal
from app.loads import queries, service
from app.loads.bags.bag_forms import OtherLotForm
from app.loads.planning import plan_check, plan_choices, plan_views
from app.loads.planning.checked_plan import CheckedPlan
from app.loads.planning.plan_forms import emptied, panel_at, plan_of, rows_of
from app.loads.planning.planned import plan_of_load
from app.loads.planning.sensor_map import panel_maps
from app.loads.rules import blocking, supplier
from app.loads.run_queries import cancellation
from app.loads.sheet import sheet
from app.people.records import Meaning
from app.people.rights import Act, may, require
from app.people.signed_in import SignedIn
from app.web.entries import kept
from app.web.forms import TypedForm, parse
from app.web.page import Page, PageMaker, Records, now

router = APIRouter()


@router.get("/loads/plan")
def show_plan(
    page: Page,
    records: Records,
    by: SignedIn,
    copy: str = "",
    panel: Annotated[list[str] | None, Query()] = None,
) -> Response:
    """The form for a new load: empty, or filled in from an earlier load for the panels chosen."""
    require(by, Act.PLAN_LOAD)
    panels = [code.strip().upper() for code in panel or [] if code.strip()]
    typed: dict[str, str] = {}
    if copy.strip():
        with records.read() as session:
            typed = plan_choices.copied(
                session, copy.strip().upper(), panels, at=now(), zone=page.settings.zone
            )
    elif panels:
        typed = {f"panel_{number}": code for number, code in enumerate(panels, start=1)}
        typed["panel_rows"] = str(len(panels))
    return _plan_page(page, records, by, typed=typed, copied=copy.strip().upper())


@router.post("/loads/plan")
def submit_plan(page: Page, records: Records, by: SignedIn, typed: TypedForm) -> Response:
    """Show more rows, check the plan, or keep it; what was typed stays typed."""
    require(by, Act.PLAN_LOAD)
    zone, at = page.settings.zone, now()
    fields = emptied(typed)
    _declare_length(records, fields, at)
    if not typed.get("act", "").startswith(("check", "plan")):
        return _plan_page(page, records, by, typed=fields)
    checked: CheckedPlan | None = None
    try:
        plan = plan_of(fields, zone=zone)
        with records.read() as session:
            checked = plan_check.check_plan(session, plan, at=at, zone=zone)
        if typed.get("act") == "check":
            return _plan_page(page, records, by, typed=fields, checked=checked)
        service.plan_load(records, plan, by=by, at=at, zone=zone)
    except Refusal as refusal:
        return _plan_page(page, records, by, typed=fields, checked=checked, refusal=refusal)
    return page.see_other("/loads", plan.code, notice=f"Load {plan.code} is planned.")


def _declare_length(records: Database, fields: dict[str, str], at: datetime) -> None:
    """Fill the length in from the cycle's soaks and the allowance, where only that is typed."""
    if fields.get("length_h", "").strip() or not fields.get("allowance_h", "").strip():
        return
    with records.read() as session:
        length = plan_choices.declared_length(
            session, fields.get("cycle", ""), allowance_h=fields["allowance_h"], at=at
        )
    if length is not None:
        fields["length_h"] = length


def _plan_page(
    page: PageMaker,
    records: Database,
    by: Actor,
    *,
    typed: dict[str, str],
    copied: str = "",
    checked: CheckedPlan | None = None,
    refusal: Refusal | None = None,
) -> Response:
    at, zone = now(), page.settings.zone
    with records.read() as session:
        choices = plan_choices.choices(session, at=at)
        drawings = plan_views.panel_drawings(session, typed)
        surveyed = plan_views.zone_drawing(session, typed, start=at, zone=zone)
        waiting = plan_choices.waiting_panels(session)
        loads = plan_choices.loads_to_copy(session)
    findings = checked.findings if checked is not None else []
    against = blocking(findings)
    return page.show(
        "loads/plan.html",
        rows=rows_of(typed),
        findings=findings,
        against=[(one, supplier(one)) for one in against],
        foreign=checked.foreign if checked is not None else [],
        governed=checked.governed if checked is not None else {},
        copied=copied,
        may_accept=may(by, Act.ACCEPT_OTHER_LOT),
        drawings=drawings,
        surveyed=surveyed,
        waiting=waiting,
        loads=loads,
        on_panel=_panel_options(typed),
        **{**choices, **kept(_by_row(typed), refusal)},
    )


def _panel_options(typed: Mapping[str, str]) -> list[tuple[str, str]]:
    """The plan's panels, as a coupon's or sensor's row can name them."""
    return [
        (f"#{number}", f"{number}: {typed.get(f'panel_{number}', '').strip() or 'not chosen yet'}")
        for number in range(1, rows_of(typed)["panel"] + 1)
    ]


def _by_row(typed: Mapping[str, str]) -> dict[str, str]:
    """What was typed, each coupon's and sensor's panel named by its row where it has one."""
    fields = dict(typed)
    rows = rows_of(typed)
    numbers = {
        typed.get(f"panel_{number}", "").strip().upper(): number
        for number in range(1, rows["panel"] + 1)
    }
    for kind in ("coupon", "sensor"):
        for row in range(1, rows[kind] + 1):
            name = f"{kind}_panel_{row}"
            said = panel_at(typed, typed.get(name, "")).upper()
            if said and said in numbers:
                fields[name] = f"#{numbers[said]}"
    return fields


@router.get("/loads/other-lot")
def show_other_lot(
    page: Page, records: Records, by: SignedIn, coupon: str = "", panel: str = ""
) -> Response:
    """The form by which a supervisor accepts a coupon of another lot."""
    require(by, Act.ACCEPT_OTHER_LOT)
    return _other_lot_page(page, typed={"coupon": coupon, "panel": panel})


@router.post("/loads/other-lot")
def submit_other_lot(page: Page, records: Records, by: SignedIn, typed: TypedForm) -> Response:
    """Accept a coupon of another lot, signed."""
    try:
        form = parse(OtherLotForm, typed)
        service.accept_other_lot(
            records,
            form.coupon,
            form.panel,
            reason=form.reason,
            password=form.password,
            by=by,
            at=now(),
        )
    except Refusal as refusal:
        fields = {name: text for name, text in typed.items() if name != "password"}
        return _other_lot_page(page, typed=fields, refusal=refusal)
    notice = f"Coupon {form.coupon} is accepted for panel {form.panel}; the load can be planned."
    return page.see_other("/panels", form.panel, notice=notice)


def _other_lot_page(
    page: PageMaker, *, typed: dict[str, str], refusal: Refusal | None = None
) -> Response:
    return page.show(
        "loads/other_lot.html", meaning=Meaning.LOT_EXCEPTION.value, **kept(typed, refusal)
    )


@router.get("/loads/{code:path}/sensor-map")
def show_sensor_map(page: Page, records: Records, by: SignedIn, code: str) -> Response:
    """The planned load on paper, for the furnace: what goes where, and what is checked."""
    zone = page.settings.zone
    with records.read() as session:
        seen = sheet(session, code, zone=zone)
        plan = plan_of_load(session, queries.load(session, code))
        surveyed = plan_views.zone_of_plan(session, plan, zone=zone)
        cancelled = cancellation(session, seen.load.id)
    return page.show(
        "loads/sensor_map.html",
        sheet=seen,
        maps=panel_maps(seen.seats),
        plan=plan,
        surveyed=surveyed,
        cancelled=cancelled,
        may_plan=may(by, Act.PLAN_LOAD),
    )
