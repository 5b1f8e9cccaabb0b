"""A record that grows, watched: the page, what its script asks for, and closing it by hand."""

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query, Request, Response
from fastapi.responses import JSONResponse

from app.database import Database
from app.errors import NotFound, Refusal
from app.loads import picture, queries, service
from app.loads.live import live_queries
from app.loads.live.live_forms import ClosingForm
from app.loads.live.live_points import drawable_of, new_points, still_of, whole_points
from app.loads.live.live_state import live_state
from app.loads.live.live_watch import Watch
from app.loads.pages.looking_over import Looking
from app.people.rights import Act, may
from app.people.signed_in import SignedIn
from app.web.entries import kept
from app.web.forms import TypedForm, parse
from app.web.page import Page, PageMaker, Records, now

router = APIRouter()

# An image of its own: nothing may run or load in it; matplotlib's own styles are inline.
_STILL_POLICY = "default-src 'none'; style-src 'unsafe-inline'"
_AGAIN_S = 60
ASKED_EVERY_S = 4.0
"""How often the page's script asks, while it is answered."""
_lines: picture.Shelf[picture.Drawn] = picture.Shelf(2)
_stills: picture.Shelf[bytes] = picture.Shelf(4)


async def _watch(request: Request) -> Watch:
    watch: Watch = request.app.state.watch
    return watch


Watching = Annotated[Watch, Depends(_watch)]


@router.get("/loads/{code:path}/live")
def show_live(
    page: Page, records: Records, watch: Watching, by: SignedIn, code: str, *, again: bool = False
) -> Response:
    """The growing record now; with ``again`` a browser without script loads it every minute."""
    return _live_page(page, records, watch, by=by, code=code, again=again)


def _live_page(
    page: PageMaker,
    records: Database,
    watch: Watch,
    *,
    by: SignedIn,
    code: str,
    again: bool = False,
    typed: dict[str, str] | None = None,
    refusal: Refusal | None = None,
) -> Response:
    with records.read() as session:
        load = queries.load(session, code)
        state = live_state(session, load, watch=watch, now=now(), zone=page.settings.zone)
    return page.show(
        "loads/live.html",
        load=load,
        state=state,
        again_s=_AGAIN_S if again else None,
        every_ms=round(ASKED_EVERY_S * 1000),
        may_close=may(by, Act.IMPORT_RECORD),
        **kept(typed, refusal),
    )


@router.get("/loads/{code:path}/live/state")
def show_live_state(
    page: Page,
    records: Records,
    watch: Watching,
    by: SignedIn,
    code: str,
    *,
    after: Annotated[int | None, Query(ge=0)] = None,
) -> Response:
    """What the page's script asks for: the part of the page that changes, and rows it has not."""
    at = now()
    with records.read() as session:
        load = queries.load(session, code)
        state = live_state(session, load, watch=watch, now=at, zone=page.settings.zone)
        if state is None:
            raise NotFound(f"No logger has opened a record for load {code}.")
        rows = None
        live = live_queries.live_of(session, load.id)
        if after is not None and live is not None and state.growing and state.look is not None:
            rows = new_points(watch.grown(session, live), state.look, after=after)
    part: Any = page.show("loads/_live_state.html", load=load, state=state)
    return JSONResponse(
        {
            "at": at.isoformat(),
            "html": bytes(part.body).decode(),
            "alerts": [{"key": one.key, "text": one.text} for one in state.alerts],
            "headline": state.headline,
            "growing": state.growing,
            "drawable": bool(state.facts),
            "rows": rows,
        }
    )


@router.get("/loads/{code:path}/live/points")
def show_live_points(
    page: Page,
    records: Records,
    watch: Watching,
    by: SignedIn,
    code: str,
    *,
    width: int = 1000,
    from_s: Annotated[float | None, Query(alias="from", allow_inf_nan=False)] = None,
    to_s: Annotated[float | None, Query(alias="to", allow_inf_nan=False)] = None,
) -> Response:
    """The points of the growing record's picture, and the number of the row that comes next."""
    return JSONResponse(_points(page, records, watch, code, span=(from_s, to_s), width=width))


def _points(
    page: PageMaker,
    records: Database,
    watch: Watch,
    code: str,
    *,
    span: tuple[float | None, float | None],
    width: int,
) -> dict[str, Any]:
    with records.read() as session:
        drawable = drawable_of(session, code, watch=watch, now=now(), zone=page.settings.zone)
    return whole_points(drawable, _lines, span=span, width=width)


@router.get("/loads/{code:path}/live.svg")
def show_live_still(
    page: Page, records: Records, watch: Watching, by: SignedIn, code: str
) -> Response:
    """The growing record as a still picture, for paper and for a browser without script."""
    with records.read() as session:
        drawable = drawable_of(session, code, watch=watch, now=now(), zone=page.settings.zone)
    content = _stills.get(drawable.key, lambda: still_of(drawable, _lines))
    headers = {"Content-Security-Policy": _STILL_POLICY}
    return Response(content, media_type="image/svg+xml", headers=headers)


@router.post("/loads/{code:path}/live/close")
def submit_closing(
    page: Page,
    records: Records,
    watch: Watching,
    looking: Looking,
    by: SignedIn,
    *,
    code: str,
    typed: TypedForm,
) -> Response:
    """Close the growing record by hand and take it in as the furnace record."""
    try:
        form = parse(ClosingForm, typed)
        closed = service.close_by_hand(
            records, code, reason=form.reason, by=by, at=now(), zone=page.settings.zone
        )
    except Refusal as refusal:
        return _live_page(
            page, records, watch, by=by, code=code, typed=dict(typed), refusal=refusal
        )
    if closed.verdict is None:
        not_made = Refusal(
            f"The growing record is closed, but no furnace record was made of it: {closed.why_not}"
        )
        return _live_page(page, records, watch, by=by, code=code, refusal=not_made)
    looking.begin(code)
    verdict = closed.verdict.replace("_", " ")
    said = "is not proven" if verdict == "not proven" else verdict
    return page.see_other(
        "/loads", code, notice=f"The growing record is closed and kept; it {said}."
    )
