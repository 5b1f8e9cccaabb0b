"""More of the invented bench: two standards about the limits, a second meter, a table that asks."""

import copy
from decimal import Decimal
from typing import Any

from sqlalchemy import select

from app.database import Database
from app.equipment.queries import quarantine_of
from app.equipment.records import Tester
from app.panels.records import Hold, Panel
from app.requirements.records import RequirementKind
from tests.bench.bench_makers import Bench
from tests.makers import TABLE_PAPER

LOW, HIGH = "RS-30", "RS-45"
CERTIFIED = {LOW: "30.2", HIGH: "44.9", "RB-CM-1": "38.9"}


def add_standards(bench: Bench) -> None:
    """Two conductivity standards that lie about the limits of the table, 14.7 %IACS apart."""
    with bench.database.write() as session:
        for code in (LOW, HIGH):
            bench.shop.block(session, code, "conductivity", "%IACS", CERTIFIED[code], "0.5")


def bench_with_standards(database: Database, **table: Any) -> Bench:
    """A bench whose table asks for two standards at least 8.0 %IACS apart about its limits."""
    bench = Bench(database)
    paper = copy.deepcopy(TABLE_PAPER) | table
    paper["entries"][0]["criteria"][1]["standards_apart"] = "8.0"
    with database.write() as session:
        bench.shop.table_revision_id = bench.shop._requirement(  # noqa: SLF001 - its own maker
            session, "AT-3", RequirementKind.ACCEPTANCE_TABLE, paper, {}
        )
    add_standards(bench)
    return bench


def check_on(bench: Bench, number: int, moment: str, block: str, value: str | None = None) -> str:
    """A check of the meter on that standard, as certified unless told otherwise; its outcome."""
    reads = value or CERTIFIED[block]
    return bench.check(number, "CM-1", moment, reads, block=block).outcome.value


def second_meter(bench: Bench, code: str = "CM-2", **columns: Any) -> str:
    """Another conductivity meter, in date."""
    with bench.database.write() as session:
        bench.shop.tester(session, code, "conductivity", "%IACS", **columns)
    return code


def out_of_use(bench: Bench, tester: str) -> str | None:
    """Why the tester is out of use, or None."""
    with bench.database.read() as session:
        key = session.scalars(select(Tester.id).where(Tester.code == tester)).one()
        found = quarantine_of(session, [key]).get(key)
        return None if found is None else found.reason


def holds(bench: Bench) -> list[tuple[str, str, str]]:
    """Every hold in the order placed: panel, cause, reason."""
    with bench.database.read() as session:
        rows = session.execute(
            select(Panel.code, Hold.cause, Hold.reason)
            .join(Panel, Panel.id == Hold.panel_id)
            .order_by(Hold.id)
        )
        return [(row.code, row.cause.value if row.cause else "", row.reason) for row in rows]


def figures(*texts: str) -> tuple[Decimal, ...]:
    """Figures as typed."""
    return tuple(Decimal(text) for text in texts)
