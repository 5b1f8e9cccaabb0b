"""A scrapped panel is marked for good and made unusable by one person, and another one sees it."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Database, paper_sha256
from app.equipment.rules.reports import SentFile
from app.equipment.service.terms import keep_file
from app.errors import BadFile, Conflict, NotAllowed, Refusal, refuse
from app.loads.bags.photograph import look_at
from app.panels import queries as panels
from app.panels.records import Decided, Panel
from app.people import service as signing
from app.people.records import Meaning
from app.people.rights import Act, require
from app.release.records import ScrapRecord, ScrapWitness


@dataclass(frozen=True, slots=True)
class MadeUnusable:
    """What was done to a scrapped panel, as a form sends it."""

    marking: str
    made_unusable: str
    photograph: SentFile | None


def record_made_unusable(
    database: Database,
    panel_code: str,
    done: MadeUnusable,
    *,
    password: str,
    by: Actor,
    at: datetime,
) -> None:
    """Record that a scrapped panel was marked and made unusable, with a photograph of the mark.

    Raises:
        NotAllowed: the person may not.
        NotFound: no such panel.
        Conflict: it is on record already.
        Refusal: the panel is not scrapped, a text or the photograph is missing, or the password
            is wrong.
        BadFile: the photograph is no whole picture.
    """
    require(by, Act.MAKE_SCRAP_UNUSABLE)
    marking, unusable = " ".join(done.marking.split()), " ".join(done.made_unusable.split())
    if not marking:
        refuse("marking", "Say what the mark says and where on the panel it stands.")
    if not unusable:
        refuse("made_unusable", "Say how the panel was made unusable.")
    if done.photograph is None:
        refuse("file", "Attach a photograph on which the mark can be read.")
    _check_picture(done.photograph)
    proof = signing.re_authenticate(database, by, password=password, at=at)
    with database.write() as session:
        panel = _scrapped(session, panel_code)
        if _record_of(session, panel.id) is not None:
            raise Conflict(f"That {panel.code} was made unusable is on record already.")
        digest, kept = keep_file(session, done.photograph, at=at)
        if digest is None:  # pragma: no cover - a photograph was given
            refuse("file", "Attach a photograph on which the mark can be read.")
        signature = signing.sign(
            session,
            proof,
            meaning=Meaning.SCRAP_MADE_UNUSABLE,
            content_sha256=paper_sha256(_content(panel.code, marking, unusable, digest)),
            at=at,
        )
        row = ScrapRecord(
            panel_id=panel.id,
            marking=marking,
            made_unusable=unusable,
            photograph_sha256=digest,
            done_by_id=by.id,
            done_at=at,
            signature_id=signature.id,
        )
        session.add(row)
        append(
            session,
            Tag.SCRAP_MADE_UNUSABLE,
            by=by,
            at=at,
            about=("panel", panel.code),
            rows=[*kept, signature, row],
            note=f"{marking}; {unusable}",
        )


def witness_scrap(
    database: Database, panel_code: str, *, password: str, by: Actor, at: datetime
) -> None:
    """Sign, as a second person, that the scrapped panel was seen marked and unusable.

    Raises:
        NotAllowed: the person may not witness, or made it unusable themselves.
        NotFound: no such panel.
        Conflict: it was witnessed already.
        Refusal: it is not on record that it was made unusable, or the password is wrong.
    """
    require(by, Act.WITNESS_SCRAP)
    proof = signing.re_authenticate(database, by, password=password, at=at)
    with database.write() as session:
        panel = _scrapped(session, panel_code)
        row = _record_of(session, panel.id)
        if row is None:
            raise Refusal(f"Nobody has recorded yet that {panel.code} was made unusable.")
        if by.is_person(row.done_by_id):
            raise NotAllowed("You made it unusable, so another person witnesses it.")
        seen = select(ScrapWitness.id).where(ScrapWitness.scrap_record_id == row.id)
        if session.scalar(seen) is not None:
            raise Conflict(f"{panel.code} was witnessed already.")
        content = _content(panel.code, row.marking, row.made_unusable, row.photograph_sha256)
        signature = signing.sign(
            session,
            proof,
            meaning=Meaning.SCRAP_WITNESSED,
            content_sha256=paper_sha256({**content, "witnessed": True}),
            at=at,
        )
        witnessed = ScrapWitness(
            scrap_record_id=row.id,
            witness_id=by.id,
            witnessed_at=at,
            signature_id=signature.id,
        )
        session.add(witnessed)
        append(
            session,
            Tag.SCRAP_WITNESSED,
            by=by,
            at=at,
            about=("panel", panel.code),
            rows=[signature, witnessed],
            note=row.marking,
        )


def _scrapped(session: Session, code: str) -> Panel:
    panel = panels.panel(session, code)
    if panel.decided is not Decided.SCRAPPED:
        raise Refusal(f"{panel.code} is not scrapped; it stands as {panel.decided.value}.")
    return panel


def _record_of(session: Session, panel_id: int) -> ScrapRecord | None:
    return session.scalars(
        select(ScrapRecord).where(ScrapRecord.panel_id == panel_id)
    ).one_or_none()


def _content(panel: str, marking: str, unusable: str, photograph_sha256: str) -> dict[str, Any]:
    return {
        "panel": panel,
        "marking": marking,
        "made_unusable": unusable,
        "photograph_sha256": photograph_sha256,
    }


def _check_picture(photograph: SentFile) -> None:
    """Pass if every byte of it is a picture.

    Raises:
        BadFile: it is not, with the sentence beside the field.
    """
    try:
        look_at(photograph.content, file_name=photograph.name)
    except BadFile as refused:
        raise BadFile(refused.sentence, fields={"file": refused.sentence}) from None
