"""What a failed check of a furnace may touch."""

from fastapi import APIRouter, Response

from app.people.signed_in import SignedIn
from app.tracing.queries.affected import affected_by
from app.web.page import Page, Records

router = APIRouter()


@router.get("/furnace-checks/{key:int}/loads")
def show_affected(page: Page, records: Records, by: SignedIn, key: int) -> Response:
    """The loads since the last good check of the kind, with their panels."""
    with records.read() as session:
        found = affected_by(session, key, zone=page.settings.zone)
        return page.show("tracing/affected.html", found=found, report=found.report)
