"""Where a logger sends the rows of a growing record: JSON in, JSON out, opened by its token alone.

No sign-in opens these addresses and the token opens no others, so no form's token is asked for: a
browser does not send the header by itself.
"""

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import JSONResponse

from app.errors import NotAllowed, Refusal
from app.loads import queries, service
from app.loads.errors import RowsOutOfStep, TooManyAtOnce, UnknownLogger
from app.loads.live import live_queries
from app.loads.live.live_pace import Pace
from app.loads.live.live_queries import Logger
from app.loads.live.live_rows import MOST_BYTES, batch_of, opening_of, whole_number_of
from app.loads.pages.looking_over import Looking
from app.web.page import Page, Records, now

_pace = Pace(most=60, per_s=10.0)

PATH = "/live/"
"""Every address here begins so; what is refused below it is said by :func:`said_in_json`."""


def said_in_json(refusal: Refusal) -> Response:
    """A refusal as a logger reads it: its sentence, and the number expected next where known."""
    said: dict[str, Any] = {"sentence": refusal.sentence}
    headers = {}
    if isinstance(refusal, RowsOutOfStep):
        said["next"] = refusal.next_row
    if isinstance(refusal, UnknownLogger):
        headers["WWW-Authenticate"] = "Bearer"
    if isinstance(refusal, TooManyAtOnce):
        headers["Retry-After"] = "1"
    return JSONResponse(said, status_code=refusal.status, headers=headers)


router = APIRouter()


def _logger(request: Request, records: Records) -> Logger:
    scheme, _, token = request.headers.get("authorization", "").partition(" ")
    at = now()
    found = None
    if scheme.lower() == "bearer" and token:
        with records.read() as session:
            found = live_queries.logger_of(session, token.strip(), at=at)
    if found is None:
        raise UnknownLogger(
            "Send a logger's token that is in force, in the header 'Authorization: Bearer ...'. An "
            "administrator issues one."
        )
    _pace.ask(found.token_id, now_s=at.timestamp())
    return found


async def _body(request: Request) -> bytes:
    parts, size = [], 0
    async for part in request.stream():
        size += len(part)
        if size > MOST_BYTES:
            raise Refusal(
                f"The body is larger than {MOST_BYTES / 1e6:g} MB; send fewer rows at once. "
                "Nothing was kept."
            )
        parts.append(part)
    return b"".join(parts)


# The token is looked at before the body is.
Sender = Annotated[Logger, Depends(_logger)]
Body = Annotated[bytes, Depends(_body)]


@router.post("/live/{code:path}/open")
def submit_live_opening(records: Records, logger: Sender, body: Body, code: str) -> Response:
    """Begin the load's growing record; the same opening again changes nothing."""
    following = service.open_live(records, code, opening_of(body), logger=logger, at=now())
    return JSONResponse({"next": following})


@router.post("/live/{code:path}/rows")
def submit_live_rows(records: Records, logger: Sender, body: Body, code: str) -> Response:
    """Keep rows; answered once they are on disk."""
    following = service.take_rows(records, code, batch_of(body), logger=logger, at=now())
    return JSONResponse({"next": following})


@router.get("/live/{code:path}/next")
def show_live_next(records: Records, logger: Sender, code: str) -> Response:
    """The number of the row expected next, and whether rows are taken."""
    with records.read() as session:
        load = queries.load(session, code)
        if load.furnace_id != logger.furnace_id:
            raise NotAllowed(f"The token of {logger.name} is for furnace {logger.furnace} only.")
        live = live_queries.live_of(session, load.id)
        rows = 0 if live is None else live_queries.row_count(session, live.id)
        closed = live is not None and live_queries.closing_of(session, live.id) is not None
        recorded = queries.current_record(session, load.id) is not None
    growing = live is not None and not closed and not recorded
    return JSONResponse({"next": rows, "open": growing})


@router.post("/live/{code:path}/close")
def submit_live_closing(
    page: Page, records: Records, looking: Looking, logger: Sender, *, body: Body, code: str
) -> Response:
    """The run is over: the record is judged and kept, or it is said why not."""
    closed = service.close_live(
        records,
        code,
        rows=whole_number_of(body, "rows"),
        logger=logger,
        at=now(),
        zone=page.settings.zone,
    )
    if closed.verdict is not None:
        looking.begin(code)
    said = {"rows": closed.rows, "verdict": closed.verdict, "why_not": closed.why_not}
    return JSONResponse(said)
