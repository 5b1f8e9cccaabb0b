"""Unwrapping a panel: the bag, the surface search and where each coupon went."""

from fastapi import APIRouter, Response

from app.audit.actor import Actor
from app.database import Database
from app.errors import Refusal
from app.loads import queries, service
from app.loads.bags.bag_forms import KINDS, OTHER_KIND, UnwrappingForm, find_rows
from app.loads.forms import or_now
from app.loads.planning import plan_views
from app.people.records import Task
from app.people.rights import Act, missing, require
from app.people.signed_in import SignedIn
from app.web.entries import kept
from app.web.forms import TypedForm, parse
from app.web.page import Page, PageMaker, Records, now

router = APIRouter()


@router.get("/loads/{code:path}/unwrapping")
def show_unwrapping(
    page: Page, records: Records, by: SignedIn, code: str, panel: str = ""
) -> Response:
    """The form for a panel's unwrapping."""
    require(by, Act.UNWRAP)
    return _unwrapping_page(page, records, by, code, typed={"panel": panel})


@router.post("/loads/{code:path}/unwrapping")
def submit_unwrapping(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Record what was found on unwrapping, and where each coupon went."""
    require(by, Act.UNWRAP)
    at = now()
    if typed.get("act") == "more finds":
        return _unwrapping_page(page, records, by, code, typed=dict(typed))
    try:
        form = parse(UnwrappingForm, typed, zone=page.settings.zone)
        found = form.unwrapped(typed)
        service.record_unwrapping(
            records,
            code,
            form.panel,
            found,
            taken_at=or_now(form.taken_at, at),
            by=by,
            at=at,
        )
    except Refusal as refusal:
        return _unwrapping_page(page, records, by, code, typed=dict(typed), refusal=refusal)
    notice = f"The unwrapping of {form.panel} is recorded."
    if found.bag_intact and found.surface_clear is not False:
        return page.see_other("/loads", code, notice=notice)
    notice += " Photographs can be added now, or later from the load's page."
    return page.see_other("/loads", code, "photographs", "of", form.panel, notice=notice)


def _unwrapping_page(
    page: PageMaker,
    records: Database,
    by: Actor,
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
    finds = find_rows(typed)
    return page.show(
        "loads/unwrapping.html",
        load=load,
        panels=[one.code for one in seats.panels],
        panel=panel,
        coupons=on_panel,
        lacks=missing(by, Task.SURFACE_SEARCH),
        kinds=[(kind, kind) for kind in KINDS] + [(OTHER_KIND, "something else")],
        finds=finds,
        drawing=None if panel is None else plan_views.finds_drawing(panel, on_panel, typed, finds),
        **kept(typed, refusal),
    )
