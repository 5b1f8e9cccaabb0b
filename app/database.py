"""Engine, column types, and the two ways to the records: to read them, and to decide.

Both databases are first class. SQLite runs with WAL, ``synchronous=FULL`` and foreign keys on; a
deciding session takes the write lock as it begins (``BEGIN IMMEDIATE``; on PostgreSQL an advisory
lock), because the trail is a chain with one head.
"""

import hashlib
import json
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from decimal import Decimal
from enum import StrEnum
from pathlib import Path
from typing import Any, ClassVar

from sqlalchemy import (
    Connection,
    DateTime,
    Dialect,
    Engine,
    Enum,
    MetaData,
    Text,
    TypeDecorator,
    create_engine,
    event,
    text,
)
from sqlalchemy.engine import make_url
from sqlalchemy.orm import DeclarativeBase, Session

_WRITE_LOCK = 7_351_150_024  # any fixed number: the one advisory lock of a deciding session

Json = dict[str, Any] | list[Any]


class Figure(TypeDecorator[Decimal]):
    """A Decimal kept digit for digit as text: ``38.0`` stays ``38.0`` on both databases."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: Decimal | None, dialect: Dialect) -> str | None:
        return None if value is None else str(value)

    def process_result_value(self, value: str | None, dialect: Dialect) -> Decimal | None:
        return None if value is None else Decimal(value)


class Figures(TypeDecorator[tuple[Decimal, ...]]):
    """Decimals in the order taken, kept digit for digit."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: Sequence[Decimal] | None, dialect: Dialect) -> str | None:
        return None if value is None else json.dumps([str(figure) for figure in value])

    def process_result_value(
        self, value: str | None, dialect: Dialect
    ) -> tuple[Decimal, ...] | None:
        return None if value is None else tuple(Decimal(figure) for figure in json.loads(value))


class Moment(TypeDecorator[datetime]):
    """A time stored in UTC and handed back aware; a naive time is refused."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a time without a zone cannot be recorded")
        return value.astimezone(UTC)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


class Paper(TypeDecorator[Json]):
    """A JSON paper, kept as text with its keys in order, so that its digest is stable."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: Json | None, dialect: Dialect) -> str | None:
        return None if value is None else paper_text(value)

    def process_result_value(self, value: str | None, dialect: Dialect) -> Json | None:
        return None if value is None else json.loads(value)


def paper_text(paper: Json) -> str:
    """The one text form of a JSON paper in the database: keys in order, no spaces."""
    return json.dumps(paper, sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def paper_sha256(paper: Json) -> str:
    """SHA-256 of a paper's one text form, 64 lower-case hexadecimal digits."""
    return hashlib.sha256(paper_text(paper).encode()).hexdigest()


def words_of(kind: type[StrEnum]) -> Enum:
    """Column type that stores an enum by its value, not by its name in the code."""
    return Enum(
        kind,
        native_enum=False,
        length=80,
        values_callable=lambda members: [member.value for member in members],
    )


class Base(DeclarativeBase):
    """All tables. ``append_only`` rows are never changed; ``on_trail`` rows are bound to it."""

    append_only: ClassVar[bool] = True
    on_trail: ClassVar[bool] = True

    metadata = MetaData(
        naming_convention={
            "ix": "ix_%(table_name)s_%(column_0_N_name)s",
            "uq": "uq_%(table_name)s_%(column_0_N_name)s",
            "ck": "ck_%(table_name)s_%(constraint_name)s",
            "fk": "fk_%(table_name)s_%(column_0_N_name)s",
            "pk": "pk_%(table_name)s",
        }
    )
    type_annotation_map: ClassVar[dict[Any, Any]] = {Decimal: Figure(), datetime: Moment()}


class Database:
    """The records, for reading and for deciding. One object per process, safe across threads."""

    def __init__(self, url: str) -> None:
        self.url = url
        self._engine = _open_engine(url)
        self._reading: Engine = self._engine
        if self._engine.dialect.name == "postgresql":
            # One page is read from one snapshot, as SQLite's readers always do.
            self._reading = self._engine.execution_options(isolation_level="REPEATABLE READ")
        self._deciding = self._engine.execution_options(deciding=True)
        self._one_at_a_time = threading.Lock()

    @property
    def engine(self) -> Engine:
        """For migrations, backup and tests; pages and services use :meth:`read` and ``write``."""
        return self._engine

    @contextmanager
    def read(self) -> Iterator[Session]:
        """A session that sees one consistent state and keeps nothing."""
        with Session(self._reading, autoflush=False) as session:
            yield session

    @contextmanager
    def write(self) -> Iterator[Session]:
        """One decision: all of it is kept when the block ends, or, on any error, none of it.

        Holds the write lock from its first moment, so what is read inside cannot move. The threads
        of one process wait for each other here: SQLite has those that wait for its lock look again
        ever more rarely, and on PostgreSQL each of them would keep a connection.
        """
        with self._one_at_a_time, Session(self._deciding) as session, session.begin():
            if self._engine.dialect.name == "postgresql":
                session.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": _WRITE_LOCK})
            yield session

    def close(self) -> None:
        """Let go of every connection."""
        self._engine.dispose()


def _open_engine(url: str) -> Engine:
    parsed = make_url(url)
    if parsed.get_backend_name() == "postgresql":
        return create_engine(
            parsed.set(drivername="postgresql+psycopg"), pool_size=20, hide_parameters=True
        )
    if parsed.database and parsed.database != ":memory:":
        Path(parsed.database).parent.mkdir(parents=True, exist_ok=True)
    # What is written stays out of the log of a fault: a password's hash may be among it.
    engine = create_engine(
        parsed,
        pool_size=10,
        max_overflow=40,
        connect_args={"timeout": 30},
        hide_parameters=True,
    )
    event.listen(engine, "connect", _prepare_sqlite)
    event.listen(engine, "begin", _begin_sqlite)
    return engine


# A new file changes to WAL with its first connection, and SQLite does not wait for that: a second
# one at the same moment would be told that the file is locked.
_one_to_prepare = threading.Lock()


def _prepare_sqlite(connection: Any, _record: Any) -> None:
    # The driver's own transaction handling is switched off; _begin_sqlite says BEGIN instead.
    connection.isolation_level = None
    cursor = connection.cursor()
    with _one_to_prepare:
        cursor.execute("PRAGMA journal_mode=WAL")
    cursor.execute("PRAGMA synchronous=FULL")
    cursor.execute("PRAGMA foreign_keys=ON")
    # A furnace record is a few thousand pages: its writer should not copy them a second time too.
    cursor.execute("PRAGMA wal_autocheckpoint=8000")
    cursor.close()


def _begin_sqlite(connection: Connection) -> None:
    deciding = connection.get_execution_options().get("deciding", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if deciding else "BEGIN")
