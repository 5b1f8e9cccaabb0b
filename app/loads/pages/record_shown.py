"""A furnace record that is in: its points, its still picture, its originals, who compared it."""

from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Query, Response
from fastapi.responses import JSONResponse

from app.audit.actor import Actor
from app.database import Database
from app.documents.logger.logger_files import LoggerFile
from app.documents.logger.logger_mapping import mapping_from_json
from app.errors import NotFound, Refusal
from app.loads import picture, queries, service
from app.loads.importing.layout import layout_findings, stated
from app.loads.importing.look import as_read, first_lines
from app.loads.importing.record_forms import ConfirmationForm
from app.loads.record_queries import confirmation_of, file_of_load, files_of
from app.loads.records import FurnaceRecord, RecordVerdict
from app.loads.trace_store import unpack_file, unpack_trace
from app.people import queries as people
from app.people.records import Meaning
from app.people.rights import Act, may
from app.people.signed_in import SignedIn
from app.requirements.rules import mapping_parts
from app.web.entries import kept
from app.web.forms import TypedForm, parse
from app.web.page import Page, PageMaker, Records, now

router = APIRouter()

# An image of its own: nothing may run or load in it; matplotlib's own styles are inline.
_STILL_POLICY = "default-src 'none'; style-src 'unsafe-inline'"
_lines: picture.Shelf[picture.Drawn] = picture.Shelf(2)
_stills: picture.Shelf[bytes] = picture.Shelf(24)


@router.get("/loads/{code:path}/record/points")
def show_points(
    records: Records,
    by: SignedIn,
    code: str,
    *,
    width: int = 1000,
    from_s: Annotated[float | None, Query(alias="from", allow_inf_nan=False)] = None,
    to_s: Annotated[float | None, Query(alias="to", allow_inf_nan=False)] = None,
) -> Response:
    """The points of the record that stands, for the live picture."""
    record, verdict, labels = _standing(records, code)
    lines = _drawn(records, record, verdict)
    shown = picture.points(lines, verdict.paper, labels, span=(from_s, to_s), width=width)
    return JSONResponse(shown)


@router.get("/loads/{code:path}/record.svg")
def show_still(records: Records, by: SignedIn, code: str) -> Response:
    """The record that stands as a still picture."""
    record, verdict, labels = _standing(records, code)

    def make() -> bytes:
        return picture.still(_drawn(records, record, verdict), verdict.paper, labels)

    content = _stills.get((record.trace_sha256, verdict.paper_sha256), make)
    headers = {"Content-Security-Policy": _STILL_POLICY}
    return Response(content, media_type="image/svg+xml", headers=headers)


@router.get("/loads/{code:path}/record/original")
def show_original(records: Records, by: SignedIn, code: str, sha256: str | None = None) -> Response:
    """A logger's file as it was uploaded: of the record that stands, or of a replaced one."""
    with records.read() as session:
        load = queries.load(session, code)
        found = file_of_load(session, load.id, sha256)
        if found is None:
            raise NotFound(f"Load {code} has no such file on record.")
        file_name, digest = found
        packed, size = queries.stored_file(session, digest)
    name = quote(file_name, safe="")
    return Response(
        unpack_file(packed, size_bytes=size),
        media_type="application/octet-stream",
        headers={"Content-Disposition": f"attachment; filename*=UTF-8''{name}"},
    )


def _standing(records: Database, code: str) -> tuple[FurnaceRecord, RecordVerdict, picture.Labels]:
    """The record and verdict that stand, with the words beside the lines.

    Raises:
        NotFound: the load has no record yet.
    """
    with records.read() as session:
        load = queries.load(session, code)
        record = queries.current_record(session, load.id)
        verdict = None if record is None else queries.latest_verdict(session, record.id)
        if record is None or verdict is None:
            raise NotFound(f"Load {code} has no furnace record yet.")
        stations = {one.channel: one.station for one in queries.seats(session, load.id).sensors}
    return record, verdict, picture.Labels(stations, record.starts_at)


def _drawn(records: Database, record: FurnaceRecord, verdict: RecordVerdict) -> picture.Drawn:
    def make() -> picture.Drawn:
        with records.read() as session:
            content = queries.trace_content(session, record.id)
        return picture.drawn(unpack_trace(content), verdict.cycle_as_judged)

    return _lines.get((record.trace_sha256, verdict.paper_sha256), make)


@router.get("/loads/{code:path}/record/layout")
def show_layout(page: Page, records: Records, by: SignedIn, code: str) -> Response:
    """How the record that stands was read, to be compared with its file by a second person."""
    return _layout_page(page, records, by, code)


@router.post("/loads/{code:path}/record/layout")
def submit_layout(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Sign that the columns as read were compared with the file."""
    try:
        form = parse(ConfirmationForm, typed)
        service.confirm_layout(
            records, code, record_id=form.record, password=form.password, by=by, at=now()
        )
    except Refusal as refusal:
        return _layout_page(page, records, by, code, refusal=refusal)
    return page.see_other("/loads", code, notice="The layout of the record is confirmed.")


def _layout_page(
    page: PageMaker,
    records: Database,
    by: Actor,
    code: str,
    *,
    refusal: Refusal | None = None,
) -> Response:
    with records.read() as session:
        load = queries.load(session, code)
        record = queries.current_record(session, load.id)
        if record is None:
            raise NotFound(f"Load {code} has no furnace record yet.")
        finding = layout_findings(session, [load.id])[load.id]
        sources = files_of(session, record)
        content = [queries.stored_file(session, digest) for _, digest in sources]
        names = people.names(session)
        confirmed = confirmation_of(session, record.id)
    files = [
        LoggerFile(name, unpack_file(packed, size_bytes=size))
        for (name, _), (packed, size) in zip(sources, content, strict=True)
    ]
    by_mapping = "channels" in record.layout
    encoding = record.layout.get("encoding") if by_mapping else "utf-8"
    return page.show(
        "loads/layout.html",
        load=load,
        record=record,
        finding=finding,
        files=sources,
        written=[(one.name, first_lines(one, encoding)) for one in files],
        as_read=as_read(
            files, mapping_from_json(record.layout, filename="the layout"), page.settings.zone
        )
        if by_mapping
        else None,
        parts=mapping_parts(record.layout) if by_mapping else (),
        stated=stated(record.layout),
        names=names,
        confirmed=confirmed,
        may_confirm=may(by, Act.CONFIRM_LAYOUT)
        and confirmed is None
        and record.mapping_revision_id is None
        and not by.is_person(record.imported_by_id),
        own=by.is_person(record.imported_by_id),
        meaning=Meaning.CONFIRMED_LAYOUT.value,
        **kept(refusal=refusal),
    )
