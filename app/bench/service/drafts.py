"""Keep what is keyed for a coupon until it is recorded. It is no record of anything."""

from collections.abc import Mapping
from datetime import datetime

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.bench.records import BenchSession, EntryDraft, Reading
from app.database import Database
from app.errors import NotAllowed, NotFound, Refusal
from app.panels.records import Coupon
from app.people.rights import Act, require

MOST_FIELDS = 80
LONGEST_FIELD = 1000
"""What a form of the bench can hold at the most; more is no form of ours."""


def keep_draft(
    database: Database,
    *,
    session_id: int,
    coupon_code: str,
    fields: Mapping[str, str],
    by: Actor,
    at: datetime,
) -> None:
    """Keep the fields as typed, in place of what was kept before; without any, keep nothing.

    Raises:
        NotFound: there is no such session or coupon.
        NotAllowed: it is somebody else's session.
        Refusal: more than a form can hold.
    """
    require(by, Act.MEASURE)
    if len(fields) > MOST_FIELDS or any(len(text) > LONGEST_FIELD for text in fields.values()):
        raise Refusal("This is more than the form holds; nothing of it was kept.")
    with database.write() as session:
        operator_id = session.scalar(
            select(BenchSession.operator_id).where(BenchSession.id == session_id)
        )
        coupon_id = session.scalar(select(Coupon.id).where(Coupon.code == coupon_code))
        if operator_id is None or coupon_id is None:
            raise NotFound(f"No such bench session, or no coupon {coupon_code}, is on record.")
        if operator_id != by.id:
            raise NotAllowed("This session is somebody else's; open your own to take readings.")
        kept = session.scalars(
            select(EntryDraft).where(
                EntryDraft.session_id == session_id, EntryDraft.coupon_id == coupon_id
            )
        ).one_or_none()
        if fields and _is_recorded(session, fields.get("submission", "")):
            fields = {}  # Sent on its way before the readings were recorded, and late.
        if kept is None and fields:
            session.add(
                EntryDraft(
                    session_id=session_id, coupon_id=coupon_id, fields=dict(fields), saved_at=at
                )
            )
        elif kept is not None and fields:
            kept.fields, kept.saved_at = dict(fields), at
        elif kept is not None:
            session.delete(kept)


def _is_recorded(session: Session, submission: str) -> bool:
    found = select(Reading.id).where(Reading.submission == submission).limit(1)
    return bool(submission) and session.scalar(found) is not None


def drop_draft(session: Session, *, session_id: int, coupon_id: int) -> None:
    """Forget what was keyed, once it is recorded; part of a deciding transaction."""
    session.execute(
        delete(EntryDraft).where(
            EntryDraft.session_id == session_id, EntryDraft.coupon_id == coupon_id
        )
    )
