"""How often reference blocks were read: each check reading is one indent."""

from collections.abc import Collection

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.bench.records import BlockCheck
from app.equipment.records import ReferenceBlock


def indents_used(session: Session, block_ids: Collection[int] | None = None) -> dict[int, int]:
    """The check readings taken on each block so far, by key; of all blocks where None is given.

    A block that was never read is there with 0. One query.
    """
    query = select(ReferenceBlock.id, BlockCheck.readings).outerjoin(
        BlockCheck, BlockCheck.block_id == ReferenceBlock.id
    )
    if block_ids is not None:
        query = query.where(ReferenceBlock.id.in_(list(block_ids)))
    used: dict[int, int] = {}
    for key, readings in session.execute(query):
        used[key] = used.get(key, 0) + len(readings or ())
    return used
