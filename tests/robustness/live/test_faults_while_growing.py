"""The power fails at every single write of a growing record: each decision is whole or absent."""

from collections.abc import Callable
from datetime import timedelta

import pytest

from app.database import Database
from app.loads import service
from tests.loads.live.live_makers import Sending, at_row, rows_of
from tests.makers import NOW
from tests.robustness.test_faults import MOST_WRITES, PowerFailed, failing_at
from tests.robustness.whole_record import contents, moved

Act = Callable[[], object]


def issue_token(sending: Sending) -> Act:
    return lambda: sending.issue("a second cabinet")


def revoke_token(sending: Sending) -> Act:
    return lambda: service.revoke_token(
        sending.database,
        sending.logger.token_id,
        reason="the cabinet was sold",
        by=sending.shop.administrator,
        at=NOW,
    )


def open_live(sending: Sending) -> Act:
    return sending.open


def take_rows(sending: Sending) -> Act:
    sending.open()
    sending.send(rows_of(0, 10))
    return lambda: sending.send(rows_of(5, 20), first=5)


def take_rows_and_anchor(sending: Sending) -> Act:
    sending.open()
    sending.send(rows_of(0, 10))
    return lambda: sending.send(rows_of(10, 100), first=10, at=at_row(100))


@pytest.mark.parametrize(
    "prepare",
    [issue_token, revoke_token, open_live, take_rows, take_rows_and_anchor],
    ids=lambda prepare: prepare.__name__,
)
def test_a_failure_at_any_write_keeps_nothing(
    database: Database, prepare: Callable[[Sending], Act]
) -> None:
    act = prepare(Sending(database))
    before = contents(database)
    for write in range(MOST_WRITES):
        with failing_at(database, write) as told:
            try:
                act()
            except PowerFailed:
                assert moved(before, contents(database)) == [], told[-1]
                continue
        assert moved(before, contents(database))
        return
    pytest.fail(f"the act needs more than {MOST_WRITES} writes")


def test_a_closing_that_fails_anywhere_is_made_up_for(database: Database) -> None:
    """Closing and import are two decisions: each whole or absent, the second made up for."""
    sending = Sending(database)
    sending.open()
    sending.send(rows_of())
    states = [contents(database)]
    closing = {"live_anchor", "live_closing", "trail_entry"}
    for write in range(MOST_WRITES):
        with failing_at(database, write):
            try:
                closed = sending.close(at=at_row(271) + timedelta(minutes=5))
            except PowerFailed:
                now = contents(database)
                changed = moved(states[-1], now)
                assert set(changed) in (set(), closing)
                if changed:
                    states.append(now)
                continue
        assert closed.verdict == "conforms"
        assert len(states) == 2, "no failure came between closing and import"
        return
    pytest.fail("the closing never went through")
