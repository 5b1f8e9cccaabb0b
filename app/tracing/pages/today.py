"""Today: what waits for the visitor, by role; oldest and most urgent first; nothing else."""

from fastapi import APIRouter, Response

from app.loads.live.live_state import growing_states
from app.loads.pages.live import Watching
from app.people.rights import Act, may
from app.people.signed_in import SignedIn
from app.release.queries.decided import held_in_use
from app.tracing.queries.holds_waiting import not_kept_apart
from app.tracing.queries.today import desks
from app.web.page import Page, Records, now

router = APIRouter()


@router.get("/")
def show_today(page: Page, records: Records, watch: Watching, by: SignedIn) -> Response:
    """What grows in the furnaces now, and what waits."""
    at, zone = now(), page.settings.zone
    with records.read() as session:
        growing = growing_states(session, watch=watch, now=at, zone=zone)
        waiting = desks(session, by, now=at, zone=zone)
        astray = not_kept_apart(session) if may(by, Act.BRING_PANEL) else []
        recalled = len(held_in_use(session))
    return page.show(
        "tracing/today.html",
        desks=waiting,
        growing=growing,
        astray=astray,
        recalled=recalled,
    )
