"""Things as spoken, and keys a part at a time: what the reads of links share."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from typing import Any

from sqlalchemy import String, cast, literal, null, select, type_coerce, union_all
from sqlalchemy.orm import Session

from app.equipment.records import (
    Furnace,
    ReferenceBlock,
    Sensor,
    Tester,
    Thermometer,
    VacuumGauge,
)
from app.loads.records import Load
from app.panels.records import Coupon, HoldOn, MaterialLot, Panel
from app.people.records import Person
from app.release.queries.links import COUPON, PANEL, PERSON, REVISION, SESSION, AnySelect
from app.release.rules.spreading import Node
from app.requirements.records import Requirement, RequirementRevision

_AT_ONCE = 1000
"""Keys in one select; both databases take many more."""
_SELECTS_AT_ONCE = 20
"""Selects of so many keys each in one statement."""

PAPERS = (
    HoldOn.ACCEPTANCE_TABLE,
    HoldOn.CYCLE,
    HoldOn.PYROMETRY_PROCEDURE,
    HoldOn.LOGGER_MAPPING,
    HoldOn.CORRECTION_TABLE,
)
THINGS: Mapping[str, Any] = {
    PANEL: Panel,
    COUPON: Coupon,
    HoldOn.MATERIAL_LOT.value: MaterialLot,
    HoldOn.LOAD.value: Load,
    HoldOn.FURNACE.value: Furnace,
    HoldOn.SENSOR.value: Sensor,
    HoldOn.VACUUM_GAUGE.value: VacuumGauge,
    HoldOn.TESTER.value: Tester,
    HoldOn.REFERENCE_BLOCK.value: ReferenceBlock,
    HoldOn.THERMOMETER.value: Thermometer,
    **dict.fromkeys((kind.value for kind in PAPERS), Requirement),
}
"""By kind, the records of what has an identity of its own."""
_PAPER_KINDS = frozenset(kind.value for kind in PAPERS)


def spoken_ways(session: Session, nodes: AbstractSet[Node]) -> Callable[[Sequence[Node]], str]:
    """How to say a way along these things: "coupon C-12, session 4, tester HT-1"."""
    names = _names(session, nodes)

    def say(way: Sequence[Node]) -> str:
        before = (None, *(kind for kind, _ in way))
        # The name of a revision holds that of its own paper, which it was reached from.
        return ", ".join(
            names[node]
            for node, last in zip(way, before, strict=False)
            if not (last == REVISION and node[0] in _OWN_PAPER)
        )

    return say


_OWN_PAPER = _PAPER_KINDS - {HoldOn.CORRECTION_TABLE.value}


def _names(session: Session, nodes: AbstractSet[Node]) -> dict[Node, str]:
    """Each thing by kind and code; a session by its number, a person by name; one statement."""
    keys = defaultdict(list)
    for kind, key in sorted(nodes):
        keys[kind].append(key)
    names: dict[Node, str] = {(SESSION, key): f"session {key}" for key in keys.pop(SESSION, ())}
    selects = [
        _name_query(kind, several[start : start + _AT_ONCE])
        for kind, several in keys.items()
        for start in range(0, len(several), _AT_ONCE)
    ]
    for first in range(0, len(selects), _SELECTS_AT_ONCE):
        for row in session.execute(union_all(*selects[first : first + _SELECTS_AT_ONCE])):
            names[row.kind, row.id] = _name(row)
    return names


def _name_query(kind: str, keys: Sequence[int]) -> AnySelect:
    if kind == REVISION:
        return _named(
            kind,
            RequirementRevision.id,
            Requirement.code,
            type_coerce(Requirement.kind, String),
            RequirementRevision.revision,
        ).where(
            Requirement.id == RequirementRevision.requirement_id, RequirementRevision.id.in_(keys)
        )
    if kind == PERSON:
        return _named(kind, Person.id, Person.full_name).where(Person.id.in_(keys))
    record = THINGS[kind]
    return _named(kind, record.id, record.code).where(record.id.in_(keys))


_NOTHING = cast(null(), String)


def _named(
    kind: str, key: Any, said: Any, paper: Any = _NOTHING, revision: Any = _NOTHING
) -> AnySelect:
    return select(
        literal(kind).label("kind"),
        key.label("id"),
        said.label("said"),
        paper.label("paper"),
        revision.label("revision"),
    )


def _name(row: Any) -> str:
    if row.kind == PERSON:
        return str(row.said)
    if row.kind == REVISION:
        return f"{row.paper} {row.said} revision {row.revision}"
    return f"{row.kind.replace('_', ' ')} {row.said}"


def read_by_parts(
    session: Session, query: AnySelect, keys: Iterable[int], *, column: int = 0
) -> Iterator[Any]:
    """The rows whose selected column is among the keys, however many keys."""
    wanted = sorted(keys)
    key = query.selected_columns[column]
    for start in range(0, len(wanted), _AT_ONCE):
        yield from session.execute(query.where(key.in_(wanted[start : start + _AT_ONCE])))
