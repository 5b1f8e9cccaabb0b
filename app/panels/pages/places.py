"""Places, what stands at each, and bringing a panel to one by two scans."""

from collections.abc import Mapping

from fastapi import APIRouter, Response

from app.audit.actor import Actor
from app.errors import Refusal
from app.panels import queries, service
from app.panels.forms import BringForm, PlaceForm, WalkForm
from app.panels.rules import codes_from_lines, walked
from app.people.rights import Act, may, require
from app.people.signed_in import SignedIn
from app.web.entries import kept
from app.web.forms import TypedForm, parse
from app.web.page import Page, PageMaker, Records

router = APIRouter()


@router.get("/places")
def show_places(page: Page, records: Records, by: SignedIn) -> Response:
    """Every place, and the form for another."""
    return _places_page(page, records, by)


@router.post("/places")
def submit_place(page: Page, records: Records, by: SignedIn, typed: TypedForm) -> Response:
    """Register a place."""
    try:
        form = parse(PlaceForm, typed)
        code = service.register_place(
            records,
            code=form.code,
            name=form.name,
            is_quarantine=form.quarantine is not None,
            by=by,
            at=page.shop_time(),
        )
    except Refusal as refusal:
        return _places_page(page, records, by, typed, refusal)
    return page.see_other("/places", code, notice=f"Place {code} is registered.")


@router.get("/places/{code:path}")
def show_place(page: Page, records: Records, by: SignedIn, code: str) -> Response:
    """A place and the panels that stand there."""
    return _place_page(page, records, by, code)


@router.post("/places/{code:path}/walk")
def submit_walk(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """What was scanned at a place against what is on record there; nothing is recorded by it."""
    try:
        scanned = codes_from_lines(parse(WalkForm, typed).codes)
    except Refusal as refusal:
        return _place_page(page, records, by, code, typed=typed, refusal=refusal)
    return _place_page(page, records, by, code, typed=typed, scanned=scanned)


@router.get("/bring")
def show_bring(
    page: Page, records: Records, by: SignedIn, panel: str = "", place: str = ""
) -> Response:
    """The form that brings a panel to a place: its mark is scanned, then the place's."""
    return _bring_page(page, records, by, {"panel": panel, "place": place})


@router.post("/bring")
def submit_bring(page: Page, records: Records, by: SignedIn, typed: TypedForm) -> Response:
    """Keep where the panel is now; the first scan alone asks for the second."""
    if typed.get("panel", "").strip() and not typed.get("place", "").strip():
        return _bring_page(page, records, by, typed)
    try:
        form = parse(BringForm, typed)
        panel, place = service.bring_panel(
            records, panel=form.panel, place=form.place, by=by, at=page.shop_time()
        )
    except Refusal as refusal:
        return _bring_page(page, records, by, typed, refusal)
    return page.see_other("/bring", notice=f"{panel} stands at {place} now. Scan the next panel.")


def _places_page(
    page: PageMaker,
    records: Records,
    by: Actor,
    typed: Mapping[str, str] | None = None,
    refusal: Refusal | None = None,
) -> Response:
    with records.read() as session:
        return page.show(
            "panels/places.html",
            places=queries.places(session),
            may_register=may(by, Act.REGISTER_PLACE),
            may_bring=may(by, Act.BRING_PANEL),
            **kept(typed, refusal),
        )


def _place_page(
    page: PageMaker,
    records: Records,
    by: Actor,
    code: str,
    *,
    typed: Mapping[str, str] | None = None,
    refusal: Refusal | None = None,
    scanned: list[str] | None = None,
) -> Response:
    with records.read() as session:
        place = queries.place(session, code.upper())
        stands = queries.standing_at(session, place.id)
        here = [one.panel for one in stands]
        walk = None if scanned is None else walked(here, scanned)
        elsewhere = {} if walk is None else queries.where_are(session, walk.unexpected)
        return page.show(
            "panels/place.html",
            place=place,
            stands=stands,
            walk=walk,
            elsewhere=elsewhere,
            may_bring=may(by, Act.BRING_PANEL),
            **kept(typed, refusal),
        )


def _bring_page(
    page: PageMaker,
    records: Records,
    by: Actor,
    typed: Mapping[str, str],
    refusal: Refusal | None = None,
) -> Response:
    require(by, Act.BRING_PANEL)
    with records.read() as session:
        scanned = typed.get("panel", "").strip().upper()
        stands = queries.where_are(session, [scanned]).get(scanned)
        return page.show(
            "panels/bring.html",
            stands=stands,
            places=queries.places(session),
            **kept(typed, refusal),
        )
