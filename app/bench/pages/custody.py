"""Custody, guided: what comes next for one coupon, or for the coupons of a load."""

from collections.abc import Mapping

from fastapi import APIRouter, Response

from app.audit.actor import Actor
from app.bench.queries.custody import journey, journeys_of_load, turn_of
from app.errors import Refusal
from app.loads import queries as loads
from app.panels import queries as panels
from app.panels import service
from app.panels.forms import CustodyForm, HandOversForm
from app.panels.records import Custody
from app.panels.rules import ORDER, codes_from_lines
from app.panels.service import Among
from app.people.rights import Act, may, require
from app.people.signed_in import SignedIn
from app.web.entries import kept
from app.web.forms import TypedForm, parse
from app.web.page import Page, PageMaker, Records

router = APIRouter()

_DO = {
    Custody.PLACED: "Place",
    Custody.RECOVERED: "Take off and recover",
    Custody.AT_BENCH: "Hand over to the bench",
    Custody.SHELVED: "Measure, then shelve",
}
"""What is to be done so that the step can be recorded."""


@router.get("/coupons/{code:path}/custody")
def show_coupon_custody(page: Page, records: Records, by: SignedIn, code: str) -> Response:
    """A coupon's way so far, and what comes next."""
    return _coupon_page(page, records, by, code.upper())


@router.post("/coupons/{code:path}/custody")
def submit_coupon_custody(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Record a hand-over from the coupon's own page, and go back to it."""
    code = code.upper()
    require(by, Act.RECORD_CUSTODY)
    try:
        form = parse(CustodyForm, typed, zone=page.settings.zone)
        service.record_custody(
            records, coupon=code, **form.model_dump(), by=by, at=page.shop_time()
        )
    except Refusal as refusal:
        return _coupon_page(page, records, by, code, typed=typed, refusal=refusal)
    return page.see_other("/coupons", code, notice=f"{code}: {form.step.value}, {form.place}.")


@router.get("/loads/{code:path}/custody")
def show_load_custody(page: Page, records: Records, by: SignedIn, code: str) -> Response:
    """Where the coupons of a load are, whose turn it is, and the form for it."""
    return _load_page(page, records, by, code)


@router.post("/loads/{code:path}/custody")
def submit_load_custody(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Record the hand-over of the load's coupons that were scanned, all or none."""
    try:
        form = parse(HandOversForm, typed, zone=page.settings.zone)
        with records.read() as session:
            load = loads.load(session, code)
            riding = frozenset(one.code for one in loads.seats(session, load.id).coupons)
        done = service.record_hand_overs(
            records,
            codes_from_lines(form.codes),
            form.hand_over(),
            by=by,
            at=page.shop_time(),
            among=Among(f"load {code}", riding),
        )
    except Refusal as refusal:
        return _load_page(page, records, by, code, typed=typed, refusal=refusal)
    notice = f"{', '.join(done)}: {form.step.value}, {form.place}."
    return page.see_other("/loads", code, "custody", notice=notice)


def _coupon_page(
    page: PageMaker,
    records: Records,
    by: Actor,
    code: str,
    *,
    typed: Mapping[str, str] | None = None,
    refusal: Refusal | None = None,
) -> Response:
    with records.read() as session:
        way = journey(session, panels.coupon(session, code).id)
    steps = way.next_steps
    return page.show(
        "bench/coupon_custody.html",
        way=way,
        done={step.step for step, _ in way.steps},
        order=ORDER,
        steps=[(step.value, step.value) for step in steps],
        may_hand_over=may(by, Act.RECORD_CUSTODY) and bool(steps),
        may_report=may(by, Act.REPORT_TROUBLE),
        **kept(typed or {"step": steps[0].value if steps else ""}, refusal),
    )


def _load_page(
    page: PageMaker,
    records: Records,
    by: Actor,
    code: str,
    *,
    typed: Mapping[str, str] | None = None,
    refusal: Refusal | None = None,
) -> Response:
    with records.read() as session:
        load = loads.load(session, code)
        ways = journeys_of_load(session, load.id)
    turn = turn_of(ways)
    return page.show(
        "bench/load_custody.html",
        load=load,
        journeys=ways,
        turn=turn,
        act=_DO.get(turn.step) if turn.step is not None else None,
        steps=[(step.value, step.value) for step in ORDER[1:]],
        may_hand_over=may(by, Act.RECORD_CUSTODY),
        may_unwrap=may(by, Act.UNWRAP),
        may_report=may(by, Act.REPORT_TROUBLE),
        **kept(typed or {"step": turn.step.value if turn.step else ""}, refusal),
    )
