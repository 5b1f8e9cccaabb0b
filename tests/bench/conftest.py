"""The bench of a fresh shop."""

import pytest

from app.database import Database
from tests.bench.bench_makers import Bench


@pytest.fixture
def bench(database: Database) -> Bench:
    """A bench whose table permits no retest."""
    return Bench(database)
