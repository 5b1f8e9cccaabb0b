"""A logger with a token, and the rows of a plain run, for loads of tests.makers."""

import json
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

from app.database import Database
from app.loads import service
from app.loads.live import live_queries
from app.loads.live.live_queries import Logger
from app.loads.live.live_rows import Batch, Opening, batch_of
from tests.loads.logger_files import COOL_S, RAMP_S, SOAK_S, START, STEP_S, level
from tests.makers import NOW, Shop

CHANNELS = ("TC1", "TC2", "VAC")
OPENING = Opening(CHANNELS, "C")
WHOLE = (RAMP_S + SOAK_S + COOL_S) // STEP_S + 1
"""Rows of a whole run."""
Row = list[Any]


def rows_of(
    first: int = 0, last: int = WHOLE, *, start: datetime = START, vacuum: str = "88.0"
) -> list[Row]:
    """Rows ``first`` to before ``last`` of a plain run, one a minute, as a logger sends them."""
    return [
        [
            (start + timedelta(seconds=number * STEP_S)).isoformat(),
            f"{level(number * STEP_S):.1f}",
            f"{level(number * STEP_S) - 0.3:.1f}",
            vacuum,
        ]
        for number in range(first, last)
    ]


def sent(rows: Sequence[Row], *, first: int = 0) -> Batch:
    """Rows as they arrive over the line."""
    return batch_of(json.dumps({"first": first, "rows": rows}).encode())


def at_row(number: int) -> datetime:
    """When row ``number`` comes in: five seconds after it was read."""
    return START + timedelta(seconds=number * STEP_S + 5)


class Sending:
    """A load of the invented shop and the logger of its furnace, token in hand."""

    def __init__(self, database: Database, *, name: str = "cabinet") -> None:
        self.database = database
        self.shop = Shop(database)
        self.load, self.panel, *_ = self.shop.panel_in_load()
        self.code = self.load.code
        self.token = self.issue(name)
        self.logger = self.logger_of(self.token)

    def issue(self, name: str, *, furnace: str = "FN-1", days: int = 30) -> str:
        """A token for a furnace; Mara Quill answers for it."""
        return service.issue_token(
            self.database,
            name=name,
            furnace=furnace,
            answers=self.shop.inspector.username,
            ends_at=NOW + timedelta(days=days),
            by=self.shop.administrator,
            at=NOW,
        )

    def logger_of(self, token: str, *, at: datetime = NOW) -> Logger:
        with self.database.read() as session:
            found = live_queries.logger_of(session, token, at=at)
        assert found is not None
        return found

    def open(self, opening: Opening = OPENING, *, at: datetime = START) -> int:
        return service.open_live(self.database, self.code, opening, logger=self.logger, at=at)

    def send(self, rows: Sequence[Row], *, first: int = 0, at: datetime | None = None) -> int:
        at = at or at_row(first + len(rows))
        batch = sent(rows, first=first)
        return service.take_rows(self.database, self.code, batch, logger=self.logger, at=at)

    def close(self, rows: int = WHOLE, *, at: datetime | None = None) -> service.Closed:
        return service.close_live(
            self.database,
            self.code,
            rows=rows,
            logger=self.logger,
            at=at or at_row(rows),
            zone=UTC,
        )

    def kept_lines(self) -> list[str]:
        """Every line on record."""
        with self.database.read() as session:
            live = live_queries.live_of(session, self.load.id)
            assert live is not None
            return live_queries.lines_from(session, live.id, first=0, most=10_000_000)


def lines_as_kept(rows: Sequence[Row]) -> list[str]:
    """What is to be on record of rows, written down by another way than the program's."""
    return [
        ",".join(
            [
                datetime.fromisoformat(row[0]).astimezone(UTC).isoformat(),
                *("" if cell is None else str(cell) for cell in row[1:]),
            ]
        )
        for row in rows
    ]
