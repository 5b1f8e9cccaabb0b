"""All panels, newest first, narrowed to a standing where asked."""

from fastapi import APIRouter, Response

from app.people.rights import Act, may
from app.people.signed_in import SignedIn
from app.release.rules.standing import Standing
from app.tracing.forms import place_in_list
from app.tracing.queries import lists
from app.web.page import Page, Records

router = APIRouter()


@router.get("/panels")
def show_panels(
    page: Page,
    records: Records,
    by: SignedIn,
    standing: str = "",
    before: str = "",
) -> Response:
    """Panels with where each stands; an unknown standing shows them all."""
    asked = Standing(standing) if standing in set(Standing) else None
    with records.read() as session:
        part = lists.panel_page(
            session, zone=page.settings.zone, standing=asked, before=place_in_list(before)
        )
    narrowed = f"standing={asked.value.replace(' ', '+')}&" if asked else ""
    return page.show(
        "tracing/panels.html",
        lines=part.lines,
        standing=asked.value if asked else "",
        standings=[(each.value, each.value) for each in Standing],
        may_register=may(by, Act.RECEIVE_MATERIAL),
        is_first=not before,
        next_url=f"/panels?{narrowed}before={part.before}" if part.before else None,
    )
