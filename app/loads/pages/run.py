"""The door closed, the load taken out, or the load not run at all."""

from datetime import datetime

from fastapi import APIRouter, Response

from app.database import Database
from app.errors import Refusal
from app.loads import queries, run_queries, service
from app.loads.bags.bag_forms import CancelForm, EndForm, StartForm
from app.loads.forms import or_now
from app.loads.rules import blocking, findings_of, supplier
from app.people.rights import Act, may, require
from app.people.signed_in import SignedIn
from app.web.entries import kept
from app.web.forms import TypedForm, parse
from app.web.page import Page, PageMaker, Records, now

router = APIRouter()


@router.get("/loads/{code:path}/start")
def show_start(page: Page, records: Records, by: SignedIn, code: str) -> Response:
    """The gates as they stand, now or when it was started; with the button for who may start it."""
    return _start_page(page, records, code, at=now(), typed={}, may_start=may(by, Act.START_LOAD))


@router.post("/loads/{code:path}/start")
def submit_start(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Record that the door was closed; a refusal lists what stands against it."""
    at, started_at = now(), now()
    try:
        form = parse(StartForm, typed, zone=page.settings.zone)
        started_at = or_now(form.started_at, at)
        service.start_load(
            records, code, started_at=started_at, by=by, at=at, zone=page.settings.zone
        )
    except Refusal as refusal:
        return _start_page(
            page,
            records,
            code,
            at=started_at,
            typed=dict(typed),
            may_start=may(by, Act.START_LOAD),
            refusal=refusal,
        )
    return page.see_other("/loads", code, notice=f"Load {code} is in the furnace.")


def _start_page(
    page: PageMaker,
    records: Database,
    code: str,
    *,
    at: datetime,
    typed: dict[str, str],
    may_start: bool,
    refusal: Refusal | None = None,
) -> Response:
    with records.read() as session:
        load = queries.load(session, code)
        started = run_queries.load_start(session, load.id)
        findings = (
            findings_of(started.findings)
            if started is not None
            else service.start_findings(
                session, load, started_at=at, at=at, zone=page.settings.zone
            )
        )
        cancelled = run_queries.cancellation(session, load.id)
    return page.show(
        "loads/start.html",
        load=load,
        findings=findings,
        against=[(one, supplier(one)) for one in blocking(findings)],
        started=started,
        cancelled=cancelled,
        judged_at=at,
        may_start=may_start,
        **kept(typed, refusal),
    )


@router.get("/loads/{code:path}/end")
def show_end(page: Page, records: Records, by: SignedIn, code: str) -> Response:
    """The form that says the load was taken out."""
    require(by, Act.START_LOAD)
    return _end_page(page, records, code, typed={})


@router.post("/loads/{code:path}/end")
def submit_end(page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm) -> Response:
    """Record that the load was taken out; the gates are judged and kept, and never stop it."""
    at = now()
    try:
        form = parse(EndForm, typed, zone=page.settings.zone)
        findings = service.end_load(
            records,
            code,
            ended_at=or_now(form.ended_at, at),
            by=by,
            at=at,
            zone=page.settings.zone,
        )
    except Refusal as refusal:
        return _end_page(page, records, code, typed=dict(typed), refusal=refusal)
    against = blocking(findings)
    notice = f"Load {code} is out of the furnace."
    if against:
        notice += f" {len(against)} of its gates no longer held; they are listed below."
    return page.see_other("/loads", code, notice=notice)


def _end_page(
    page: PageMaker,
    records: Database,
    code: str,
    *,
    typed: dict[str, str],
    refusal: Refusal | None = None,
) -> Response:
    with records.read() as session:
        load = queries.load(session, code)
        started = run_queries.load_start(session, load.id)
        ended = run_queries.load_end(session, load.id)
    return page.show(
        "loads/end.html", load=load, started=started, ended=ended, **kept(typed, refusal)
    )


@router.get("/loads/{code:path}/cancel")
def show_cancel(page: Page, records: Records, by: SignedIn, code: str) -> Response:
    """The form that says a planned load will not be run."""
    require(by, Act.PLAN_LOAD)
    return _cancel_page(page, records, code, typed={})


@router.post("/loads/{code:path}/cancel")
def submit_cancel(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Record that a planned load will not be run."""
    try:
        form = parse(CancelForm, typed)
        service.cancel_load(records, code, reason=form.reason, by=by, at=now())
    except Refusal as refusal:
        return _cancel_page(page, records, code, typed=dict(typed), refusal=refusal)
    notice = f"Load {code} is cancelled; its panels and coupons are free."
    return page.see_other("/loads", code, notice=notice)


def _cancel_page(
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
    return page.show("loads/cancel.html", load=load, seats=seats, **kept(typed, refusal))
