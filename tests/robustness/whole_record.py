"""Everything on record, row by row, to compare before and after."""

from sqlalchemy import select

from app.database import Base, Database
from app.people.records import SignIn

Contents = dict[str, list[str]]


def contents(database: Database) -> Contents:
    """Every row of every table but the open sign-ins, as texts, sorted."""
    with database.engine.connect() as connection:
        return {
            table.name: sorted(repr(tuple(row)) for row in connection.execute(select(table)))
            for table in Base.metadata.sorted_tables
            if table.name != SignIn.__tablename__
        }


def moved(before: Contents, after: Contents) -> list[str]:
    """The tables whose rows differ."""
    return [name for name, rows in after.items() if rows != before[name]]
