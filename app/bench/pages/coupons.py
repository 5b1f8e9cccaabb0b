"""A coupon's own page: where it rode, what was read on it, the verdict and how it came about."""

import secrets
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Annotated, Any

from fastapi import APIRouter, Query, Response

from app.audit.actor import Actor
from app.audit.identities import as_code
from app.bench import queries, service
from app.bench.forms import (
    CouponWanted,
    RetestForm,
    VoidAnswerForm,
    VoidForm,
    correction_from,
    figures_keyed,
    laboratory_from,
)
from app.bench.queries.coupon_page import ReadingLine
from app.bench.queries.waiting import AT_HAND
from app.bench.records import CouponVerdict, VoidCause
from app.bench.rules.coupon_file import CouponFile
from app.errors import Refusal
from app.judging.units import UNITS, Quantity
from app.judging.witness.coupons import all_criteria
from app.panels.queries import coupon as coupon_of
from app.panels.queries import custody
from app.people.queries import acts_about, names
from app.people.rights import Act, may
from app.people.signed_in import SignedIn
from app.web.entries import kept
from app.web.forms import Typed, TypedForm, parse
from app.web.page import Page, PageMaker, Records, now

router = APIRouter()

_BENCH_QUANTITIES = {Quantity.HARDNESS, Quantity.CONDUCTIVITY}


@dataclass(frozen=True)
class Opened:
    """Which form of the page is open, about which reading, and what was typed into it."""

    form: str = ""
    reading: int = 0
    typed: Mapping[str, str] = field(default_factory=dict)
    refusal: Refusal | None = None


@router.get("/coupons/{code:path}")
def show_coupon(
    page: Page,
    records: Records,
    by: SignedIn,
    code: str,
    wanted: Annotated[CouponWanted, Query()],
) -> Response:
    """Everything about one coupon, with the form that was asked for open."""
    if wanted.correct:
        opened = Opened("correct", wanted.correct)
    elif wanted.void:
        opened = Opened("void", wanted.void)
    else:
        opened = Opened("laboratory" if wanted.laboratory else "")
    return _coupon_page(page, records, by, code, opened)


@router.post("/coupons/{code:path}/correct")
def submit_correction(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Set a slip of the key right."""

    def decide(coupon: str) -> str:
        saved = service.correct_reading(
            records,
            correction_from(typed, coupon=coupon),
            by=by,
            at=now(),
            zone=page.settings.zone,
        )
        return f"The correction is recorded; the coupon {_stands(saved.verdict.value)}."

    return _decided(page, records, by, code, typed, form="correct", decide=decide)


@router.post("/coupons/{code:path}/void")
def submit_void(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Ask that a reading be voided."""

    def decide(coupon: str) -> str:
        form = parse(VoidForm, typed)
        service.ask_void(
            records,
            coupon_code=coupon,
            reading_id=form.reading,
            cause=form.cause,
            evidence=form.evidence,
            by=by,
            at=now(),
        )
        return "The request is recorded; a supervisor answers it."

    return _decided(page, records, by, code, typed, form="void", decide=decide)


@router.post("/coupons/{code:path}/void-answer")
def submit_void_answer(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Approve or decline a void."""

    def decide(coupon: str) -> str:
        form = parse(VoidAnswerForm, typed)
        service.answer_void(
            records,
            coupon_code=coupon,
            request_id=form.request,
            approved=form.answer == "approve",
            reason=form.reason,
            by=by,
            at=now(),
            zone=page.settings.zone,
        )
        return "The void is approved." if form.answer == "approve" else "The void is declined."

    return _decided(page, records, by, code, typed, form="answer", decide=decide)


@router.post("/coupons/{code:path}/retest")
def submit_retest(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Open the table's retest."""

    def decide(coupon: str) -> str:
        service.open_retest(
            records,
            coupon_code=coupon,
            reason=parse(RetestForm, typed).reason,
            by=by,
            at=now(),
            zone=page.settings.zone,
        )
        return "The retest is open; the first result stays in the record."

    return _decided(page, records, by, code, typed, form="retest", decide=decide)


@router.post("/coupons/{code:path}/laboratory")
def submit_laboratory_result(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Record a laboratory's result."""

    def decide(coupon: str) -> str:
        zone = page.settings.zone
        saved = service.record_laboratory_result(
            records, laboratory_from(typed, coupon=coupon, zone=zone), by=by, at=now(), zone=zone
        )
        return f"The result is recorded; the coupon {_stands(saved.verdict.value)}."

    return _decided(page, records, by, code, typed, form="laboratory", decide=decide)


def _decided(
    page: PageMaker,
    records: Records,
    by: Actor,
    code: str,
    typed: Typed,
    *,
    form: str,
    decide: Callable[[str], str],
) -> Response:
    """Make the decision and go on to the page, or show the form again with what was typed."""
    coupon = as_code(code)
    try:
        notice = decide(coupon)
    except Refusal as refusal:
        subject = typed.get("reading", typed.get("request", ""))
        reading = int(subject) if subject.isascii() and subject.isdigit() else 0
        return _coupon_page(page, records, by, code, Opened(form, reading, typed, refusal))
    return page.see_other("/coupons", coupon, notice=notice)


def _stands(verdict: str) -> str:
    return {
        "conforms": "conforms",
        "does_not_conform": "does not conform",
        "not_proven": "is not proven",
    }[verdict]


def _coupon_page(
    page: PageMaker, records: Records, by: Actor, code: str, opened: Opened
) -> Response:
    zone = page.settings.zone
    refusal = opened.refusal
    with records.read() as session:
        coupon = coupon_of(session, as_code(code))
        place = queries.coupon_place(session, coupon.id)
        steps = custody(session, coupon.id)
        people = names(session)
        file = queries.file_of(session, coupon.id)
        readings = queries.reading_lines(session, file, zone=zone) if file else []
        verdicts = queries.verdicts(session, coupon.id)
        shown: dict[str, Any] = {
            "plan": queries.panel_plan(session, file) if file else None,
            "checks": queries.bench_sessions(session, _sessions(readings)).values(),
            "retest": queries.retest_of(session, coupon.id),
            "trail": acts_about(session, "coupon", place.code),
        }
    latest = verdicts[0] if verdicts else None
    at_hand = bool(file) and bool(steps) and steps[-1].step in AT_HAND
    return page.show(
        "bench/coupon.html",
        place=place,
        steps=[(one, people[one.by_id]) for one in steps],
        readings=readings,
        latest=latest,
        earlier=verdicts[1:],
        people=people,
        may_correct=may(by, Act.MEASURE),
        may_ask=may(by, Act.ASK_VOID),
        may_answer=may(by, Act.APPROVE_VOID),
        may_retest=_may_retest(by, latest, shown["retest"]),
        may_hand_over=may(by, Act.RECORD_CUSTODY),
        may_enter=at_hand and may(by, Act.MEASURE),
        form=opened.form,
        concerned=next((one for one in readings if one.id == opened.reading), None),
        subject=opened.reading,
        causes=[(cause.value, cause.value) for cause in VoidCause],
        tests=_laboratory_tests(file),
        submission=opened.typed.get("submission") or secrets.token_urlsafe(24),
        figures=figures_keyed(opened.typed),
        **kept(opened.typed, refusal),
        **shown,
    )


def _sessions(readings: list[ReadingLine]) -> set[int]:
    """The numbers of the sessions in which the coupon was measured."""
    return {one.session_id for one in readings if one.session_id is not None}


def _may_retest(by: Actor, latest: CouponVerdict | None, retest: object) -> bool:
    """Whether the retest form is offered: the entry permits one and the verdict calls for it."""
    if latest is None or retest is not None or not may(by, Act.OPEN_RETEST):
        return False
    entry = latest.paper["entry"]
    permits = entry is not None and entry["retest"] is not None
    return permits and latest.verdict == "does_not_conform" and not latest.provisional


def _laboratory_tests(file: CouponFile | None) -> list[tuple[str, str]]:
    """The tests a laboratory can report, those the table's entry asks for first."""
    entry = file.entry() if file is not None else None
    asked = [
        (one.quantity, one.unit)
        for one in (all_criteria(entry.criteria) if entry is not None else ())
        if one.quantity not in _BENCH_QUANTITIES
    ]
    others = [
        (quantity, unit)
        for quantity in Quantity
        if quantity not in _BENCH_QUANTITIES
        for unit in UNITS[quantity]
    ]
    return [
        (f"{quantity.value}|{unit}", f"{quantity.words}, {unit}")
        for quantity, unit in dict.fromkeys([*asked, *others])
    ]
