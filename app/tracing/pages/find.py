"""Find anything by its identity, typed or scanned."""

from urllib.parse import quote

from fastapi import APIRouter, Response

from app.people.signed_in import SignedIn
from app.release.rules.check_line import is_whole_line
from app.release.rules.gates import address
from app.tracing.queries import lists
from app.tracing.rules import kind_words, scanned
from app.web.page import Page, Records
from app.web.words import moment_words

router = APIRouter()


@router.get("/find")
def show_found(
    page: Page, records: Records, by: SignedIn, q: str = "", after: str | None = None
) -> Response:
    """Straight to the thing of that identity; else those that begin with it; else says so.

    A printed dossier's check line leads to what is said of the paper.
    """
    if is_whole_line(q):
        return page.see_other(f"/check-paper?line={quote(q.strip())}")
    code = scanned(q)
    zone = page.settings.zone
    with records.read() as session:
        exact = lists.find_identity(session, code) if code and after is None else None
        if exact is not None:
            return page.see_other(address(exact.kind, exact.code))
        matches = lists.identities_from(session, code, after=after) if code else []
        shown = matches[: lists.FOUND_SHOWN]
        panels = lists.panels_of(session, [m.code for m in shown if m.kind == "panel"], zone=zone)
    found = [
        {
            "kind": kind_words(match.kind),
            "identity": match.code,
            "words": f"on record since {moment_words(match.given_at, zone)}",
            "href": address(match.kind, match.code),
            "standing": panels[match.code].standing.value if match.code in panels else None,
        }
        for match in shown
    ]
    more = len(matches) > len(shown)
    return page.show(
        "web/find.html",
        asked=q.strip()[:80],
        found=found,
        next_url=f"/find?q={quote(code)}&after={quote(shown[-1].code)}" if more else None,
    )
