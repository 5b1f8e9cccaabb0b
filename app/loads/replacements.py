"""What is read about furnace records that took the place of earlier ones."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session, aliased

from app.loads.records import FurnaceRecord, RecordVerdict
from app.people.records import Person, Signature


@dataclass(frozen=True, slots=True)
class Replacement:
    """A furnace record that replaced an earlier one.

    ``before`` is the verdict that stood until then, ``after`` the one that the new record came in
    with; None where a record was never judged. ``signed_by`` is the printed name; it and ``reason``
    are None of a record from before replacing was signed: its reason stands on the trail.
    """

    now: str
    former: str
    at: datetime
    by: str
    signed_by: str | None
    reason: str | None
    before: str | None
    after: str | None


_former = aliased(FurnaceRecord)
_first, _last = aliased(RecordVerdict), aliased(RecordVerdict)


def replacements(session: Session, load_ids: Iterable[int]) -> dict[int, list[Replacement]]:
    """Every replacement among the loads' records, oldest first, by load; one query.

    Loads without any are left out.
    """
    rows: Any = session.execute(
        select(
            FurnaceRecord.load_id,
            FurnaceRecord.file_name,
            _former.file_name,
            FurnaceRecord.imported_at,
            Person.full_name,
            Signature.printed_name,
            FurnaceRecord.reason,
            _last.verdict,
            _first.verdict,
        )
        .join(_former, _former.id == FurnaceRecord.replaces_id)
        .join(Person, Person.id == FurnaceRecord.imported_by_id)
        .outerjoin(Signature, Signature.id == FurnaceRecord.signature_id)
        .outerjoin(_last, _last.id == _verdict_of(_former.id, func.max))
        .outerjoin(_first, _first.id == _verdict_of(FurnaceRecord.id, func.min))
        .where(FurnaceRecord.load_id.in_(sorted(set(load_ids))))
        .order_by(FurnaceRecord.id)
    )
    found: dict[int, list[Replacement]] = defaultdict(list)
    for load_id, *told in rows:
        found[load_id].append(Replacement(*told))
    return dict(found)


def _verdict_of(record_id: Any, which: Any) -> Any:
    """The key of a record's first or last verdict; nothing is judged again once it is replaced."""
    one = aliased(RecordVerdict)
    return select(which(one.id)).where(one.record_id == record_id).scalar_subquery()
