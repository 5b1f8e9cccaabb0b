"""Correct what was entered of a lot, or answer that; both are shown on the lot's page."""

from fastapi import APIRouter, Response

from app.equipment.pages.shared import sent_file
from app.errors import Refusal
from app.panels.forms import LotAnswerForm, LotCorrectionForm
from app.panels.pages.lot_shown import OpenedForm, lot_page
from app.people.signed_in import SignedIn
from app.release import service
from app.web.forms import TypedForm, parse
from app.web.page import Page, Records, now

router = APIRouter()


@router.post("/lots/{code:path}/correct")
def submit_lot_correction(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Ask for a correction; the lot and what rests on it are held at once."""
    lot = code.upper()
    try:
        form = parse(LotCorrectionForm, typed)
        wanted = service.Wanted(
            material=form.material(),
            cast=form.cast,
            certificate=form.certificate,
            reason=form.reason,
            evidence=form.evidence,
            seen=form.seen,
            file=sent_file(typed),
        )
        _, count = service.ask_lot_correction(records, lot, wanted, by=by, at=now())
    except Refusal as refusal:
        return lot_page(page, records, by, lot, opened=OpenedForm("ask", typed, refusal))
    told = "1 panel was" if count == 1 else f"{count} panels were"
    notice = (
        f"Lot {lot} is on hold, and {told} put on hold with it. The correction waits for a second "
        "person; until then the lot stands as it was entered."
    )
    return page.see_other("/lots", lot, notice=notice)


@router.post("/lots/{code:path}/correction-answer")
def submit_lot_answer(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Approve or decline a correction, signed."""
    lot = code.upper()
    try:
        form = parse(LotAnswerForm, typed)
        approved = form.answer == "approve"
        count = service.answer_lot_correction(
            records,
            lot,
            form.correction,
            approved=approved,
            reason=form.reason,
            password=form.password,
            by=by,
            at=now(),
            zone=page.settings.zone,
        )
    except Refusal as refusal:
        return lot_page(page, records, by, lot, opened=OpenedForm("answer", typed, refusal))
    stays = "The hold stays until a supervisor lifts it."
    if not approved:
        return page.see_other("/lots", lot, notice=f"The correction is declined. {stays}")
    coupons = "1 coupon" if count == 1 else f"{count} coupons"
    notice = (
        f"Lot {lot} is corrected, and {coupons} with it; what was judged by the old figures is "
        f"judged again. {stays}"
    )
    return page.see_other("/lots", lot, notice=notice)
