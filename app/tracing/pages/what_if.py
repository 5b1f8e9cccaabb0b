"""What a revision of an acceptance table would change; never a record."""

from fastapi import APIRouter, Response

from app.people.signed_in import SignedIn
from app.tracing.queries.what_if import what_if
from app.web.page import Page, Records, now

router = APIRouter()


@router.get("/what-if")
def show_what_if(page: Page, records: Records, by: SignedIn, table: str, revision: str) -> Response:
    """Coupons judged under other revisions, judged again under this one; nothing is written."""
    with records.read() as session:
        found = what_if(session, table.upper(), revision, at=now(), zone=page.settings.zone)
    return page.show("tracing/what_if.html", found=found, shown=found.revision)
