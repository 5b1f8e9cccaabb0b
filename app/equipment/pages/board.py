"""What is due of all equipment, on one page."""

from fastapi import APIRouter, Response

from app.equipment import queries
from app.people.rights import Act, may
from app.people.signed_in import SignedIn
from app.web.page import Page, Records

router = APIRouter()


@router.get("/equipment/due")
def show_due_board(page: Page, records: Records, by: SignedIn) -> Response:
    """Everything that is not simply in date, the most urgent first."""
    with records.read() as session:
        return page.show(
            "equipment/due.html",
            lines=queries.due_board(session, at=page.shop_time()),
            waiting=len(queries.waiting_reports(session)),
            may_review=may(by, Act.REVIEW_REPORT),
        )
