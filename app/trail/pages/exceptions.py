"""What stands out on the trail since it was last reviewed."""

from collections import Counter
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Query, Response

from app.people.rights import Act, may
from app.people.signed_in import SignedIn
from app.release.rules.gates import address
from app.tracing.forms import place_in_list
from app.tracing.queries.dossier import people_by_id
from app.trail.queries import reviews
from app.trail.queries.exceptions import among, newest, totals
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
    before: Annotated[str, Query()] = "",
) -> Response:
    """Exceptions after the last reviewed entry, newest first; then those that reviews left.

    Of one kind, if asked. A page looks at a stated number of entries, however long the trail.
    """
    wanted = Kind(kind) if kind in set(Kind) else None
    with records.read() as session:
        reviewed = reviews.last_reviewed(session)
        start = place_in_list(before)
        end = reviews.last_entry(session)
        top = end if start is None else min(start - 1, end)
        looked = newest(session, reviewed + 1, top, most=SHOWN, kind=wanted)
        counted = totals(session, reviewed + 1, end)
        places = reviews.left_open(session) if start is None else []
        shown = set(places[:SHOWN])
        left = [e for e in among(session, sorted({n for n, _ in shown})) if e.place in shown]
        names = {name.user: name.full for name in people_by_id(session).values()}
    if start is None and looked.onward is None and wanted is None:
        # Every entry was looked at, so that those told by what they bound are counted too.
        counted |= Counter(each.kind for each in looked.found)
    return page.show(
        "trail/exceptions.html",
        reviewed=reviewed,
        end=end,
        top=top,
        lowest=looked.onward or reviewed + 1,
        counted=[(each.value, counted[each]) for each in Kind if counted.get(each)],
        found=_lines(looked.found, names),
        left=_lines([e for e in left if wanted in {None, e.kind}], names),
        left_further=max(0, len(places) - SHOWN),
        kinds=[(each.value, each.value) for each in Kind],
        typed={"kind": kind},
        next_url=_older(looked.onward, wanted),
        may_review=may(by, Act.REVIEW_TRAIL),
    )


def _older(onward: int | None, kind: Kind | None) -> str | None:
    """The page that goes on below that entry, of the same kind."""
    if onward is None:
        return None
    asked = {"before": str(onward), **({} if kind is None else {"kind": kind.value})}
    return f"/trail/exceptions?{urlencode(asked)}"


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
