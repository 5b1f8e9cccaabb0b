"""A coupon's readings as the dossier shows them."""

from collections import defaultdict
from collections.abc import Mapping
from datetime import datetime, tzinfo
from typing import Any, NamedTuple

from app.judging.verdict import Outcome
from app.tracing.queries.dossier import Name, Rows


class ReadingLine(NamedTuple):
    """A reading as the dossier shows it; ``struck`` where it no longer counts."""

    quantity: str
    value: str
    tester: str | None
    checks: str
    blocks: tuple[str, ...]
    person: Name
    at: datetime
    remark: str
    struck: bool


def reading_lines(
    readings: Rows, checks: Rows, names: dict[int, Name], zone: tzinfo
) -> dict[int, list[ReadingLine]]:
    """Readings by coupon, each with its instrument, its checks and what became of it."""
    by_visit = _visits(checks)
    replaced = {row.replaces_id: row for row in readings if row.replaces_id is not None}
    latest = {row.id: row for row in readings}
    taken: dict[int, list[ReadingLine]] = defaultdict(list)
    for row in latest.values():
        told, blocks = by_visit.get(row.session_id, ("", ()))
        taken[row.coupon_id].append(
            ReadingLine(
                quantity=row.quantity.replace("_", " "),
                value=f"{row.value} {row.unit}",
                tester=row.tester,
                checks=told or (f"report {row.report}" if row.report else "no check on record"),
                blocks=blocks,
                person=names[row.taken_by_id],
                at=row.taken_at,
                remark=_remark(row, latest, replaced, zone),
                struck=row.id in replaced or bool(row.void_approved),
            )
        )
    return taken


def _visits(checks: Rows) -> dict[int, tuple[str, tuple[str, ...]]]:
    """By bench session: its checks in words, and the blocks they were made on."""
    made: dict[int, list[Any]] = defaultdict(list)
    for check in checks:
        made[check.session_id].append(check)
    return {
        key: (
            _told_of_checks(of_visit),
            tuple(dict.fromkeys(one.block for one in of_visit)),
        )
        for key, of_visit in made.items()
    }


def _told_of_checks(of_visit: list[Any]) -> str:
    """A session's checks in words; the common case, that all conform, in few of them."""
    moments = [one.moment.value for one in of_visit]
    if len(of_visit) > 1 and all(one.outcome == Outcome.CONFORMS for one in of_visit):
        return f"{', '.join(moments[:-1])} and {moments[-1]} conform"
    return ", ".join(f"{one.moment.value} {one.outcome.replace('_', ' ')}" for one in of_visit)


def _remark(row: Any, by_id: Mapping[int, Any], replaced: Mapping[int, Any], zone: tzinfo) -> str:
    """What became of a reading, and where it came from; ``replaced``: what stands in for others."""
    told = []
    if row.late_reason is not None:
        entered = row.entered_at.astimezone(zone).strftime("%Y-%m-%d %H:%M %Z")
        told.append(f"LATE, entered {entered}: {row.late_reason}")
    if row.replaces_id in by_id:
        original = by_id[row.replaces_id]
        shown = "" if row.evidence is None else f"; shown by: {row.evidence}"
        told.append(f"corrects {original.value} {original.unit}: {row.reason}{shown}")
    if row.retest_id is not None:
        told.append("retest")
    if row.id in replaced:
        told.append(f"replaced by {replaced[row.id].value}: {replaced[row.id].reason}")
    if row.void_approved:
        told.append(f"voided: {row.void_cause.value}")
    elif row.void_cause is not None and row.void_approved is None:
        told.append(f"void asked for: {row.void_cause.value}")
    if row.out_of_use is not None:
        told.append(f"{row.tester} is out of use now: {row.out_of_use}")
    return "; ".join(told)
