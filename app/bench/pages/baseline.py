"""Read coupons before the furnace, in an ordinary session."""

import secrets
from collections.abc import Mapping

from fastapi import APIRouter, Response

from app.audit.actor import Actor
from app.audit.identities import as_code
from app.bench import queries, service
from app.bench.forms import figures_keyed, number_of_fields, readings_from
from app.bench.queries.baseline import baseline_offer, baseline_offers
from app.bench.rules.bracketing import Standing
from app.bench.rules.scanned import as_scanned
from app.errors import Refusal
from app.people.rights import Act, may, missing_to_measure
from app.people.signed_in import SignedIn
from app.web.entries import kept
from app.web.forms import TypedForm
from app.web.page import Page, PageMaker, Records, now

router = APIRouter()

_FIELDS = 2
"""Two quick readings are enough to see what the furnace changed (our choice)."""


@router.get("/bench/sessions/{session_id}/baseline")
def show_baseline(
    page: Page, records: Records, by: SignedIn, session_id: int, coupon: str = ""
) -> Response:
    """The coupons that can be read before the furnace, or the form for the one scanned."""
    return _baseline_page(page, records, by, session_id, coupon)


@router.post("/bench/sessions/{session_id}/baseline")
def submit_baseline(
    page: Page, records: Records, by: SignedIn, session_id: int, typed: TypedForm
) -> Response:
    """Record a coupon's baseline; the same form with one more field, if asked."""
    coupon = typed.get("coupon", "")
    if "more" in typed:
        more = {**typed, "fields": str(number_of_fields(typed) + 1)}
        return _baseline_page(page, records, by, session_id, coupon, typed=more)
    try:
        code = service.record_baseline(
            records,
            readings_from(typed, zone=page.settings.zone),
            session_id=session_id,
            by=by,
            at=now(),
            zone=page.settings.zone,
        )
    except Refusal as refusal:
        return _baseline_page(page, records, by, session_id, coupon, typed=typed, refusal=refusal)
    address = f"/bench/sessions/{session_id}/baseline"
    return page.see_other(address, notice=f"The baseline of {code} is recorded.")


def _baseline_page(
    page: PageMaker,
    records: Records,
    by: Actor,
    session_id: int,
    coupon: str,
    *,
    typed: Mapping[str, str] | None = None,
    refusal: Refusal | None = None,
) -> Response:
    code = as_scanned(coupon)
    offer = None
    with records.read() as session:
        bench = queries.bench_session(session, session_id)
        if code:
            try:
                offer = baseline_offer(session, as_code(code), bench)
                if offer is None:
                    raise _not_to_be_read(code)
            except Refusal as unexpected:
                refusal = refusal or unexpected
        offers = baseline_offers(session, bench)
    lacks = missing_to_measure(by, bench.quantity)
    given = dict(typed or {})
    fields = max(number_of_fields(given), _FIELDS)
    return page.show(
        "bench/baseline.html",
        bench=bench,
        offer=offer,
        offers=offers,
        takes=bench.standing is Standing.OPEN
        and bench.operator_id == by.id
        and may(by, Act.MEASURE)
        and lacks is None,
        lacks=lacks if bench.operator_id == by.id else None,
        fields=list(range(1, min(fields, service.MOST_READINGS) + 1)),
        may_add=fields < service.MOST_READINGS,
        submission=given.get("submission") or secrets.token_urlsafe(24),
        figures=figures_keyed(given),
        **kept(given, refusal),
    )


def _not_to_be_read(code: str) -> Refusal:
    return Refusal(
        f"{code} is no coupon that is still before its furnace load, so there is no baseline to "
        "read. Scan it in the session itself for its readings."
    )
