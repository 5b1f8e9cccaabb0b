"""Variants of the invented acceptance table and of its testers, for tests."""

import copy
from decimal import Decimal
from typing import Any

from app.bench import service
from app.requirements.records import RequirementKind
from tests.bench.bench_makers import ZONE, Bench
from tests.makers import TABLE_PAPER


def with_table(bench: Bench, *, blind: bool = False, **hardness: Any) -> Bench:
    """The bench with another table for its next loads; ``hardness`` goes into that criterion."""
    paper = copy.deepcopy(TABLE_PAPER)
    if blind:
        paper["blind"] = True
    paper["entries"][0]["criteria"][0] |= hardness
    with bench.database.write() as session:
        bench.shop.table_revision_id = bench.shop._requirement(  # noqa: SLF001 - its own maker
            session, "AT-7", RequirementKind.ACCEPTANCE_TABLE, paper, {}
        )
    return bench


def with_nested_hardness(bench: Bench) -> Bench:
    """The bench with a blind table that asks more hardness where the conductivity is *accept if*.

    37.0 to 37.9 %IACS needs five hardness readings of 84.0 or more; the plain zone needs three.
    """
    paper = {**copy.deepcopy(TABLE_PAPER), "blind": True}
    also = {"quantity": "hardness", "scale": "HRB", "min": "84.0", "readings_min": 5}
    paper["entries"][0]["criteria"][1]["zones"][1]["also"] = [also]
    with bench.database.write() as session:
        bench.shop.table_revision_id = bench.shop._requirement(  # noqa: SLF001 - its own maker
            session, "AT-8", RequirementKind.ACCEPTANCE_TABLE, paper, {}
        )
    return bench


def begin_at(bench: Bench, code: str, unit: str, block: str, *check: str, **columns: Any) -> int:
    """A session at a new hardness tester, its opening check made on a new block."""
    with bench.database.write() as session:
        bench.shop.tester(session, code, "hardness", unit, **columns)
        bench.shop.block(session, f"RB-{code}", "hardness", unit, block, "3.0")
    number = service.open_session(
        bench.database, tester_code=code, by=bench.shop.inspector, at=bench.tick(), zone=ZONE
    )
    bench.check(number, code, "opening", *check)
    return number


def vickers(bench: Bench) -> int:
    """A session at a Vickers tester whose diagonals may be keyed."""
    return begin_at(
        bench,
        "HV-1",
        "HV10",
        "120.0",
        "120.1",
        "119.8",
        force_n=Decimal("98.07"),
        asymmetry_percent=Decimal("5"),
    )
