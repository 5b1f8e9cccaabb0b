"""A load's furnace record comes in: files chosen, looked at, read whole, judged and kept."""

from typing import Annotated
from urllib.parse import quote, urlencode

from fastapi import APIRouter, Query, Request, Response
from starlette.concurrency import run_in_threadpool

from app.audit.actor import Actor
from app.database import Database, paper_text
from app.documents.logger.logger_proposal import Proposal
from app.errors import NotFound, Refusal
from app.loads import queries, service
from app.loads.errors import FileInUse
from app.loads.importing.look import AsRead, Look, as_read, glimpse, look, proposed
from app.loads.importing.read_ahead import forget, reading_of
from app.loads.importing.record_forms import BY_HAND, KeepForm, layout_chosen
from app.loads.importing.record_wanted import Chosen, Wanted, refuse_known_files, wanted_of
from app.loads.importing.sources import Brought, Source
from app.loads.importing.stated import Guess, guess_of, may_be_stated
from app.loads.importing.uploads import ArrivingFile, Upload, Uploads, upload_folder
from app.loads.pages.looking_over import Looking
from app.loads.picture import Shelf
from app.loads.record_queries import last_mapping
from app.people.records import Meaning
from app.people.rights import Act, may, require
from app.people.signed_in import SignedIn
from app.requirements import queries as requirements
from app.web.arriving import receive
from app.web.entries import kept
from app.web.forms import Typed, TypedForm, parse
from app.web.page import Page, PageMaker, Records, now

router = APIRouter()

MOST_FILES = 10
"""Files of one run, at most."""
_proposals: Shelf[Proposal] = Shelf(16)
_CHOOSE = "Choose the logger's file first."


@router.get("/loads/{code:path}/record")
def show_record_form(
    page: Page,
    records: Records,
    by: SignedIn,
    code: str,
    upload: Annotated[tuple[str, ...], Query()] = (),
) -> Response:
    """The form to choose a logger's files; with ``upload``, the preview of those that wait."""
    require(by, Act.IMPORT_RECORD)
    if not upload:
        return _choose_page(page, records, code)
    try:
        waiting = _waiting(page, by, code, upload)
    except NotFound as refusal:
        return _choose_page(page, records, code, refusal=refusal)
    return _preview_page(page, records, by, waiting)


@router.post("/loads/{code:path}/record")
async def submit_record_files(
    request: Request, page: Page, records: Records, by: SignedIn, code: str
) -> Response:
    """Take a logger's files for a look; nothing of them is on record yet."""
    require(by, Act.IMPORT_RECORD)
    uploads, arriving = _uploads(page), list[ArrivingFile]()

    def begin(file_name: str) -> ArrivingFile:
        if len(arriving) == MOST_FILES:
            sentence = f"At most {MOST_FILES} files of one run are taken; choose fewer."
            raise Refusal(sentence, fields={"file": sentence})
        arriving.append(
            uploads.begin(file_name, load_code=code, person_id=by.id, now_s=now().timestamp())
        )
        return arriving[-1]

    try:
        await receive(request, begin)
        address = await run_in_threadpool(_look_at, page, records, code, arriving)
    except Refusal as refusal:
        _drop(arriving)
        return await run_in_threadpool(_choose_page, page, records, code, refusal=refusal)
    except BaseException:
        _drop(arriving)
        raise
    return page.see_other(address)


@router.post("/loads/{code:path}/record/keep")
def submit_record(
    page: Page, records: Records, looking: Looking, by: SignedIn, code: str, *, typed: TypedForm
) -> Response:
    """Read the waiting files whole, judge them and keep them; a refusal shows the preview again.

    The same form shows the first rows in another way (``act`` is look), and carries a layout that
    was stated by hand to the form for a mapping (``act`` is mapping).
    """
    require(by, Act.IMPORT_RECORD)
    try:
        waiting = _waiting(page, by, code, typed.every("upload"))
    except NotFound as refusal:
        return _choose_page(page, records, code, refusal=refusal)
    try:
        if typed.get("act") == "look":
            return _preview_page(page, records, by, waiting, typed=typed)
        with records.read() as session:
            wanted = wanted_of(session, queries.load(session, code))
        if typed.get("act") == "mapping":
            paper = paper_text(layout_chosen(typed, wanted).paper())
            return page.see_other(f"/register/mapping?{urlencode({'paper': paper})}")
        said = _keep(page, records, by, wanted, waiting=waiting, typed=typed)
    except Refusal as refusal:
        return _preview_page(page, records, by, waiting, typed=typed, refusal=refusal)
    looking.begin(code)
    forget(waiting)
    for one in waiting:
        _uploads(page).drop(one.token)
    names = ", ".join(one.file_name for one in waiting)
    return page.see_other("/loads", code, notice=f"The record {names} is kept; it {said}.")


def _keep(
    page: PageMaker,
    records: Database,
    by: Actor,
    wanted: Wanted,
    *,
    waiting: list[Upload],
    typed: Typed,
) -> str:
    """What the record is found to be, in words, once it is kept."""
    uploads, at = _uploads(page), now()
    form = parse(KeepForm, typed)
    chosen = _chosen(records, typed, wanted)
    brought = [
        Brought(
            Source(one.file_name, uploads.path(one)),
            one.size_bytes,
            one.sha256,
            uploads.packed(one),
        )
        for one in waiting
    ]
    judged = service.import_record(
        records,
        wanted.load.code,
        brought,
        chosen,
        by=by,
        at=at,
        zone=page.settings.zone,
        reason=form.reason,
        password=form.password,
        reading=reading_of(uploads, waiting, chosen.mapping, max_bytes=_most_bytes(page)),
    )
    verdict = judged.verdict.replace("_", " ")
    return "is not proven" if verdict == "not proven" else verdict


def _chosen(records: Database, typed: Typed, wanted: Wanted) -> Chosen:
    """How the files are to be read, as the form says.

    Raises:
        Refusal: the mapping is not in force, or the layout as stated cannot be.
    """
    code = typed.get("by", BY_HAND)
    if code == BY_HAND:
        return layout_chosen(typed, wanted)
    with records.read() as session:
        in_force = requirements.mappings_in_force(session, at=now())
    for one in in_force:
        if one.code == code:
            return Chosen(requirements.mapping_of(one), one.id)
    sentence = f"The mapping {code[:60]} is not in force; choose one that is."
    raise Refusal(sentence, fields={"by": sentence})


def _most_bytes(page: PageMaker) -> int:
    return page.settings.upload_limit_mb * 1_000_000


def _uploads(page: PageMaker) -> Uploads:
    return Uploads(upload_folder(page.settings), limit_bytes=_most_bytes(page))


def _waiting(
    page: PageMaker, by: Actor, code: str, tokens: list[str] | tuple[str, ...]
) -> list[Upload]:
    """The waiting files of those secret names.

    Raises:
        NotFound: one is not here any more, or is not this person's for this load.
    """
    uploads = _uploads(page)
    return [
        uploads.find(token, load_code=code, person_id=by.id)
        for token in list(dict.fromkeys(tokens))[:MOST_FILES] or [""]
    ]


def _drop(arriving: list[ArrivingFile]) -> None:
    for one in arriving:
        one.drop()


def _look_at(page: PageMaker, records: Database, code: str, arriving: list[ArrivingFile]) -> str:
    """The address of the preview of files that have arrived.

    Raises:
        Refusal: none was chosen, they cannot be read at all, or one is another load's record.
    """
    if not arriving:
        raise Refusal(_CHOOSE, fields={"file": _CHOOSE})
    uploads = _uploads(page)
    waiting = [one.finish() for one in arriving]
    with records.read() as session:
        wanted = wanted_of(session, queries.load(session, code))
        digests = [one.sha256 for one in waiting]
        refuse_known_files(session, digests, load=wanted.load, zone=page.settings.zone)
    for one in waiting:
        uploads.packed(one)
    seen = _seen(page, records, wanted, waiting)
    refusal = seen.proposal.refusal
    readable = may_be_stated(seen.proposal) or any(one.fits for one in seen.offers)
    if refusal is not None and not readable:
        raise Refusal(refusal, fields={"file": refusal})
    _read_ahead(page, records, seen, wanted, waiting)
    tokens = urlencode([("upload", one.token) for one in waiting])
    return f"/loads/{quote(code, safe='')}/record?{tokens}"


def _read_ahead(
    page: PageMaker, records: Database, seen: Look, wanted: Wanted, waiting: list[Upload]
) -> None:
    """Begin to read the files in the way that the preview will open with, if that is clear."""
    with records.read() as session:
        last_used = last_mapping(session, wanted.load.furnace_id, before=now())
    offer = seen.offer(seen.first_choice(last_used) or BY_HAND)
    try:
        mapping = (
            offer.mapping
            if offer is not None
            else layout_chosen(_filled_in(guess_of(seen.proposal, wanted)), wanted).mapping
        )
    except Refusal:
        return  # Something has to be stated first.
    reading_of(_uploads(page), waiting, mapping, max_bytes=_most_bytes(page))


def _filled_in(guess: Guess, by: str = BY_HAND) -> Typed:
    """The form as it opens."""
    return Typed({name: [text] for name, text in {**guess.typed, "by": by}.items()}, {})


def _seen(page: PageMaker, records: Database, wanted: Wanted, waiting: list[Upload]) -> Look:
    uploads = _uploads(page)
    with records.read() as session:
        in_force = requirements.mappings_in_force(session, at=now())
    glimpses = [glimpse(uploads.path(one), one.file_name) for one in waiting]
    zone = page.settings.zone
    key = (str(zone), *(one.token for one in waiting))
    proposal = _proposals.get(key, lambda: proposed(glimpses, zone))
    return look(proposal, glimpses, wanted, in_force, zone)


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
        most_files=MOST_FILES,
        **kept(refusal=refusal),
        first_use=refusal.load_code if isinstance(refusal, FileInUse) else None,
    )


def _preview_page(
    page: PageMaker,
    records: Database,
    by: Actor,
    waiting: list[Upload],
    *,
    typed: Typed | None = None,
    refusal: Refusal | None = None,
) -> Response:
    zone = page.settings.zone
    with records.read() as session:
        load = queries.load(session, waiting[0].load_code)
        wanted = wanted_of(session, load)
        last_used = last_mapping(session, load.furnace_id, before=now())
    seen = _seen(page, records, wanted, waiting)
    guess = guess_of(seen.proposal, wanted)
    if typed is None:
        typed = _filled_in(guess, seen.first_choice(last_used) or BY_HAND)
    rows = _rows_as_read(page, seen, typed, wanted, waiting)
    return page.show(
        "loads/preview.html",
        load=load,
        uploads=waiting,
        seen=seen.proposal,
        guess=guess,
        offers=seen.offers,
        last_used=last_used,
        as_read=rows,
        by_hand=typed.get("by", BY_HAND) == BY_HAND,
        channels=guess.channels,
        wanted=wanted,
        current=wanted.current,
        zone=str(zone),
        may_write_mapping=may(by, Act.WRITE_MAPPING),
        meaning=Meaning.REPLACED_RECORD.value,
        **kept({name: text for name, text in typed.items() if name != "password"}, refusal),
        first_use=refusal.load_code if isinstance(refusal, FileInUse) else None,
    )


def _rows_as_read(
    page: PageMaker, seen: Look, typed: Typed, wanted: Wanted, waiting: list[Upload]
) -> AsRead:
    """The first rows in the way that is chosen, or the sentence why they cannot be read so."""
    offer = seen.offer(typed.get("by", BY_HAND))
    if offer is not None:
        return offer.as_read
    try:
        mapping = layout_chosen(typed, wanted).mapping
    except Refusal as refusal:
        return AsRead(refusal=refusal.sentence)
    uploads = _uploads(page)
    heads = [glimpse(uploads.path(one), one.file_name).head for one in waiting]
    return as_read(heads, mapping, page.settings.zone)
