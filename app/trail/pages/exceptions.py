"""What stands out on the trail since it was last reviewed."""

from typing import Annotated

from fastapi import APIRouter, Query, Response

from app.people.rights import Act, may
from app.people.signed_in import SignedIn
from app.release.rules.gates import address
from app.tracing.forms import place_in_list
from app.tracing.queries.dossier import people_by_id
from app.trail.queries import reviews
from app.trail.queries.exceptions import among, outstanding
from app.trail.rules.exceptions import Kind, Outstanding
from app.web.page import Page, Records

router = APIRouter()

SHOWN = 200


@router.get("/trail/exceptions")
def show_exceptions(
    page: Page,
    records: Records,
    by: SignedIn,
    kind: Annotated[str, Query()] = "",
    after: Annotated[str, Query()] = "",
) -> Response:
    """Exceptions after the last reviewed entry, and those that reviews left; one kind if asked."""
    with records.read() as session:
        reviewed = reviews.last_reviewed(session)
        start = place_in_list(after)
        end = reviews.last_entry(session)
        first = reviewed if start is None else max(start, reviewed)
        found = outstanding(session, first + 1, end, most=SHOWN)
        places = reviews.left_open(session) if start is None else []
        left = [e for e in among(session, sorted({n for n, _ in places})) if e.place in places]
        names = {name.user: name.full for name in people_by_id(session).values()}
    return page.show(
        "trail/exceptions.html",
        reviewed=reviewed,
        end=end,
        found=_lines([e for e in found if not kind or e.kind == kind], names),
        left=_lines([e for e in left if not kind or e.kind == kind], names),
        kinds=[(each.value, each.value) for each in Kind],
        typed={"kind": kind},
        next_url=f"/trail/exceptions?after={found[-1].entry.number}"
        if len(found) >= SHOWN
        else None,
        may_review=may(by, Act.REVIEW_TRAIL),
    )


def _lines(found: list[Outstanding], names: dict[str, str]) -> list[tuple[Outstanding, str, str]]:
    """Each exception with who and the page of what it is about."""
    return [
        (
            each,
            names.get(each.entry.by, each.entry.by),
            address(each.entry.about_kind, each.entry.about_code),
        )
        for each in found
    ]
