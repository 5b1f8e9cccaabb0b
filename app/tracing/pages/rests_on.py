"""What rests on a table, cycle, procedure or mapping."""

from fastapi import APIRouter, Response

from app.people.signed_in import SignedIn
from app.release.rules.gates import address
from app.requirements.queries import drafts
from app.tracing.queries.rests_on import resting_on
from app.tracing.rules import kind_words
from app.web.page import Page, Records

router = APIRouter()


@router.get("/rests-on/{code:path}")
def show_resting(page: Page, records: Records, by: SignedIn, code: str) -> Response:
    """Loads, furnaces or records that used a revision of the paper, newest first."""
    with records.read() as session:
        hidden = [one.id for one in drafts(session) if one.is_hidden_from(by)]
        found = resting_on(session, code.upper(), hidden=hidden)
    lines = [(one, kind_words(one.kind), address(one.kind, one.code)) for one in found.newest]
    place = address(found.kind.value.replace(" ", "_"), found.code)
    return page.show("tracing/rests_on.html", found=found, lines=lines, place=place)
