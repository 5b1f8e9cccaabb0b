"""Acts of a whole shop in random order: whatever the order, the rules of authority hold.

A dozen people, one of them with two accounts, do what they may and what they may not. After every
act the rows alone are read: no panel stands released on an open gate, a panel in use is recalled
when something of it moved, nobody is on both sides of a pair, nothing final changes, a refused act
left nothing. Nothing is drawn by chance; for other sequences, and more of them::

    TEMPERBOOK_SEQUENCES=300 .venv/bin/pytest -n 0 -q tests/release/test_sequences.py
"""

import os
import shutil
import sqlite3
from collections import Counter
from pathlib import Path

from hypothesis import HealthCheck, settings
from hypothesis.stateful import run_state_machine_as_test

from app.database import Database
from tests.release.sequences import Acts, build

_MORE = os.environ.get("TEMPERBOOK_SEQUENCES")
"""How many random sequences instead of the few that are always the same."""
_DONE_IN_ANY_CASE = {"release", "hold", "open", "propose", "write"}
"""Acts that were taken at least once over all sequences, so that these test more than refusals.

Only those that no drawing leaves out: what is drawn hangs on the constants of whatever modules
are loaded, so that rarer acts come or do not come with the tests that run beside this one.
"""


def test_whatever_the_order_of_acts_the_rules_of_authority_hold(
    sqlite_url: str, tmp_path: Path
) -> None:
    database = Database(sqlite_url)
    shop = build(database)
    start = tmp_path / "start.sqlite"
    place = Path(sqlite_url.removeprefix("sqlite:///"))
    with sqlite3.connect(place) as connection, sqlite3.connect(start) as copy:
        connection.backup(copy)
    done: Counter[str] = Counter()

    def afresh() -> Acts:
        database.close()
        for path in place.parent.glob(f"{place.name}*"):
            path.unlink()
        shutil.copy(start, place)
        return Acts(database, shop, place, done)

    run_state_machine_as_test(
        afresh,
        settings=settings(
            max_examples=int(_MORE) if _MORE else 16,
            stateful_step_count=60 if _MORE else 50,
            derandomize=not _MORE,
            database=None,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )
    database.close()
    assert done.keys() >= _DONE_IN_ANY_CASE, _DONE_IN_ANY_CASE - done.keys()
