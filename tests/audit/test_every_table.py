"""Whatever is altered behind the program's back is found: in every table and in the trail itself.

One database in memory, without triggers and references, holds rows in every table that is on the
trail, made from the tables' own columns: a table that comes later is in it by itself.
"""

import json
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime
from decimal import Decimal
from enum import StrEnum
from typing import Any

import pytest
import sqlalchemy as sa
from sqlalchemy.orm import Session
from sqlalchemy.pool import StaticPool

import app.main  # noqa: F401 - so that every subject's tables are known
from app.audit.chain import GENESIS, canonical, entry_hash
from app.audit.tags import Tag
from app.audit.verify import TrailReport, verify_trail
from app.audit.writer import append
from app.database import Base, Figure, Figures, Moment, Paper
from app.trail.queries.heads import check_head, entries_now, roots
from app.trail.rules.head_text import SignedHead
from app.trail.service.keys import HeadKey, open_key

NOW = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)
TABLES = sorted(
    (mapper.class_ for mapper in Base.registry.mappers if mapper.class_.on_trail),
    key=lambda kind: str(kind.__tablename__),
)


_MAKE: list[tuple[type[Any], Callable[[int], Any]]] = [
    (Figure, Decimal),
    (Figures, lambda number: (Decimal(number),)),
    (Moment, lambda number: NOW.replace(microsecond=number)),
    (Paper, lambda number: {"number": number}),
    (sa.Boolean, lambda number: bool(number % 2)),
    (sa.Date, lambda number: date.fromordinal(738_000 + number)),
    (sa.LargeBinary, lambda number: b"%d" % number),
    (sa.Float, float),
    (sa.Integer, int),
    (sa.String, str),
]


def content_of(column: sa.Column[Any], number: int) -> Any:
    """Something the column may hold; the next number gives another content."""
    if isinstance(column.type, sa.Enum):
        members: list[StrEnum] = list(column.type.enum_class or ())
        return members[number % len(members)]
    return next(make for kind, make in _MAKE if isinstance(column.type, kind))(number)


def _rows(kind: type[Base]) -> list[Base]:
    """A row for each column that is not the key, one more to remove, each with its own key."""
    columns = list(kind.__table__.columns)
    return [
        kind(**{column.key: content_of(column, 10 * row) for column in columns})
        for row in range(1, len(columns) + 2)
    ]


@pytest.fixture(scope="module")
def connection() -> Iterator[sa.Connection]:
    """The one database; each test undoes what it did."""
    engine = sa.create_engine("sqlite://", poolclass=StaticPool)
    sa.event.listen(engine, "connect", lambda raw, _: setattr(raw, "isolation_level", None))
    Base.metadata.create_all(engine)
    with engine.connect() as opened:
        with Session(opened) as session:
            for kind in TABLES:
                for row in _rows(kind):
                    session.add(row)
                    append(session, Tag.LOAD_PLANNED, by="x", at=NOW, about=("x", "-"), rows=[row])
            append(session, Tag.SIGNED_IN, by="x", at=NOW, about=("person", "x"))
            session.commit()
        yield opened
    engine.dispose()


@pytest.fixture
def altered(connection: sa.Connection) -> Iterator[sa.Connection]:
    """The same, put back when the test ends."""
    connection.exec_driver_sql("SAVEPOINT before")
    yield connection
    connection.exec_driver_sql("ROLLBACK TO before")
    connection.exec_driver_sql("RELEASE before")


def _verify(connection: sa.Connection) -> TrailReport:
    with Session(connection) as session:
        return verify_trail(session)


def test_untouched_it_holds_and_no_table_is_missing(connection: sa.Connection) -> None:
    report = _verify(connection)
    assert report.holds, report.problems
    assert report.rows == sum(len(kind.__table__.columns) + 1 for kind in TABLES)


def _where(kind: type[Base], row: int) -> Any:
    key = [column for column in kind.__table__.columns if column.primary_key]
    return sa.and_(*(column == content_of(column, 10 * row) for column in key))


def _name(kind: type[Base], row: int) -> str:
    key = [column for column in kind.__table__.columns if column.primary_key]
    values = (str(content_of(column, 10 * row)) for column in key)
    return f"{kind.__tablename__.replace('_', ' ')} {'/'.join(values)}"


def test_every_column_changed_and_a_row_removed_or_put_in_is_found_in_every_table(
    altered: sa.Connection, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("app.audit.verify._MOST_PROBLEMS", 10_000)
    expected: list[str] = []
    for kind in TABLES:
        expected += _alter(altered, kind)
    told = sorted(_verify(altered).problems)
    # Each alteration is told once, and nothing else is.
    assert len(told) == len(expected)
    for want, problem in zip(sorted(expected), told, strict=True):
        assert problem.startswith(want)


def _alter(altered: sa.Connection, kind: type[Base]) -> list[str]:
    """Change each column in a row of its own, remove a row, put one in; what has to be told."""
    table = sa.inspect(kind).local_table
    assert isinstance(table, sa.Table)
    expected = []
    plain = [column for column in table.columns if not column.primary_key]
    for row, column in enumerate(plain, start=1):
        change = {column: content_of(column, 10 * row + 1)}
        assert altered.execute(table.update().where(_where(kind, row)).values(change)).rowcount == 1
        expected.append(f"The row {_name(kind, row)} is not as entry")
    last = len(table.columns) + 1
    assert altered.execute(table.delete().where(_where(kind, last))).rowcount == 1
    expected.append(f"The row {_name(kind, last)}, written by entry")
    put_in = {column: content_of(column, 10 * last + 11) for column in table.columns}
    altered.execute(table.insert().values(put_in))
    key = "/".join(str(put_in[column]) for column in table.columns if column.primary_key)
    return [*expected, f"The row {kind.__tablename__.replace('_', ' ')} {key} is on no entry"]


def _entry(connection: sa.Connection, number: int) -> dict[str, Any]:
    found = connection.exec_driver_sql("SELECT body FROM trail_entry WHERE number = ?", (number,))
    body: dict[str, Any] = json.loads(found.scalar_one())
    return body


def _rewrite(connection: sa.Connection, first: int, changed: dict[str, Any]) -> None:
    """As somebody would who knows how it is made: every entry from ``first`` on, hashes and all."""
    rows = connection.exec_driver_sql(
        "SELECT number, hash FROM trail_entry WHERE number >= ? ORDER BY number", (first - 1,)
    ).all()
    previous = rows[0].hash if first > 1 else GENESIS
    for row in rows if first == 1 else rows[1:]:
        body = _entry(connection, row.number) | {"previous": previous}
        if row.number == first:
            body |= changed
        previous = entry_hash(body)
        connection.exec_driver_sql(
            "UPDATE trail_entry SET body = ?, hash = ?, note = ? WHERE number = ?",
            (canonical(body).decode(), previous, body["note"], row.number),
        )


TRAIL = {
    "changed": ("UPDATE trail_entry SET note = 'other' WHERE number = 9", "listed differently"),
    "removed": ("DELETE FROM trail_entry WHERE number = 9", "Entry 9 is missing"),
    "put in": (
        (
            'INSERT INTO trail_entry SELECT 100000, at, "by", tag, about_kind, about_code, note, '
            "body, 'other' FROM trail_entry WHERE number = 9"
        ),
        "does not follow",
    ),
    "in another order": (
        (
            "UPDATE trail_entry SET number = CASE number WHEN 9 THEN -9 ELSE 9 END "
            "WHERE number IN (9, 10); UPDATE trail_entry SET number = 10 WHERE number = -9"
        ),
        "does not follow",
    ),
    "no entry any more": ("UPDATE trail_entry SET body = 'x' WHERE number = 9", "cannot be read"),
    "no rows": (
        "UPDATE trail_entry SET body = '{\"rows\": [{}]}' WHERE number = 9",
        "Entry 9 was changed",
    ),
    "no time": ("UPDATE trail_entry SET at = 'x' WHERE number = 9", "cannot be read"),
    "end cut off": (
        "DELETE FROM trail_entry WHERE number >= (SELECT max(number) - 1 FROM trail_entry)",
        "is on no entry of the trail",
    ),
    "no word of the program": ("UPDATE panel SET decided = 'x'", "The table panel holds what"),
    "no figure": ("UPDATE panel SET length_mm = 'x'", "The table panel holds what"),
}


@pytest.mark.parametrize("how", TRAIL)
def test_an_altered_trail_is_found(altered: sa.Connection, how: str) -> None:
    statements, found = TRAIL[how]
    for statement in statements.split("; "):
        assert altered.exec_driver_sql(statement).rowcount
    problems = _verify(altered).problems
    assert any(found in problem for problem in problems), problems


@pytest.fixture(scope="module")
def key(tmp_path_factory: pytest.TempPathFactory) -> HeadKey:
    return open_key(tmp_path_factory.mktemp("key") / "head.key")


def _head(connection: sa.Connection, key: HeadKey) -> SignedHead:
    """A head as it is kept outside; nothing of it is kept in the database."""
    with Session(connection) as session:
        size = entries_now(session)
        head = SignedHead("A shop", size, roots(session, [size])[size], NOW, key.public_key)
    return SignedHead(*(getattr(head, n) for n in head.__slots__[:-1]), key.sign(head.signed_part))


def _against(connection: sa.Connection, head: SignedHead, key: HeadKey) -> list[str]:
    with Session(connection) as session:
        return check_head(session, head, trusted=key.public_key).problems


def test_what_the_trail_alone_cannot_show_a_head_kept_outside_finds(
    altered: sa.Connection, key: HeadKey
) -> None:
    head = _head(altered, key)
    assert _against(altered, head, key) == []

    # Its last entry binds no row: without it the trail is whole, and a signing-in is gone.
    altered.exec_driver_sql("DELETE FROM trail_entry WHERE tag = ?", (Tag.SIGNED_IN.value,))
    assert _verify(altered).holds
    assert "At least 1 are gone" in _against(altered, head, key)[0]
    # Put back and gone another way since, with as many entries as before.
    with Session(altered, join_transaction_mode="create_savepoint") as session:
        append(session, Tag.SIGNED_OUT, by="x", at=NOW, about=("person", "x"))
        assert verify_trail(session).holds
        assert "are not those the head was signed over" in check_head(session, head).problems[-1]


def test_a_past_written_anew_with_every_hash_is_found_by_a_head(
    altered: sa.Connection, key: HeadKey
) -> None:
    head = _head(altered, key)
    _rewrite(altered, 9, {"note": "as if it had been so"})
    assert _verify(altered).holds
    assert "are not those the head was signed over" in _against(altered, head, key)[0]
