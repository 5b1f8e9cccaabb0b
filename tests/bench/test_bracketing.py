"""Several blocks frame a session: what its checks prove, against a slow and plain replay."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.bench.rules.bracketing import (
    CLOSING,
    INTERIM,
    OPENING,
    Check,
    Standing,
    bracket,
    newly_unproven,
    next_check_due,
    not_checked_after,
    session_standing,
    still_to_close,
    takes_out_of_use,
)

START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
HOUR = timedelta(hours=1)


def _checks(*said: str) -> list[Check]:
    """Checks an hour apart: "opening A", "closing B failed" and so on."""
    made = []
    for number, words in enumerate(said):
        moment, block, *failed = words.split()
        made.append(Check(moment, not failed, START + number * HOUR, block))
    return made


def _slow_standing(checks: list[Check]) -> Standing:
    """Step by step through the session, as somebody with a pencil would."""
    opened: dict[str, bool] = {}
    closed: set[str] = set()
    last_on: dict[str, Check] = {}
    last: Check | None = None
    out = closing = False
    for check in checks:
        failed = not check.conforms
        again = False
        for earlier in (last, last_on.get(check.block)):
            if earlier is not None and earlier.moment == OPENING and not earlier.conforms:
                again = True
        out = failed and (check.moment != OPENING or again)
        if check.moment == OPENING:
            opened[check.block] = check.conforms
        if check.moment == CLOSING:
            closing = True
            if check.conforms:
                closed.add(check.block)
        last = last_on[check.block] = check
    if out:
        return Standing.FAILED
    if not opened or False in opened.values():
        return Standing.AWAITING_OPENING
    if not closing:
        return Standing.OPEN
    outstanding = sum(block not in closed for block in opened)
    others = sum(block not in opened for block in closed)
    return Standing.CLOSED if others >= outstanding else Standing.CLOSING


def _slow_bracket(at: datetime, checks: list[Check]) -> tuple[bool, bool]:
    """Whether a reading counts, and whether only provisionally; ``at`` is no check's time."""
    if not any(check.at < at for check in checks):
        return False, False
    for block in {check.block for check in checks}:
        for check in reversed(checks):
            if check.block == block and check.at < at:
                if not check.conforms:
                    return False, False
                break
        for check in checks:
            if check.block == block and check.at > at:
                if not check.conforms:
                    return False, False
                break
    if _slow_standing(checks) in {Standing.OPEN, Standing.CLOSING}:
        return True, True
    opened = {check.block for check in checks if check.moment == OPENING and check.at < at}
    again = {check.block for check in checks if check.conforms and check.at > at}
    return len(again - opened) >= len(opened - again), False


SEQUENCES = st.lists(
    st.tuples(
        st.sampled_from([OPENING, OPENING, INTERIM, CLOSING]),
        st.sampled_from("ABC"),
        st.sampled_from([True, True, True, False]),
    ),
    max_size=8,
).map(
    lambda said: [
        Check(moment, conforms, START + number * HOUR, block)
        for number, (moment, block, conforms) in enumerate(said)
    ]
)


@settings(max_examples=1500, deadline=None)
@given(SEQUENCES)
def test_where_a_session_stands_is_what_a_slow_replay_says(checks: list[Check]) -> None:
    assert session_standing(checks) is _slow_standing(checks)


@settings(max_examples=1500, deadline=None)
@given(SEQUENCES, st.integers(-1, 8))
def test_a_reading_counts_as_a_slow_replay_says(checks: list[Check], half_hours: int) -> None:
    at = START + half_hours * HOUR + HOUR / 2
    reason, provisional = bracket(at, checks)
    assert (reason is None, provisional) == _slow_bracket(at, checks)


@settings(max_examples=500, deadline=None)
@given(SEQUENCES, st.integers(-1, 8))
def test_a_failed_check_takes_proof_away_and_no_later_check_gives_it_back(
    checks: list[Check], half_hours: int
) -> None:
    at = START + half_hours * HOUR + HOUR / 2
    taken_away = [
        "failed, so" in (bracket(at, checks[:n])[0] or "") for n in range(len(checks) + 1)
    ]
    assert taken_away == sorted(taken_away)


@pytest.mark.parametrize(
    ("said", "standing"),
    [
        (("opening A", "opening B"), Standing.OPEN),
        (("opening A", "opening B failed"), Standing.AWAITING_OPENING),
        (("opening A", "opening B failed", "opening B"), Standing.OPEN),
        (("opening A failed", "opening A failed"), Standing.FAILED),
        (("opening A failed", "opening B failed"), Standing.FAILED),
        (("opening A failed", "opening B", "opening A failed"), Standing.FAILED),
        (("opening A", "opening B", "closing A"), Standing.CLOSING),
        (("opening A", "opening B", "closing A", "closing B"), Standing.CLOSED),
        (("opening A", "opening B", "closing A", "closing B failed"), Standing.FAILED),
        # A block that was used up meanwhile gives its place to another.
        (("opening A", "opening B", "closing A", "closing C"), Standing.CLOSED),
        (("opening A", "opening B", "closing C"), Standing.CLOSING),
    ],
)
def test_every_block_of_the_opening_is_checked_again_at_the_close(said, standing) -> None:
    assert session_standing(_checks(*said)) is standing


def test_what_is_still_to_be_closed_is_named() -> None:
    assert still_to_close(_checks("opening A", "opening B", "closing A")) == ("B",)
    assert still_to_close(_checks("opening A", "opening B")) == ("A", "B")
    assert not_checked_after(
        START + 1.5 * HOUR, _checks("opening A", "opening B", "interim B")
    ) == ("A",)


def test_a_failed_check_on_one_block_leaves_unproven_what_came_since_its_own_good_one() -> None:
    checks = _checks("opening A", "opening B", "interim A", "interim B failed")
    taken = [(1, START + 1.5 * HOUR), (2, START + 2.5 * HOUR)]
    assert newly_unproven(taken, checks) == (1, 2)
    checks = _checks("opening A", "opening B", "interim A", "interim B", "closing A failed")
    assert newly_unproven([*taken, (3, START + 3.5 * HOUR)], checks) == (2, 3)


def test_the_reason_names_the_block_where_there_are_several() -> None:
    checks = _checks("opening A", "opening B", "closing B failed")
    reason, _ = bracket(START + 1.5 * HOUR, checks)
    assert reason == (
        "the closing check on B after it failed, so nothing since the last conforming check is "
        "proven; measure again"
    )


def test_a_first_failed_opening_check_may_be_tried_again_and_no_other() -> None:
    assert not takes_out_of_use(_checks("opening A failed"))
    assert not takes_out_of_use(_checks("opening A failed", "opening A"))
    assert takes_out_of_use(_checks("opening A failed", "opening A failed"))
    assert takes_out_of_use(_checks("opening A", "interim A failed"))
    assert takes_out_of_use(_checks("opening A", "closing A failed"))


def test_the_next_check_is_due_so_long_after_the_block_checked_longest_ago() -> None:
    assert next_check_due(_checks("opening A"), 90) == START + timedelta(minutes=90)
    assert next_check_due(_checks("opening A"), None) is None
    assert next_check_due(_checks("opening A", "opening B"), 90) == START + timedelta(minutes=90)
    again = _checks("opening A", "opening B", "interim A")
    assert next_check_due(again, 90) == START + HOUR + timedelta(minutes=90)
    assert next_check_due(_checks("opening A", "closing A"), 90) is None
    assert next_check_due(_checks("opening A failed"), 90) is None
