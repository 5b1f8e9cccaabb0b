"""Checks on reference blocks."""

from fastapi import APIRouter, Response

from app.bench import service
from app.bench.forms import check_from, number_of_fields
from app.bench.pages.asked import Asked
from app.bench.pages.session import session_page
from app.errors import Refusal
from app.people.signed_in import SignedIn
from app.web.forms import TypedForm
from app.web.page import Page, Records, now

router = APIRouter()


@router.post("/bench/sessions/{session_id}/check")
def submit_check(
    page: Page, records: Records, by: SignedIn, session_id: int, typed: TypedForm
) -> Response:
    """Record a check on a reference block; the same form with one more field, if asked."""
    fields = number_of_fields(typed)
    asked = Asked(check=typed.get("moment", ""), fields=fields, typed=typed)
    if "more" in typed:
        more = Asked(check=asked.check, fields=fields + 1, typed=typed)
        return session_page(page, records, by, session_id, more)
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
        return session_page(page, records, by, session_id, again)
    return page.see_other("/bench/sessions", str(session_id), notice=finding.text)
