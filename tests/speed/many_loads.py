"""A shop with thousands of loads: one finished load copied row by row, straight into the tables.

The copies are for reading only: their trail entries are there in number and size, and not chained.
"""

import hashlib
from collections import defaultdict
from collections.abc import Callable, Iterable
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import Column, Integer, String, Table, Text, UniqueConstraint, insert, select
from sqlalchemy.orm import Session

from app.audit.records import Identity, TrailEntry
from app.database import Base, Database
from app.loads.records import Load, LoadCoupon, LoadPanel
from app.panels.records import Coupon, Panel
from app.people.records import Signature

_LOADS_AT_ONCE = 500
_APART = timedelta(minutes=2)
"""Ten thousand of them lie within a fortnight, so that the shop's papers are good for all."""

Row = dict[str, Any]
Rows = dict[Table, list[Row]]


def copy_load(database: Database, load_code: str, count: int) -> list[str]:
    """Copy the load with its panels, coupons and all that hangs on them; the copies' identities.

    Copy ``k`` is twice ``k`` minutes older than the load. Furnace, sensors, people, papers and
    bench sessions are shared.
    """
    with database.read() as session:
        rows = _belonging(session, load_code)
    copying = _Copying(database, rows)
    for first in range(1, count + 1, _LOADS_AT_ONCE):
        numbers = range(first, min(first + _LOADS_AT_ONCE, count + 1))
        with database.write() as session:
            for table in Base.metadata.sorted_tables:
                copies = [row for k in numbers for row in copying.copies(table, k)]
                if copies:
                    session.execute(insert(table), copies)
    return [copying.code(load_code, k) for k in range(1, count + 1)]


def _belonging(session: Session, load_code: str) -> Rows:
    """The rows of a load, its panels and coupons, and every row that names one of them."""
    load = session.execute(select(Load.id).where(Load.code == load_code)).scalar_one()
    panels = select(LoadPanel.panel_id).where(LoadPanel.load_id == load)
    coupons = select(LoadCoupon.coupon_id).where(LoadCoupon.load_id == load)
    rows: Rows = defaultdict(list)
    rows[_table(Load)] = _read(session, _table(Load), _column(Load, "id") == load)
    rows[_table(Panel)] = _read(session, _table(Panel), _column(Panel, "id").in_(panels))
    rows[_table(Coupon)] = _read(session, _table(Coupon), _column(Coupon, "id").in_(coupons))
    codes = [row["code"] for kind in (Load, Panel, Coupon) for row in rows[_table(kind)]]
    for table, column in ((Identity, "code"), (TrailEntry, "about_code")):
        rows[_table(table)] = _read(session, _table(table), _column(table, column).in_(codes))
    given = set(rows)
    for table in Base.metadata.sorted_tables:
        if table in given:
            continue
        found: dict[Any, Row] = {}
        for column in table.columns:
            for key in column.foreign_keys:
                parents = [row[key.column.name] for row in rows.get(key.column.table, ())]
                if parents and key.column.table is not _table(Identity):
                    for row in _read(session, table, column.in_(parents)):
                        found[tuple(row[one.name] for one in table.primary_key)] = row
        if found:
            rows[table] = list(found.values())
    signed = [
        row["signature_id"]
        for several in rows.values()
        for row in several
        if row.get("signature_id") is not None
    ]
    # A signature belongs to one decision only, so that it cannot be shared.
    rows[_table(Signature)] = _read(
        session, _table(Signature), _column(Signature, "id").in_(signed)
    )
    return rows


def _table(kind: type[Base]) -> Table:
    table = kind.__table__
    assert isinstance(table, Table)
    return table


def _column(kind: type[Base], name: str) -> Column[Any]:
    return _table(kind).columns[name]


def _read(session: Session, table: Table, condition: Any) -> list[Row]:
    return [dict(row) for row in session.execute(select(table).where(condition)).mappings()]


class _Copying:
    """How each column of a copy is made from the row it is copied from."""

    def __init__(self, database: Database, rows: Rows) -> None:
        self._rows = rows
        self._places: dict[tuple[str, Any], int] = {}
        self._begin: dict[str, int] = {}
        self._texts = {
            (table.name, key.name, row[key.name])
            for table, several in rows.items()
            for key in table.primary_key
            for row in several
            if isinstance(key.type, String | Text)
        }
        with database.read() as session:
            for table, several in rows.items():
                for key in table.primary_key:
                    if isinstance(key.type, Integer):
                        newest = session.execute(select(key).order_by(key.desc())).scalar()
                        self._begin[table.name] = newest or 0
                        for place, row in enumerate(several, start=1):
                            self._places[table.name, row[key.name]] = place
        self._columns = {table: list(self._making(table)) for table in rows}

    def code(self, code: str, k: int) -> str:
        """The identity of a thing's copy."""
        return f"{code}.{k}"

    def copies(self, table: Table, k: int) -> Iterable[Row]:
        """The rows of a table that the copy ``k`` adds."""
        for row in self._rows.get(table, ()):
            yield {name: make(row[name], k) for name, make in self._columns[table]}

    def _making(self, table: Table) -> Iterable[tuple[str, Callable[[Any, int], Any]]]:
        alone = {
            next(iter(one.columns)).name
            for one in table.constraints
            if isinstance(one, UniqueConstraint) and len(one.columns) == 1
        }
        for column in table.columns:
            keys = list(column.foreign_keys)
            of = keys[0].column if keys else column
            if keys or column.primary_key:
                yield column.name, self._key(of.table.name, of)
            elif column.name == "about_code":
                yield column.name, self.code
            elif column.name in alone or column.unique:
                yield column.name, self._another
            else:
                yield column.name, _older

    def _key(self, table: str, column: Column[Any]) -> Callable[[Any, int], Any]:
        """A key of the row itself or of the row it names; of a shared row it stays."""

        def number(value: Any, k: int) -> Any:
            place = self._places.get((table, value))
            if place is None:
                return value
            each = len(self._rows[column.table])
            return self._begin[table] + (k - 1) * each + place

        def text(value: Any, k: int) -> Any:
            return self._another(value, k) if (table, column.name, value) in self._texts else value

        return number if isinstance(column.type, Integer) else text

    def _another(self, value: Any, k: int) -> Any:
        """A text that no other copy has: an identity, or a digest where it was one."""
        if value is None:
            return None
        digest = len(value) == len(hashlib.sha256().hexdigest())
        return hashlib.sha256(f"{value}{k}".encode()).hexdigest() if digest else self.code(value, k)


def _older(value: Any, k: int) -> Any:
    return value - k * _APART if isinstance(value, datetime) else value
