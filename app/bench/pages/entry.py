"""A scanned coupon's readings: the scan, what is keyed so far, and the finished form."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any
from urllib.parse import quote

from fastapi import APIRouter, Request, Response
from fastapi.responses import JSONResponse

from app.audit.actor import Actor
from app.audit.identities import as_code
from app.bench import queries, service
from app.bench.forms import by_sizes, number_of_fields, one_figure, readings_from, sizes_of
from app.bench.pages.asked import Asked
from app.bench.pages.session import session_page
from app.bench.queries.baseline import baseline_offer
from app.bench.queries.entry import TesterAt
from app.bench.rules.bracketing import Standing
from app.bench.rules.scanned import as_scanned
from app.bench.rules.sizes import Sizes
from app.bench.rules.verdict import verdict_on
from app.database import Database
from app.errors import NotAllowed, Refusal
from app.judging.units import Quantity
from app.people.signed_in import SignedIn
from app.web.forms import TypedForm
from app.web.page import Page, PageMaker, Records, now

router = APIRouter()

NOT_KEPT = frozenset({"csrf", "coupon", "seen", "confirmed", "spacing_confirmed", "more"})
"""What a draft leaves out. A tick stands for a look at the work and is made again each time; what
was on record when the form was shown is said anew by the form that brings the draft back."""


@router.get("/bench/sessions/{session_id}/scan")
def scan_coupon(
    page: Page,
    records: Records,
    by: SignedIn,
    request: Request,
    *,
    session_id: int,
    coupon: str = "",
) -> Response:
    """Where a scanned coupon is entered: here, or in another open session of the same person."""
    try:
        address = _where(page, records, by, session_id, as_code(as_scanned(coupon)))
    except Refusal as refusal:
        if _wants_json(request):
            return _said(refusal)
        asked = Asked(coupon=as_scanned(coupon), refusal=refusal)
        return session_page(page, records, by, session_id, asked)
    return JSONResponse({"go": address}) if _wants_json(request) else page.see_other(address)


@router.post("/bench/sessions/{session_id}/readings")
def submit_readings(
    page: Page,
    records: Records,
    by: SignedIn,
    request: Request,
    *,
    session_id: int,
    typed: TypedForm,
) -> Response:
    """Record a coupon's readings; the same form with one more field, if asked.

    A script that asks for JSON is told where to go on once everything is recorded, or the sentence
    that says why nothing was.
    """
    coupon, fields = typed.get("coupon", ""), number_of_fields(typed)
    if "more" in typed:
        more = Asked(coupon=coupon, fields=fields + 1, typed=typed)
        return session_page(page, records, by, session_id, more)
    try:
        saved = service.record_readings(
            records,
            readings_from(typed, zone=page.settings.zone),
            session_id=session_id,
            by=by,
            at=now(),
            zone=page.settings.zone,
        )
    except Refusal as refusal:
        if _wants_json(request):
            return _said(refusal)
        again = Asked(coupon=coupon, fields=fields, typed=typed, refusal=refusal)
        return session_page(page, records, by, session_id, again)
    address = f"/bench/sessions/{session_id}?saved={quote(saved.coupon_code, safe='')}"
    if not _wants_json(request):
        return page.see_other(address)
    heard = _heard(page, records, session_id, saved.coupon_code)
    return JSONResponse({"go": address, "heard": heard})


@router.post("/bench/sessions/{session_id}/draft")
def keep_what_is_keyed(
    page: Page, records: Records, by: SignedIn, session_id: int, typed: TypedForm
) -> Response:
    """Keep what is keyed so far, and say at once what of it cannot be or is unusual."""
    fields = {name: text for name, text in typed.items() if name not in NOT_KEPT and text.strip()}
    begun = any(name.startswith(("reading_", "size_")) for name in fields)
    try:
        code = as_code(typed.get("coupon", ""))
        service.keep_draft(
            records,
            session_id=session_id,
            coupon_code=code,
            fields=fields if begun else {},
            by=by,
            at=now(),
        )
        said = _said_of(records, session_id, code, typed)
    except Refusal as refusal:
        return _said(refusal)
    return JSONResponse({"kept": True, **said})


def _wants_json(request: Request) -> bool:
    return "application/json" in request.headers.get("accept", "")


def _said(refusal: Refusal) -> JSONResponse:
    return JSONResponse(
        {"sentence": refusal.sentence, "fields": refusal.fields}, status_code=refusal.status
    )


def _where(page: PageMaker, records: Database, by: Actor, session_id: int, code: str) -> str:
    """The address at which the coupon's readings are keyed.

    Raises:
        Refusal: they are not keyed anywhere now; says why and what to do.
    """
    zone = page.settings.zone
    with records.read() as session:
        bench = queries.bench_session(session, session_id)
        if bench.operator_id != by.id:
            raise NotAllowed(
                f"{bench.operator} takes the readings in this session; open your own at the bench "
                "page."
            )
        if bench.standing is not Standing.OPEN:
            raise Refusal(
                f"This session takes no readings now: it is {bench.standing.value}. {code} was not "
                "taken up."
            )
        if baseline_offer(session, code, bench) is not None:
            return f"/bench/sessions/{bench.id}/baseline?coupon={quote(code, safe='')}"
        try:
            offer = queries.offer_for(session, code, bench, zone=zone, again=False)
        except Refusal:
            other = queries.session_lacking(session, code, bench, zone=zone)
            if other is None:
                raise
            onward = f"/bench/sessions/{other.id}?coupon={quote(code, safe='')}"
            return f"{onward}&moved={quote(bench.tester, safe='')}"
        return f"/bench/sessions/{bench.id}?coupon={quote(offer.seat.coupon, safe='')}"


def _heard(page: PageMaker, records: Database, session_id: int, code: str) -> str:
    """What the bench sounds: the verdict on what was read, or that it is recorded where blind."""
    with records.read() as session:
        bench = queries.bench_session(session, session_id)
        coupon_id = queries.expected_coupon(session, code).coupon_id
        if queries.hidden_for_now(session, [coupon_id], zone=page.settings.zone):
            return "recorded"
        judged = queries.latest_coupon_verdicts(session, [coupon_id])[coupon_id]
    on = verdict_on(judged.paper, bench.quantity)
    return judged.verdict if on is None else on.value


def _said_of(
    records: Database, session_id: int, code: str, typed: Mapping[str, str]
) -> dict[str, Any]:
    """What cannot be and what is unusual of the figures keyed so far, and numbers from sizes."""
    with records.read() as session:
        bench = queries.bench_session(session, session_id)
        tester = queries.tester_at(session, bench.tester_id)
        seat = queries.expected_coupon(session, code)
        file = queries.coupon_files(session, [seat.coupon_id])[seat.coupon_id]
    quantity, sized = Quantity(bench.quantity), by_sizes(typed)
    wrong: dict[str, str] = {}
    odd: dict[str, str] = {}
    values: dict[int, Decimal] = {}
    indented: dict[int, Sizes] = {}
    for number in range(1, number_of_fields(typed) + 1):
        name = _name(number, sized=sized)
        try:
            value, sizes = _sized(typed, number, tester) if sized else (_reading(typed, name), None)
        except Refusal as refusal:
            wrong[name] = " ".join(refusal.fields.values()) or refusal.sentence
            continue
        if value is not None:
            values[number] = value
            if sizes is not None:
                indented[number] = sizes
            cannot, unusual = service.judge_figures(
                file, tester, quantity, [value], [] if sizes is None else [sizes]
            )
            for said, into in ((cannot, wrong), (unusual, odd)):
                if said:
                    into[name] = " ".join(said.values())
    fit = {key: value for key, value in values.items() if _name(key, sized=sized) not in wrong}
    room = ""
    if fit and quantity is Quantity.HARDNESS:
        softest = min(fit, key=fit.__getitem__)
        needed = service.room_for(tester, fit[softest], indented.get(softest))
        room = f"For {fit[softest]} {tester.unit}: {needed.words}" if needed is not None else ""
    return {
        "wrong": {**wrong, **_temperatures(typed)},
        "odd": odd,
        "numbers": {str(number): str(value) for number, value in values.items()} if sized else {},
        "room": room,
    }


def _name(number: int, *, sized: bool) -> str:
    return f"size_{number}_1" if sized else f"reading_{number}"


def _reading(typed: Mapping[str, str], name: str) -> Decimal | None:
    text = typed.get(name, "").strip()
    return one_figure(text) if text else None


def _sized(
    typed: Mapping[str, str], number: int, tester: TesterAt
) -> tuple[Decimal | None, Sizes | None]:
    """The number that one indentation gives, with its sizes; None for both while one is missing."""
    pair = {f"size_1_{way}": typed.get(f"size_{number}_{way}", "").strip() for way in (1, 2)}
    if not all(pair.values()):
        return None, None
    first, second = sizes_of({"fields": "1", **pair})
    return service.number_of((first, second), tester), (first, second)


def _temperatures(typed: Mapping[str, str]) -> dict[str, str]:
    wrong = {}
    for name, of in (("coupon_c", "coupon"), ("block_c", "reference block")):
        if text := typed.get(name, "").strip():
            try:
                says = service.judge_temperature(of, one_figure(text))
            except Refusal as refusal:
                says = refusal.fields["value"]
            if says is not None:
                wrong[name] = says
    return wrong
