"""A load's furnace record: upload, preview, keep; its points, its still picture, its original."""

from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Query, Response
from fastapi.responses import JSONResponse
from starlette.datastructures import UploadFile

from app.audit.actor import Actor
from app.database import Database
from app.documents.logger_preview import Preview, sniff
from app.errors import NotFound, Refusal
from app.loads import picture, queries, service
from app.loads.errors import FileInUse
from app.loads.forms import KeepForm
from app.loads.record_wanted import Wanted, guessed_columns, refuse_known_file, wanted_of
from app.loads.records import FurnaceRecord, RecordVerdict
from app.loads.trace_store import unpack_file, unpack_trace
from app.loads.uploads import Upload, Uploads, upload_folder
from app.people.rights import Act, require
from app.people.signed_in import SignedIn
from app.web.entries import kept
from app.web.forms import TypedForm, parse
from app.web.page import Page, PageMaker, Records, now

router = APIRouter()

# An image of its own: nothing may run or load in it; matplotlib's own styles are inline.
_STILL_POLICY = "default-src 'none'; style-src 'unsafe-inline'"
_lines: picture.Shelf[picture.Drawn] = picture.Shelf(2)
_stills: picture.Shelf[bytes] = picture.Shelf(24)


@router.get("/loads/{code:path}/record")
def show_record_form(
    page: Page, records: Records, by: SignedIn, code: str, upload: str = ""
) -> Response:
    """The form to choose a logger's file; with ``upload``, the preview of one that waits."""
    require(by, Act.IMPORT_RECORD)
    if upload:
        try:
            waiting = _uploads(page).find(upload, load_code=code, person_id=by.id)
        except NotFound as refusal:
            return _choose_page(page, records, code, refusal=refusal)
        return _preview_page(page, records, waiting)
    return _choose_page(page, records, code)


@router.post("/loads/{code:path}/record")
def submit_record_file(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Take a logger's file for a look; nothing of it is on record yet."""
    require(by, Act.IMPORT_RECORD)
    try:
        waiting = _take(page, records, by, code, typed.files.get("file"))
    except Refusal as refusal:
        return _choose_page(page, records, code, refusal=refusal)
    return page.see_other(f"/loads/{quote(code, safe='')}/record?upload={waiting.token}")


@router.post("/loads/{code:path}/record/keep")
def submit_record(
    page: Page, records: Records, by: SignedIn, code: str, typed: TypedForm
) -> Response:
    """Read the waiting file whole, judge it and keep it; a refusal shows the preview again."""
    uploads = _uploads(page)
    try:
        waiting = uploads.find(typed.get("upload", ""), load_code=code, person_id=by.id)
    except NotFound as refusal:
        return _choose_page(page, records, code, refusal=refusal)
    try:
        form = parse(KeepForm, typed)
        judged = service.import_record(
            records,
            code,
            uploads.path(waiting),
            form.columns(typed),
            file_name=waiting.file_name,
            by=by,
            at=now(),
            zone=page.settings.zone,
            reason=form.reason,
            max_bytes=page.settings.upload_limit_mb * 1_000_000,
        )
    except Refusal as refusal:
        return _preview_page(page, records, waiting, typed=dict(typed), refusal=refusal)
    uploads.drop(waiting.token)
    verdict = judged.verdict.replace("_", " ")
    return page.see_other(
        "/loads", code, notice=f"The record {waiting.file_name} is kept; it {_said(verdict)}."
    )


def _said(verdict: str) -> str:
    return "is not proven" if verdict == "not proven" else verdict


def _uploads(page: PageMaker) -> Uploads:
    settings = page.settings
    return Uploads(upload_folder(settings), limit_bytes=settings.upload_limit_mb * 1_000_000)


def _take(
    page: PageMaker, records: Database, by: Actor, code: str, file: UploadFile | None
) -> Upload:
    """The uploaded file, waiting.

    Raises:
        Refusal: no file was chosen, it cannot be read at all, or it is another load's record.
    """
    if file is None or not file.filename:
        sentence = "Choose the logger's file first."
        raise Refusal(sentence, fields={"file": sentence})
    with records.read() as session:
        load = queries.load(session, code)
    uploads = _uploads(page)
    waiting = uploads.take(
        file.file,
        file_name=file.filename.replace("\\", "/").rsplit("/", 1)[-1],
        load_code=code,
        person_id=by.id,
        now_s=now().timestamp(),
    )
    try:
        with records.read() as session:
            refuse_known_file(session, waiting.sha256, load=load)
        _refuse_unreadable(sniff(uploads.path(waiting), filename=waiting.file_name))
    except Refusal:
        uploads.drop(waiting.token)
        raise
    return waiting


def _refuse_unreadable(seen: Preview) -> None:
    """Refuse what has no column that looks like the time, or is no table at all."""
    if seen.layout is None:
        sentence = seen.refusal or "No column of the file looks like the time."
        raise Refusal(sentence, fields={"file": sentence})


def _choose_page(
    page: PageMaker, records: Database, code: str, *, refusal: Refusal | None = None
) -> Response:
    with records.read() as session:
        load = queries.load(session, code)
        wanted = wanted_of(session, load)
    return page.show(
        "loads/record.html",
        load=load,
        current=wanted.current,
        limit_mb=page.settings.upload_limit_mb,
        **kept(refusal=refusal),
        first_use=refusal.load_code if isinstance(refusal, FileInUse) else None,
    )


def _preview_page(
    page: PageMaker,
    records: Database,
    waiting: Upload,
    *,
    typed: dict[str, str] | None = None,
    refusal: Refusal | None = None,
) -> Response:
    with records.read() as session:
        load = queries.load(session, waiting.load_code)
        wanted = wanted_of(session, load)
    seen = sniff(_uploads(page).path(waiting), filename=waiting.file_name)
    return page.show(
        "loads/preview.html",
        load=load,
        upload=waiting,
        seen=seen,
        columns=[(name, name) for name in seen.columns],
        channels=_channel_rows(wanted),
        current=wanted.current,
        **kept(_guessed(seen, wanted) if typed is None else typed, refusal),
        first_use=refusal.load_code if isinstance(refusal, FileInUse) else None,
    )


def _channel_rows(wanted: Wanted) -> list[dict[str, Any]]:
    """Each channel that a column is asked for, in words."""
    rows: list[dict[str, Any]] = [
        {
            "field": f"column:{one.channel}",
            "label": f"{one.channel}, {one.station}",
            "hint": f"{'load' if one.required else 'deciding nothing'}, sensor {one.code}",
            "required": one.required,
        }
        for one in wanted.channels
    ]
    if wanted.vacuum is not None:
        rows.append(
            {
                "field": f"column:{wanted.vacuum}",
                "label": f"{wanted.vacuum}, bag vacuum",
                "hint": "kPa below ambient",
                "required": True,
            }
        )
    return rows


def _guessed(seen: Preview, wanted: Wanted) -> dict[str, str]:
    """The form filled in as the file seems to be."""
    guess: dict[str, str] = {}
    if seen.layout is not None:
        guess = {
            "time_column": seen.layout.time_column or "",
            "time_kind": seen.layout.time_kind,
            "temperature_unit": seen.layout.temperature_unit,
        }
    columns = guessed_columns(seen.columns, wanted)
    return guess | {f"column:{channel}": column for channel, column in columns.items()}


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
    """The logger's file as it was uploaded: of the record that stands, or of a replaced one."""
    with records.read() as session:
        load = queries.load(session, code)
        known = queries.records(session, load.id)
        record = next((one for one in known if sha256 in (None, one.file_sha256)), None)
        if record is None:
            raise NotFound(f"Load {code} has no such file on record.")
        packed, size = queries.stored_file(session, record.file_sha256)
    name = quote(record.file_name, safe="")
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
