"""The bench: choose a tester, check it, scan a coupon, key its readings, see the verdict."""

import secrets
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Query, Response

from app.audit.actor import Actor
from app.audit.identities import as_code
from app.bench import queries, service
from app.bench.forms import (
    SessionWanted,
    check_from,
    figures_keyed,
    number_of_fields,
    readings_from,
)
from app.bench.queries.places import Offer
from app.bench.queries.sessions import BenchAtWork
from app.bench.queries.waiting import Expected
from app.bench.records import CheckMoment, CouponVerdict
from app.bench.rules.bracketing import Standing, day_of
from app.bench.rules.verdict import verdict_on
from app.equipment.records import ReferenceBlock
from app.errors import Refusal
from app.judging.units import Quantity
from app.people.rights import Act, Role, may
from app.people.signed_in import SignedIn
from app.web.entries import kept
from app.web.forms import TypedForm
from app.web.page import Page, PageMaker, Records, now

router = APIRouter()

_CHECK_FIELDS = {"hardness": 3, "conductivity": 1}


@dataclass(frozen=True)
class Asked:
    """What the session page is asked to show: a coupon, a saved one, a check; or a form again."""

    coupon: str = ""
    saved: str = ""
    check: str = ""
    fields: int = 0
    typed: Mapping[str, str] = field(default_factory=dict)
    refusal: Refusal | None = None


@router.get("/bench")
def show_bench(page: Page, records: Records, by: SignedIn) -> Response:
    """The testers, who is at them, and the coupons that wait."""
    return _bench_page(page, records, by)


@router.post("/bench/sessions")
def submit_session(page: Page, records: Records, by: SignedIn, typed: TypedForm) -> Response:
    """Open a session at a tester."""
    try:
        session_id = service.open_session(
            records,
            tester_code=as_code(typed.get("tester", "")),
            by=by,
            at=now(),
            zone=page.settings.zone,
        )
    except Refusal as refusal:
        return _bench_page(page, records, by, refusal)
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
    asked = Asked(coupon=wanted.coupon, saved=wanted.saved, check=wanted.check)
    return _session_page(page, records, by, session_id, asked)


@router.post("/bench/sessions/{session_id}/check")
def submit_check(
    page: Page, records: Records, by: SignedIn, session_id: int, typed: TypedForm
) -> Response:
    """Record a check on a reference block; the same form with one more field, if asked."""
    fields = number_of_fields(typed)
    asked = Asked(check=typed.get("moment", ""), fields=fields, typed=typed)
    if "more" in typed:
        more = Asked(check=asked.check, fields=fields + 1, typed=typed)
        return _session_page(page, records, by, session_id, more)
    try:
        finding = service.record_check(
            records,
            check_from(typed),
            session_id=session_id,
            by=by,
            at=now(),
            zone=page.settings.zone,
        )
    except Refusal as refusal:
        again = Asked(check=asked.check, fields=fields, typed=typed, refusal=refusal)
        return _session_page(page, records, by, session_id, again)
    return page.see_other("/bench/sessions", str(session_id), notice=finding.text)


@router.post("/bench/sessions/{session_id}/readings")
def submit_readings(
    page: Page, records: Records, by: SignedIn, session_id: int, typed: TypedForm
) -> Response:
    """Record a coupon's readings; the same form with one more field, if asked."""
    coupon, fields = typed.get("coupon", ""), number_of_fields(typed)
    if "more" in typed:
        more = Asked(coupon=coupon, fields=fields + 1, typed=typed)
        return _session_page(page, records, by, session_id, more)
    try:
        saved = service.record_readings(
            records,
            readings_from(typed),
            session_id=session_id,
            by=by,
            at=now(),
            zone=page.settings.zone,
        )
    except Refusal as refusal:
        again = Asked(coupon=coupon, fields=fields, typed=typed, refusal=refusal)
        return _session_page(page, records, by, session_id, again)
    address = f"/bench/sessions/{session_id}?saved={quote(saved.coupon_code, safe='')}"
    return page.see_other(address)


def _bench_page(
    page: PageMaker, records: Records, by: Actor, refusal: Refusal | None = None
) -> Response:
    today = day_of(now(), page.settings.zone)
    with records.read() as session:
        testers = queries.tester_choices(session, on=today)
        waiting = queries.awaiting(session)
        recent = queries.recent_sessions(session)
    return page.show(
        "bench/bench.html",
        testers=testers,
        waiting=waiting,
        recent=recent,
        may_measure=may(by, Act.MEASURE),
        **kept(refusal=refusal),
    )


def _session_page(
    page: PageMaker, records: Records, by: Actor, session_id: int, asked: Asked
) -> Response:
    """The session as it stands, with what was asked for or typed."""
    zone = page.settings.zone
    refusal = asked.refusal
    entry: dict[str, Any] | None = None
    with records.read() as session:
        bench = queries.bench_session(session, session_id)
        quantity = Quantity(bench.quantity)
        mine = bench.operator_id == by.id and may(by, Act.MEASURE)
        if asked.coupon and mine and bench.standing is Standing.OPEN:
            try:
                offer = queries.offer_for(
                    session, as_code(asked.coupon), bench, zone=zone, again=bool(asked.typed)
                )
                entry = _entry(offer, bench, asked)
            except Refusal as unexpected:
                refusal = refusal or unexpected
        groups = queries.expected_coupons(session, quantity=quantity, unit=bench.unit, zone=zone)
        saves = queries.last_saves(session, bench.id)
        verdicts = queries.latest_coupon_verdicts(session, [one.coupon_id for one in saves])
        blocks = queries.blocks_for(
            session, quantity=bench.quantity, unit=bench.unit, on=day_of(now(), zone)
        )
    saved = next((one for one in saves if one.coupon == asked.saved.upper()), None)
    check = _check(bench, by, asked)
    return page.show(
        "bench/session.html",
        bench=bench,
        mine=mine,
        is_open=bench.standing is Standing.OPEN,
        next_step=_next_step(bench, entry, check, groups),
        entry=entry,
        scanned=asked.coupon if refusal and not entry and not asked.typed else "",
        check=check,
        may_close=bench.standing is Standing.OPEN and _may_check(bench, by, CheckMoment.CLOSING),
        blocks=[(block.code, _block_words(block)) for block in blocks],
        groups=groups,
        saves=[
            (one, verdicts[one.coupon_id], _on_quantity(verdicts[one.coupon_id], bench))
            for one in saves
        ],
        saved=verdicts[saved.coupon_id] if saved else None,
        saved_on=_on_quantity(verdicts[saved.coupon_id], bench) if saved else None,
        saved_coupon=asked.saved.upper(),
        **kept(asked.typed, refusal),
        figures=figures_keyed(asked.typed),
    )


def _on_quantity(judged: CouponVerdict, bench: BenchAtWork) -> str:
    """The verdict on what is measured in this session; on the whole where they are not apart."""
    on = verdict_on(judged.paper, bench.quantity)
    return on.value if on is not None else judged.verdict


def _block_words(block: ReferenceBlock) -> str:
    value = f"{block.certified_value} {block.unit}"
    return f"{block.code}: {value}, permitted error {block.permitted_error}"


def _entry(offer: Offer, bench: BenchAtWork, asked: Asked) -> dict[str, Any]:
    """The scanned coupon and the fields its readings are keyed into."""
    fields = max(asked.fields, offer.place.missing if offer.place else 1)
    last_block_c = next((one.block_c for one in reversed(bench.checks) if one.block_c), None)
    return {
        "seat": offer.seat,
        "fields": list(range(1, min(fields, service.MOST_READINGS) + 1)),
        "may_add": fields < service.MOST_READINGS,
        "hardness": bench.quantity == "hardness",
        "conductivity": bench.quantity == "conductivity",
        "set_number": offer.place.set_number if offer.place else None,
        "submission": asked.typed.get("submission") or secrets.token_urlsafe(24),
        "typed": asked.typed or {"block_c": last_block_c},
    }


def _may_check(bench: BenchAtWork, by: Actor, moment: CheckMoment) -> bool:
    covers = moment is CheckMoment.CLOSING and Role.SUPERVISOR.value in by.roles
    return may(by, Act.MEASURE) and (bench.operator_id == by.id or covers)


def _check(bench: BenchAtWork, by: Actor, asked: Asked) -> dict[str, Any] | None:
    """The check form that is next or was asked for; None where no check can be made."""
    if bench.standing is Standing.AWAITING_OPENING:
        moment = CheckMoment.OPENING
    elif bench.standing is Standing.OPEN and asked.check in {"interim", "closing"}:
        moment = CheckMoment(asked.check)
    else:
        return None
    if not _may_check(bench, by, moment):
        return None
    fields = max(asked.fields, _CHECK_FIELDS[bench.quantity])
    return {
        "moment": moment.value,
        "fields": list(range(1, min(fields, service.MOST_READINGS) + 1)),
        "may_add": fields < service.MOST_READINGS,
    }


def _next_step(
    bench: BenchAtWork,
    entry: dict[str, Any] | None,
    check: dict[str, Any] | None,
    groups: Mapping[str, list[Expected]],
) -> str:
    """What comes next, in a few words."""
    if bench.standing is Standing.CLOSED:
        return "This session is closed"
    if bench.standing is Standing.FAILED:
        return "Ended by a failed check: measure again in a new session"
    if entry is not None:
        return f"Readings of {entry['seat'].coupon}"
    if check is not None:
        return f"{check['moment'].capitalize()} check"
    if bench.standing is Standing.AWAITING_OPENING:
        return f"{bench.operator} makes the opening check"
    left = sum(one.needed > 0 and one.at_hand for group in groups.values() for one in group)
    return "Scan a coupon" if left else "All expected coupons are measured: make the closing check"
