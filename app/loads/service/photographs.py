"""Photographs taken at unwrapping are kept, byte for byte."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.audit.tags import Tag
from app.audit.writer import append
from app.database import Database
from app.errors import Conflict, Refusal
from app.loads import queries
from app.loads.bags.photograph import look_at
from app.loads.records import Load, Photograph, SurfaceFinding, Unwrapping
from app.loads.service.refusals import refuse_cancelled, working_panel_in
from app.people.rights import Act, require

MOST_AT_ONCE = 24


@dataclass(frozen=True, slots=True)
class Picture:
    """A photograph as it came."""

    file_name: str
    content: bytes


def keep_photographs(
    database: Database,
    load_code: str,
    panel_code: str,
    pictures: Sequence[Picture],
    *,
    finding_id: int | None,
    caption: str,
    by: Actor,
    at: datetime,
) -> int:
    """Keep photographs of a panel, or of one thing found on it; hands back how many.

    All of them are kept, or none.

    Raises:
        NotAllowed: the person unwraps no panels.
        NotFound: no such load.
        Conflict: the load was cancelled, or one of them is kept already.
        Refusal: none is given, or too many; the find is not of this panel.
        BadFile: one is no whole picture.
    """
    require(by, Act.UNWRAP)
    if not 1 <= len(pictures) <= MOST_AT_ONCE:
        sentence = f"Choose 1 to {MOST_AT_ONCE} photographs at once; {len(pictures)} were sent."
        raise Refusal(sentence, fields={"photographs": sentence})
    seen = [look_at(one.content, file_name=one.file_name) for one in pictures]
    digests = [hashlib.sha256(one.content).hexdigest() for one in pictures]
    with database.write() as session:
        load = queries.load(session, load_code)
        refuse_cancelled(session, load)
        panel = working_panel_in(session, load, panel_code)
        _refuse_stranger(session, load, panel.id, finding_id)
        _refuse_kept(session, load, digests, pictures)
        rows = [
            Photograph(
                load_id=load.id,
                panel_id=panel.id,
                surface_finding_id=finding_id,
                caption=caption.strip()[:200],
                file_name=one.file_name[:200],
                media_type=looks.media_type,
                width_px=looks.width_px,
                height_px=looks.height_px,
                sha256=digest,
                content=one.content,
                by_id=by.id,
                entered_at=at,
            )
            for one, looks, digest in zip(pictures, seen, digests, strict=True)
        ]
        session.add_all(rows)
        append(
            session,
            Tag.PHOTOGRAPH_KEPT,
            by=by,
            at=at,
            about=("load", load.code),
            rows=rows,
            note=f"{panel.code}: {', '.join(one.file_name for one in pictures)}",
        )
    return len(rows)


def _refuse_stranger(session: Session, load: Load, panel_id: int, finding_id: int | None) -> None:
    """Refuse a find that is not of this panel in this load."""
    if finding_id is None:
        return
    own = session.scalars(
        select(SurfaceFinding.id)
        .join(Unwrapping, Unwrapping.id == SurfaceFinding.unwrapping_id)
        .where(SurfaceFinding.id == finding_id)
        .where(Unwrapping.load_id == load.id, Unwrapping.panel_id == panel_id)
    ).first()
    if own is None:
        sentence = "What the photograph shows was not found on this panel; choose again."
        raise Refusal(sentence, fields={"about": sentence})


def _refuse_kept(
    session: Session, load: Load, digests: Sequence[str], pictures: Sequence[Picture]
) -> None:
    """Refuse a photograph that the load has, or that was chosen twice."""
    known = set(session.scalars(select(Photograph.sha256).where(Photograph.load_id == load.id)))
    for place, digest in enumerate(digests):
        if digest in known or digest in digests[:place]:
            raise Conflict(
                f"{pictures[place].file_name}: this very photograph is kept with load "
                f"{load.code} already. Nothing was kept this time."
            )
