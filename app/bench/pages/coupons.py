"""A coupon's own page: where it rode, what was read on it, the verdict and how it came about."""

from collections.abc import Callable
from typing import Annotated

from fastapi import APIRouter, Query, Response

from app.audit.actor import Actor
from app.audit.identities import as_code
from app.bench import service
from app.bench.forms import CouponWanted, laboratory_from
from app.bench.pages.coupon_forms import AnswerForm, RetestForm, VoidForm, correction_from
from app.bench.pages.coupon_shown import Opened, coupon_page
from app.equipment.pages.shared import sent_file
from app.errors import Refusal
from app.people.signed_in import SignedIn
from app.web.forms import Typed, TypedForm, parse
from app.web.page import Page, PageMaker, Records, now

router = APIRouter()


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
    return coupon_page(page, records, by, code, opened)


@router.post("/coupons/{code:path}/correct")
def submit_correction(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Set a slip of the key right."""

    def decide(coupon: str) -> str:
        made = service.correct_reading(
            records,
            correction_from(typed, coupon=coupon),
            by=by,
            at=now(),
            zone=page.settings.zone,
        )
        if made.waits:
            return (
                "The correction waits for a second person, who took none of the coupon's readings; "
                "until then the reading stands as it is."
            )
        return f"The correction is recorded; the coupon {_stands(made.verdict.value)}."

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
            file=sent_file(typed),
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
        form = parse(AnswerForm, typed)
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

    return _decided(page, records, by, code, typed, form="void-answer", decide=decide)


@router.post("/coupons/{code:path}/correction-answer")
def submit_correction_answer(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Approve or decline a correction that somebody asked for."""

    def decide(coupon: str) -> str:
        form = parse(AnswerForm, typed)
        service.answer_correction(
            records,
            coupon_code=coupon,
            request_id=form.request,
            approved=form.answer == "approve",
            reason=form.reason,
            by=by,
            at=now(),
            zone=page.settings.zone,
        )
        return f"The correction is {'approved' if form.answer == 'approve' else 'declined'}."

    return _decided(page, records, by, code, typed, form="correction-answer", decide=decide)


@router.post("/coupons/{code:path}/retest")
def submit_retest(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Open the table's retest as planned, with a signature."""

    def decide(coupon: str) -> str:
        form = parse(RetestForm, typed)
        service.open_retest(
            records,
            coupon_code=coupon,
            reason=form.reason,
            positions=[as_code(one) for one in typed.every("positions")],
            password=form.password,
            by=by,
            at=now(),
            zone=page.settings.zone,
        )
        return "The retest is open as planned; the first result stays in the record."

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
        return coupon_page(page, records, by, code, Opened(form, reading, typed, refusal))
    return page.see_other("/coupons", coupon, notice=notice)


def _stands(verdict: str) -> str:
    return {
        "conforms": "conforms",
        "does_not_conform": "does not conform",
        "not_proven": "is not proven",
    }[verdict]
