"""The links as rows hold them: every kind of step out of some things, or into them, at once."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import Any

from sqlalchemy import (
    BindParameter,
    DateTime,
    bindparam,
    cast,
    literal_column,
    null,
    type_coerce,
    union_all,
)
from sqlalchemy.orm import Session

from app.bench.records import Reading
from app.release.queries.links import LINKS, Link
from app.release.rules.spreading import Node

_MOST_KEYS = 20_000
"""Keys in one statement, counted as often as it names them; SQLite takes 32,766 in all."""
_UNDATED = type_coerce(cast(null(), DateTime(timezone=True)), Reading.taken_at.type)


@dataclass(frozen=True, slots=True)
class Step:
    """One link as a row holds it; ``at`` is the row's time where the link has one."""

    link: Link
    source: Node
    target: Node
    at: datetime | None


def steps_at(
    session: Session, links: tuple[Link, ...], nodes: AbstractSet[Node], *, forward: bool
) -> Iterator[Step]:
    """The steps of these links out of things, or into them.

    One statement for all kinds of links and things; several only where the things are thousands.
    """
    keys = defaultdict(list)
    for kind, key in sorted(nodes):
        keys[kind].append(key)
    most = _MOST_KEYS // max(1, len(links))
    for start in range(0, max(map(len, keys.values()), default=0), most):
        some = {kind: several[start : start + most] for kind, several in keys.items()}
        kinds = frozenset(kind for kind, several in some.items() if several)
        statement = _statement(links, kinds, forward=forward)
        if statement is None:
            continue
        asked = {_name(kind): some[kind] for kind in kinds}
        for place, source, target, at in session.execute(statement, asked):
            link = LINKS[place]
            yield Step(link, (link.source, source), (link.target, target), at)


@lru_cache(maxsize=256)
def _statement(links: tuple[Link, ...], kinds: frozenset[str], *, forward: bool) -> Any:
    """What reads every step of these links beside things of these kinds; None: there is none.

    Kept, because putting fifty selects together takes longer than running them for one panel.
    """
    places = {link: place for place, link in enumerate(LINKS)}
    selects = [
        _steps_of(link, places[link], forward=forward)
        for link in links
        if (link.source if forward else link.target) in kinds
    ]
    return union_all(*selects) if selects else None


def _steps_of(link: Link, place: int, *, forward: bool) -> Any:
    source, target, *times = link.query.selected_columns
    near, column = (link.source, source) if forward else (link.target, target)
    asked: BindParameter[Any] = bindparam(_name(near), expanding=True)
    at = times[0] if link.when == "row" else _UNDATED
    columns: Sequence[Any] = (
        literal_column(str(place)).label("place"),
        source.label("source_id"),
        target.label("target_id"),
        at.label("at"),
    )
    return link.query.with_only_columns(*columns).where(column.in_(asked))


def _name(kind: str) -> str:
    """The parameter that holds the keys of things of a kind."""
    return f"{kind}_keys"
