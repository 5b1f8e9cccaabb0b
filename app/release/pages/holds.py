"""Hold anything: one form with its reach in sight, the holds there are, and their lifting."""

from collections.abc import Mapping, Sequence
from typing import Any

from fastapi import APIRouter, Response

from app.audit.actor import Actor
from app.errors import Refusal
from app.panels import queries as panels
from app.panels.records import ENDED, IN_USE, HoldOn
from app.people.records import Meaning
from app.people.rights import Act, may
from app.people.signed_in import SignedIn
from app.release import service
from app.release.forms.holds import LiftUpstreamForm, PlaceHoldForm, ThingForm
from app.release.queries.dependants import BY_REVISION, NO_WINDOW, RestingPanel
from app.release.queries.upstream import (
    open_holds_of,
    still_held_by,
    upstream_hold,
    upstream_lines,
)
from app.release.rules.gate import address
from app.web.entries import kept
from app.web.forms import TypedForm, parse
from app.web.page import Page, PageMaker, Records, now

router = APIRouter()

_PANELS_SHOWN = 200
_PHYSICAL = frozenset(
    {
        HoldOn.MATERIAL_LOT,
        HoldOn.LOAD,
        HoldOn.FURNACE,
        HoldOn.SENSOR,
        HoldOn.VACUUM_GAUGE,
        HoldOn.TESTER,
        HoldOn.REFERENCE_BLOCK,
        HoldOn.THERMOMETER,
    }
)
"""What a tag can hang on."""


@router.get("/holds")
def show_holds(page: Page, records: Records, by: SignedIn) -> Response:
    """Every open hold on what panels rest on, and those lifted last."""
    with records.read() as session:
        return page.show(
            "release/holds.html",
            open_ones=[_line(one) for one in upstream_lines(session, open_ones=True)],
            lifted=[_line(one) for one in upstream_lines(session, open_ones=False, most=50)],
        )


@router.get("/holds/place")
def show_hold_form(
    page: Page,
    records: Records,
    by: SignedIn,
    *,
    kind: str = "",
    code: str = "",
    revision: str = "",
    since: str = "",
    until: str = "",
) -> Response:
    """The form for a hold on one thing, with what it would reach."""
    typed = {"kind": kind, "code": code, "revision": revision, "since": since, "until": until}
    return _hold_page(page, records, typed)


@router.post("/holds/place")
def submit_hold(page: Page, records: Records, by: SignedIn, typed: TypedForm) -> Response:
    """Put the thing on hold, with every panel that rests on it."""
    try:
        form = parse(PlaceHoldForm, typed, zone=page.settings.zone)
        thing = form.thing()
        if thing is None:
            code = form.code.upper()
            service.place_hold(records, code, reason=form.reason, by=by, at=now())
            return page.see_other("/panels", code, notice=f"{code} is on hold.")
        number, count = service.place_upstream_hold(
            records, thing, reason=form.reason, by=by, at=now()
        )
    except Refusal as refusal:
        return _hold_page(page, records, typed, refusal)
    told = "1 panel was" if count == 1 else f"{count} panels were"
    notice = f"{thing.name[0].upper()}{thing.name[1:]} is on hold; {told} put on hold with it."
    return page.see_other("/holds", str(number), notice=notice)


@router.get("/holds/{hold_id:int}")
def show_hold(page: Page, records: Records, by: SignedIn, hold_id: int) -> Response:
    """An upstream hold, the panels it still holds and what each needs."""
    return _one_hold(page, records, by, hold_id)


@router.post("/holds/{hold_id:int}/lift")
def submit_lift(
    page: Page, records: Records, by: SignedIn, hold_id: int, typed: TypedForm
) -> Response:
    """Lift an upstream hold, signed."""
    try:
        form = parse(LiftUpstreamForm, typed)
        service.lift_upstream_hold(
            records, hold_id, finding=form.finding, password=form.password, by=by, at=now()
        )
    except Refusal as refusal:
        return _one_hold(page, records, by, hold_id, typed, refusal)
    notice = f"Hold {hold_id} is lifted. Panels that it still holds are disposed of one by one."
    return page.see_other("/holds", str(hold_id), notice=notice)


def _hold_page(
    page: PageMaker, records: Records, typed: Mapping[str, str], refusal: Refusal | None = None
) -> Response:
    """The form again, with what it reaches as far as what was typed can be read.

    Raises:
        NotFound, Refusal: the address names no thing that can be held.
    """
    thing, reached, problem = None, [], refusal
    try:
        thing = parse(ThingForm, typed, zone=page.settings.zone).thing()
    except Refusal as fault:
        if {"kind", "code"} & set(fault.fields):
            raise
        problem = problem or fault
    with records.read() as session:
        on_hold: Sequence[Any] = ()
        if thing is not None:
            on_hold = panels.open_hold_on(session, thing.kind, [thing.code])
            try:
                reached = service.reach(session, thing)
            except Refusal as fault:
                if not typed.get("revision") and not fault.fields:
                    raise
                problem = problem or fault
        elif typed["kind"] == "panel":
            panel = panels.panel(session, typed["code"].upper())
            on_hold = open_holds_of(session, panel.id)
            reached = [] if panel.decided in ENDED else [_itself(panel)]
    kind = typed["kind"]
    return page.show(
        "release/hold_place.html",
        kind=kind,
        kind_words=kind.replace("_", " "),
        code=typed["code"] if kind == HoldOn.PERSON.value else typed["code"].upper(),
        on_hold=on_hold,
        reached=reached[:_PANELS_SHOWN],
        count=len(reached),
        released=sum(panel.decided in IN_USE for panel in reached),
        has_revisions=thing is not None and thing.kind in BY_REVISION,
        has_times=thing is not None and thing.kind not in NO_WINDOW,
        **kept(typed, problem),
    )


def _itself(panel: Any) -> RestingPanel:
    return RestingPanel(panel.id, panel.code, panel.decided, "")


def _line(one: Any) -> dict[str, Any]:
    return {"hold": one, "href": address(one.kind.value, one.code)}


def _one_hold(  # noqa: PLR0917 - the page, whose it is, and what was typed
    page: PageMaker,
    records: Records,
    by: Actor,
    hold_id: int,
    typed: Mapping[str, str] | None = None,
    refusal: Refusal | None = None,
) -> Response:
    with records.read() as session:
        row = upstream_hold(session, hold_id)
        (line,) = upstream_lines(session, hold_id=hold_id)
        why_not = service.why_not_lift_upstream(session, row, by) or service.why_not_lift_yet(
            session, row
        )
        still = still_held_by(session, hold_id, most=_PANELS_SHOWN)
        is_open = line.lifted_at is None
        allowed = may(by, Act.LIFT_HOLD) and is_open
        safe = {name: text for name, text in (typed or {}).items() if name != "password"}
        return page.show(
            "release/hold.html",
            hold=line,
            href=address(line.kind.value, line.code),
            still=still,
            may_lift=allowed and why_not is None,
            why_not=why_not.sentence if allowed and why_not is not None else None,
            has_tag=is_open and line.kind in _PHYSICAL,
            meaning=Meaning.LIFTED_UPSTREAM.value,
            **kept(safe, refusal),
        )
