"""The decision that a record stated by hand was read as its file is laid out."""

from datetime import datetime

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Database, paper_sha256
from app.errors import Conflict, NotAllowed, Refusal
from app.loads import queries
from app.loads.record_queries import confirmation_of
from app.loads.records import FurnaceRecord, LayoutConfirmation
from app.people.records import Meaning
from app.people.rights import Act, require
from app.people.service import re_authenticate, sign


def confirm_layout(
    database: Database,
    load_code: str,
    *,
    record_id: int,
    password: str,
    by: Actor,
    at: datetime,
) -> None:
    """A second person compared the columns as read with the file's own, signed.

    ``record_id`` is the record that the person looked at.

    Raises:
        NotAllowed: the person confirms no layouts, or brought the record in.
        Refusal: no record, nothing to confirm, or a wrong password.
        Conflict: another record stands by now.
    """
    require(by, Act.CONFIRM_LAYOUT)
    with database.read() as session:
        load_id = queries.load(session, load_code).id
        _refuse(queries.current_record(session, load_id), record_id, load_code, by)
    proof = re_authenticate(database, by, password=password, at=at)
    with database.write() as session:
        record = _refuse(queries.current_record(session, load_id), record_id, load_code, by)
        if confirmation_of(session, record.id) is not None:
            raise Refusal(f"The layout of {record.file_name} is confirmed already.")
        content = {
            "load": load_code,
            "file": record.file_sha256,
            "trace": record.trace_sha256,
            "layout": record.layout,
        }
        signature = sign(
            session,
            proof,
            meaning=Meaning.CONFIRMED_LAYOUT,
            content_sha256=paper_sha256(content),
            at=at,
        )
        row = LayoutConfirmation(record_id=record.id, by_id=by.id, at=at, signature_id=signature.id)
        session.add(row)
        append(
            session,
            Tag.LAYOUT_CONFIRMED,
            by=by,
            at=at,
            about=("load", load_code),
            rows=[signature, row],
            note=f"{record.file_name}: the columns as read were compared with the file",
        )


def _refuse(
    record: FurnaceRecord | None, record_id: int, load_code: str, by: Actor
) -> FurnaceRecord:
    """The record that stands, if the person may confirm its layout."""
    if record is None:
        raise Refusal(f"Load {load_code} has no furnace record yet.")
    if record.id != record_id:
        raise Conflict("Another record stands by now. Look at its layout and repeat.")
    if record.mapping_revision_id is not None:
        raise Refusal(f"{record.file_name} was read by an approved mapping; nothing is open.")
    if by.is_person(record.imported_by_id):
        raise NotAllowed(
            "You brought this record in; another person, a supervisor or an engineer, compares "
            "its columns with the file."
        )
    return record
