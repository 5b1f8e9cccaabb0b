"""Is this paper still right? A printed dossier's check line, held against the record."""

from functools import partial

from fastapi import APIRouter, Response

from app.errors import Refusal
from app.people.rights import Act, may
from app.people.signed_in import SignedIn
from app.release.rules.check_line import read_line
from app.release.rules.standing import ENDED
from app.release.service.papers import ask_paper
from app.web.page import Page, Records
from app.web.words import moment_words

router = APIRouter()

_LONGEST = 200
"""Of what was keyed so much is shown again; no line is as long."""


@router.get("/check-paper")
def show_paper_check(
    page: Page, records: Records, by: SignedIn, line: str = "", panel: str = ""
) -> Response:
    """The form for a check line, and the answer to the one that was keyed; nothing is kept."""
    zone = page.settings.zone
    answer, refusal = None, None
    if line.strip():
        try:
            keyed = read_line(line, panel)
            with records.read() as session:
                moment = partial(moment_words, zone=zone)
                answer = ask_paper(session, keyed, zone=zone, moment=moment)
        except Refusal as refused:
            refusal = refused
    return page.show(
        "release/check_paper.html",
        status=refusal.status if refusal else 200,
        answer=answer,
        may_hold=answer is not None and may(by, Act.PLACE_HOLD) and answer.standing not in ENDED,
        typed={"line": line.strip()[:_LONGEST], "panel": panel.strip()[:_LONGEST]},
        problems=refusal.fields if refusal else {},
        sentence=refusal.sentence if refusal else None,
    )
