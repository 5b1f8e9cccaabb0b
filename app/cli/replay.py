"""Judge all of history again and compare it with what was kept; nothing is written."""

import time
from collections.abc import Iterable

from app.bench.service.replay import replay_coupons
from app.database import Database
from app.documents.replayed import Replayed
from app.loads.service.replay import replay_records
from app.main import create_app
from app.settings import Settings


def replay_command(limit: int | None = None) -> int:
    """`temperbook replay`: print every difference and what was compared; 0 identical, 1 not.

    ``limit``: so many of the newest verdicts on coupons, and on records; None is all.
    """
    settings = Settings()
    create_app(settings)  # so that the tables of every subject are known
    database = Database(settings.database_url)
    differ = _told("coupons", replay_coupons(database, zone=settings.zone, limit=limit))
    differ += _told("furnace records", replay_records(database, limit=limit))
    if not differ:
        print("Identical: judged again, history says what it said.")
        return 0
    print(f"NOT IDENTICAL: {differ} differ. `temperbook verify` finds changes from outside.")
    return 1


def _told(what: str, replayed: Iterable[Replayed]) -> int:
    """Print every difference as it is found, then what was compared; how many differ."""
    judged = older = differ = 0
    began = time.perf_counter()
    for one in replayed:
        judged += 1
        older += one.older
        if one.differs is not None:
            differ += 1
            print(f"{one.name}: {one.differs}.")
    took_s = time.perf_counter() - began
    each = f", {took_s / judged * 100:.1f} s per 100" if judged else ""
    print(f"Verdicts on {what}: {judged} judged again, {differ} differ ({took_s:.1f} s{each}).")
    if older:
        print(f"    {older} of them are of older rules; only their outcomes were compared.")
    return differ
