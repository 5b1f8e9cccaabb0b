"""What is read about scrapped panels: how each was marked and made unusable, and who saw it."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session, aliased

from app.panels.records import Decided, Panel
from app.people.records import Signature
from app.release.records import ScrapRecord, ScrapWitness

_done, _seen = aliased(Signature), aliased(Signature)


@dataclass(frozen=True, slots=True)
class ScrapLine:
    """A scrapped panel. What was done is None until it is recorded, the witness until one signs."""

    panel: str
    record_id: int | None
    marking: str | None
    made_unusable: str | None
    photograph_sha256: str | None
    done_by_id: int | None
    done_by: str | None
    done_at: datetime | None
    witness: str | None
    witnessed_at: datetime | None

    @property
    def waits_for(self) -> str | None:
        """What it waits for until it is certainly unusable; None when it is."""
        if self.record_id is None:
            return "somebody to mark it for good and make it unusable"
        return None if self.witness is not None else "a second person, to witness that it is"


def _lines() -> Any:
    return (
        select(
            Panel.code,
            ScrapRecord.id,
            ScrapRecord.marking,
            ScrapRecord.made_unusable,
            ScrapRecord.photograph_sha256,
            ScrapRecord.done_by_id,
            _done.printed_name,
            ScrapRecord.done_at,
            _seen.printed_name,
            ScrapWitness.witnessed_at,
        )
        .outerjoin(ScrapRecord, ScrapRecord.panel_id == Panel.id)
        .outerjoin(_done, _done.id == ScrapRecord.signature_id)
        .outerjoin(ScrapWitness, ScrapWitness.scrap_record_id == ScrapRecord.id)
        .outerjoin(_seen, _seen.id == ScrapWitness.signature_id)
        .where(Panel.decided == Decided.SCRAPPED)
        .order_by(Panel.id)
    )


def scrap_of(session: Session, panel_id: int) -> ScrapLine | None:
    """How a scrapped panel stands; None where it is not scrapped."""
    row = session.execute(_lines().where(Panel.id == panel_id)).one_or_none()
    return None if row is None else ScrapLine(*row)


def scrap_not_yet_unusable(session: Session) -> list[ScrapLine]:
    """Scrapped panels that nobody has made unusable yet, or that nobody witnessed."""
    rows = session.execute(_lines().where(ScrapWitness.id.is_(None)))
    return [ScrapLine(*row) for row in rows]
