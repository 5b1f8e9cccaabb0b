"""Taking a tester out of use, and letting it be used again."""

from fastapi import APIRouter, Response

from app.equipment import service
from app.equipment.forms import LiftForm, QuarantineForm
from app.equipment.pages.instruments import TESTER, instrument_page
from app.errors import Refusal
from app.people.rights import Act, require
from app.people.signed_in import SignedIn
from app.web.forms import TypedForm, parse
from app.web.page import Page, Records

router = APIRouter()


@router.post("/testers/{code:path}/quarantine")
def submit_quarantine(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Take a tester out of use."""
    require(by, Act.QUARANTINE_TESTER)
    try:
        form = parse(QuarantineForm, typed)
        service.place_quarantine(
            records, tester=code.upper(), reason=form.reason, by=by, at=page.shop_time()
        )
    except Refusal as refusal:
        return instrument_page(
            page, records, by, code, TESTER, typed=typed, refusal=refusal, part="quarantine"
        )
    notice = f"{code.upper()} is out of use: it takes no check and no reading until that is lifted."
    return page.see_other("/testers", code.upper(), notice=notice)


@router.post("/testers/{code:path}/quarantine/lift")
def submit_lift(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Let a tester be used again, signed by a second person."""
    require(by, Act.LIFT_QUARANTINE)
    try:
        form = parse(LiftForm, typed)
        service.lift_quarantine(
            records,
            tester=code.upper(),
            reason=form.reason,
            password=form.password,
            by=by,
            at=page.shop_time(),
        )
    except Refusal as refusal:
        return instrument_page(
            page, records, by, code, TESTER, typed=typed, refusal=refusal, part="lift"
        )
    notice = f"{code.upper()} may be used again; its next session begins with an opening check."
    return page.see_other("/testers", code.upper(), notice=notice)
