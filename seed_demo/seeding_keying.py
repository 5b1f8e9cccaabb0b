"""Filling the demonstration: values keyed a second time, before anybody verifies them."""

from collections.abc import Mapping
from datetime import datetime

from sqlalchemy.orm import Session

from app.requirements import queries as requirement_queries
from app.requirements import service as requirements
from app.requirements.queries import Revision
from app.requirements.service import Named
from seed_demo.diary import DemoShop

SECOND_KEYER = "pquennell"
"""Writes no paper of the shop's."""


def key_as_written(shop: DemoShop, named: Named, password: str, at: datetime) -> None:
    """Somebody else keys every value from the source document, and all of them agree."""
    key_otherwise(shop, named, {}, password, at)


def key_otherwise(
    shop: DemoShop, named: Named, otherwise: Mapping[str, str], password: str, at: datetime
) -> None:
    """The same, but for the values of ``otherwise``: for each as first written, what was keyed."""
    with shop.database.read() as session:
        revision = _revision(session, named)
        cells = _cells(revision)
    requirements.key_again(
        shop.database,
        named,
        cells={place: otherwise.get(value, value) for place, value in cells.items()},
        attempt=revision.attempt,
        password=password,
        by=shop.people[SECOND_KEYER],
        at=at,
    )


def verify_whole(
    shop: DemoShop, named: Named, verified_by: str, password: str, at: datetime
) -> None:
    """Tick every part as compared with its source, and sign."""
    with shop.database.read() as session:
        revision = _revision(session, named)
        anchors = [part.anchor for part in requirement_queries.parts_of(revision)]
    requirements.verify(
        shop.database,
        named,
        compared=anchors,
        in_force_from=None,
        password=password,
        by=shop.people[verified_by],
        at=at,
    )


def _revision(session: Session, named: Named) -> Revision:
    known = requirement_queries.named(session, named.code, kind=named.kind, revision=named.revision)
    return next(one for one in known if one.revision == named.revision)


def _cells(revision: Revision) -> dict[str, str]:
    """What is asked for, by its place, as first written."""
    asked = requirements.asked_of(revision)
    return {group.place(cell): cell.value for group in asked for cell in group.to_key()}
