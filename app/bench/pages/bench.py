"""The bench: choose a tester, see who is at work and which coupons wait."""

from collections.abc import Mapping
from typing import Annotated

from fastapi import APIRouter, Query, Response

from app.audit.actor import Actor
from app.audit.identities import as_code
from app.bench import queries, service
from app.bench.forms import SessionWanted
from app.bench.pages.asked import Asked
from app.bench.pages.session import check_due, session_page
from app.bench.rules.bracketing import day_of
from app.errors import Refusal
from app.people.rights import Act, may, missing_to_measure
from app.people.signed_in import SignedIn
from app.web.entries import kept
from app.web.forms import TypedForm
from app.web.page import Page, PageMaker, Records, now

router = APIRouter()


@router.get("/bench")
def show_bench(page: Page, records: Records, by: SignedIn) -> Response:
    """The testers, who is at them, and the coupons that wait."""
    return _bench_page(page, records, by)


@router.post("/bench/sessions")
def submit_session(page: Page, records: Records, by: SignedIn, typed: TypedForm) -> Response:
    """Open a session at a tester, with the thermometer chosen."""
    thermometer = typed.get("thermometer", "")
    try:
        session_id = service.open_session(
            records,
            tester_code=as_code(typed.get("tester", "")),
            by=by,
            at=now(),
            zone=page.settings.zone,
            thermometer_code=as_code(thermometer) if thermometer else None,
        )
    except Refusal as refusal:
        return _bench_page(page, records, by, typed, refusal)
    return page.see_other("/bench/sessions", str(session_id))


@router.get("/bench/sessions/{session_id}")
def show_session(
    page: Page,
    records: Records,
    by: SignedIn,
    session_id: int,
    wanted: Annotated[SessionWanted, Query()],
) -> Response:
    """What comes next in a session: a check, a scan, or the scanned coupon's readings."""
    asked = Asked(
        coupon=wanted.coupon,
        saved=wanted.saved,
        check=wanted.check,
        sizes=wanted.sizes == "1",
        moved=wanted.moved,
    )
    return session_page(page, records, by, session_id, asked)


def _bench_page(
    page: PageMaker,
    records: Records,
    by: Actor,
    typed: Mapping[str, str] | None = None,
    refusal: Refusal | None = None,
) -> Response:
    at = now()
    today = day_of(at, page.settings.zone)
    with records.read() as session:
        testers = queries.tester_choices(session, on=today)
        thermometers = queries.thermometer_choices(session, on=today)
        waiting = queries.awaiting(session)
        recent = queries.recent_sessions(session)
    running = [one.running for one in testers if one.running is not None]
    return page.show(
        "bench/bench.html",
        testers=testers,
        thermometers=thermometers,
        running=[(one, check_due(one, at)) for one in running],
        waiting=waiting,
        recent=recent,
        may_measure=may(by, Act.MEASURE),
        lacks={
            quantity: missing_to_measure(by, quantity)
            for quantity in {one.quantity for one in testers}
        },
        **kept(typed, refusal),
    )
