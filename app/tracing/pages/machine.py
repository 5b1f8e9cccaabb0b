"""Where a panel stands, for a machine that holds a token for that."""

from typing import Annotated

from fastapi import APIRouter, Response
from fastapi.responses import JSONResponse

from app.audit.identities import as_code
from app.people.machines import MachineRoute, MachineWith
from app.people.queries import MachineTokenLine
from app.people.records import Scope
from app.release.queries.panel_facts import panel_facts, panel_id
from app.release.rules.standing import standing_of
from app.web.page import Page, Records, now

router = APIRouter(route_class=MachineRoute)


@router.get("/machine/panels/{code:path}")
def show_panel_standing(
    page: Page,
    records: Records,
    machine: Annotated[MachineTokenLine, MachineWith(Scope.PANEL_STATUS)],
    code: str,
) -> Response:
    """Where the panel stands and when that was so: ``panel``, ``standing``, ``as_of`` (UTC)."""
    at = now()
    with records.read() as session:
        key = panel_id(session, as_code(code))
        facts = panel_facts(session, [key], zone=page.settings.zone)[key]
    said = {
        "panel": facts.code,
        "standing": standing_of(facts).value,
        "as_of": at.isoformat(timespec="seconds"),
    }
    return JSONResponse(said)
