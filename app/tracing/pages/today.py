"""Today: what waits for the visitor, by role; oldest and most urgent first; nothing else."""

from fastapi import APIRouter, Response

from app.people.signed_in import SignedIn
from app.tracing.queries.today import desks
from app.web.page import Page, Records, now

router = APIRouter()


@router.get("/")
def show_today(page: Page, records: Records, by: SignedIn) -> Response:
    """What waits."""
    with records.read() as session:
        waiting = desks(session, by, now=now(), zone=page.settings.zone)
    return page.show("tracing/today.html", desks=waiting)
