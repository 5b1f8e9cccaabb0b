"""The part of a load's page that says when it went in and out, or that it was not run."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy.orm import Session

from app.judging.verdict import Finding
from app.loads import run_queries
from app.loads.records import FurnaceRecord, Load, LoadCancellation, LoadEnd, LoadStart
from app.loads.rules import blocking, findings_of


@dataclass(frozen=True, slots=True)
class Burst:
    """When the record suggests that a bag burst; the moment where the record says its start."""

    seconds: float
    at: datetime | None


@dataclass(frozen=True, slots=True)
class RunSheet:
    """A load's run: start, end and cancelling as entered, each None where it did not happen.

    ``end_against`` are the gates that no longer held when the load was taken out.
    """

    start: LoadStart | None
    end: LoadEnd | None
    cancelled: LoadCancellation | None
    end_against: list[Finding]
    burst: Burst | None


def run_of(
    session: Session, load: Load, record: FurnaceRecord | None, paper: Mapping[str, Any]
) -> RunSheet:
    """What is on record of the load's run; three queries. ``paper`` is its record's verdict."""
    end = run_queries.load_end(session, load.id)
    return RunSheet(
        start=run_queries.load_start(session, load.id),
        end=end,
        cancelled=run_queries.cancellation(session, load.id),
        end_against=[] if end is None else blocking(findings_of(end.findings)),
        burst=_burst(record, paper),
    )


def _burst(record: FurnaceRecord | None, paper: Mapping[str, Any]) -> Burst | None:
    for finding in paper.get("findings", ()):
        if finding["code"] == "vacuum.burst_suspected" and finding["value"] is not None:
            seconds = float(finding["value"])
            starts_at = record.starts_at if record is not None else None
            at = None if starts_at is None else starts_at + timedelta(seconds=seconds)
            return Burst(seconds, at)
    return None
