"""Which revision governs, by hand: boundaries, orders, withdrawals."""

from dataclasses import replace
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest

from app.requirements.rules.governing import OrderSays, RevisionOnFile, governing

# Two hours ahead of UTC in summer: midnight of 1 June is 22:00 of 31 May in UTC.
ZONE = ZoneInfo("Europe/Helsinki")
A = RevisionOnFile("A", datetime(2026, 1, 1, tzinfo=UTC), None)
B = RevisionOnFile("B", datetime(2026, 5, 31, 21, 0, tzinfo=UTC), None)
C = RevisionOnFile("C", datetime(2026, 9, 1, tzinfo=UTC), None)
DRAFT = RevisionOnFile("D", None, None)
NOW = datetime(2026, 11, 1, tzinfo=UTC)
MAY, JUNE = date(2026, 5, 31), date(2026, 6, 1)


def _order(day: date, *, later: bool = False, stated: str | None = None) -> OrderSays:
    return OrderSays("4711", day, later, stated, "clause 2" if stated else "")


@pytest.mark.parametrize(
    ("order", "chosen", "governs", "says"),
    [
        ("4711", None, "C", "order 4711 is not on record"),
        (_order(MAY), None, "A", "newest that was in force on the day of order 4711 of 2026-05-31"),
        # In force from midnight of the order's day, in the shop's zone: that day is included.
        (_order(JUNE), None, "B", "order 4711 of 2026-06-01"),
        (_order(JUNE), "B", "B", "newest that was in force"),
        (_order(JUNE), "C", None, "C was chosen and does not govern: AT-1 revision B governs"),
        (_order(JUNE, later=True), None, "B", "newest that was in force"),
        (_order(JUNE, later=True), "C", "C", "allows later revisions, and it was chosen"),
        (_order(JUNE, later=True), "A", None, "A was chosen and does not govern"),
        (_order(JUNE, later=True), "D", None, "D was chosen and does not govern"),
        (_order(JUNE, later=True), "E", None, "has no revision E; it has A, B, C, D"),
        (_order(JUNE, stated="A"), None, "A", "states it (clause 2)"),
        (_order(JUNE, stated="D"), None, None, "it is not verified"),
        (_order(JUNE, stated="E"), None, None, "it is not on record"),
        (_order(JUNE, later=True, stated="A"), "C", None, "C was chosen and does not govern"),
        (_order(date(2025, 12, 31)), None, None, "No revision of AT-1 was in force on the day"),
        (_order(date(2025, 12, 31), later=True), None, "C", "none was in force on the day"),
        ("4711", "A", None, "A was chosen and does not govern"),
    ],
)
def test_the_order_selects_the_revision(
    order: OrderSays | str, chosen: str | None, governs: str | None, says: str
) -> None:
    found = governing("AT-1", [A, B, C, DRAFT], order=order, at=NOW, zone=ZONE, chosen=chosen)
    assert found.revision == governs
    assert says in found.reason


def test_what_was_withdrawn_since_governs_no_new_load_and_what_was_superseded_does() -> None:
    gone = replace(B, withdrawn_at=datetime(2026, 10, 1, tzinfo=UTC))
    found = governing("AT-1", [A, gone, C], order=_order(JUNE), at=NOW, zone=ZONE)
    assert found.revision is None
    assert "has been withdrawn since" in found.reason
    assert "ask the customer" in found.reason
    later = _order(JUNE, later=True)
    found = governing("AT-1", [A, gone, C], order=later, at=NOW, zone=ZONE)
    assert "choose a later revision" in found.reason
    found = governing("AT-1", [A, gone, C], order=later, at=NOW, zone=ZONE, chosen="C")
    assert found.revision == "C"
    # Withdrawn before the order was placed: it was not in force on that day at all.
    before = replace(B, withdrawn_at=datetime(2026, 7, 1, tzinfo=UTC))
    found = governing("AT-1", [A, before], order=_order(date(2026, 7, 2)), at=NOW, zone=ZONE)
    assert found.revision == "A"


def test_the_moments_of_coming_into_force_and_of_withdrawal() -> None:
    assert C.in_force_from is not None
    on_time = governing("AT-1", [A, B, C], order="", at=C.in_force_from, zone=ZONE)
    assert on_time.revision == "C"
    early = governing(
        "AT-1",
        [B, C],
        order=_order(date(2026, 9, 2)),
        at=datetime(2026, 8, 31, tzinfo=UTC),
        zone=ZONE,
    )
    assert "not yet in force at the planned start" in early.reason
    none = governing("AT-1", [DRAFT], order="", at=NOW, zone=ZONE)
    assert none.reason.startswith("AT-1 has no revision in force at the planned start")
