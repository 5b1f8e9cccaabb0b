"""From the clock on the wall to UTC: zones, daylight-saving changes, the hour that comes twice.

A time that the stated zone skips is refused. One that it has twice is refused too, unless the
mapping lets the order of the rows decide and the second pass shows in it.
"""

from dataclasses import dataclass
from datetime import timedelta, timezone, tzinfo

import numpy as np

from app.documents.logger.logger_clock import RowUnreadable
from app.documents.logger.logger_clock_columns import Nanoseconds, Stamps
from app.documents.logger.logger_mapping import ZONE_IN_FILE, TimePart, zone_stated
from app.documents.logger.logger_rows import EPOCH, NANOSECONDS, zone_named

LONGEST_DAYS = 3660
"""No furnace run is longer than ten years; a file that says so has a wrong date in it."""
_HOUR_S = 3600
_SPREAD_S = 26 * _HOUR_S
_MOST_OFFSET_S = 15 * _HOUR_S


@dataclass(frozen=True, slots=True, eq=False)
class Instants:
    """Nanoseconds since 1970 in UTC, shape (n,), the zone to show them in, and what was noted."""

    nanoseconds: Nanoseconds
    zone: tzinfo
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Change:
    """The instant a zone's offset changes (seconds since 1970, UTC), and both offsets."""

    at_s: int
    before_s: int
    after_s: int


def instants_of(stamps: Stamps, part: TimePart) -> Instants:
    """The rows' instants under the zone that the mapping states.

    Raises:
        RowUnreadable: a row's time is in no zone or two, does not exist, or comes twice.
    """
    stated = str(part.zone)
    zones = stamps.zones
    local = stamps.nanoseconds
    _check_span(local)
    each = (zones,) * len(local) if isinstance(zones, str) else zones
    if stated == ZONE_IN_FILE:
        for at, written in enumerate((zones,) if isinstance(zones, str) else zones):
            if not written:
                raise RowUnreadable(
                    at,
                    f"{shown(local[at])} stands without a zone, but the mapping says that the zone "
                    f"is in the file; state the zone of the logger's clock in the mapping.",
                )
        return Instants(local - _offsets(zones), _zone(each[0]))
    for at, written in enumerate((zones,) if isinstance(zones, str) else zones):
        if written:
            raise RowUnreadable(
                at,
                f"{shown(local[at])} carries the zone {written}, but the mapping states {stated}; "
                f'state the zone as "{ZONE_IN_FILE}".',
            )
    zone = zone_stated(stated)
    if zone is None:  # the mapping was checked when it was read
        raise RowUnreadable(0, f"there is no zone {stated}; correct the mapping.")
    if isinstance(zone, timezone):
        shift = int(zone.utcoffset(None).total_seconds()) * NANOSECONDS
        return Instants(local - shift, zone)
    return _of_named_zone(local, zone, part)


def shown(nanoseconds: int) -> str:
    """A clock's time for a sentence: 2031-10-26 02:30:00, with the fraction where there is one."""
    moment = EPOCH + timedelta(microseconds=int(nanoseconds) // 1000)
    return moment.replace(tzinfo=None).isoformat(sep=" ")


def _zone(written: str) -> tzinfo:
    return zone_named(None if written in {"Z", "UTC"} else written)


def _offsets(zones: str | tuple[str, ...]) -> Nanoseconds:
    """Each row's offset from UTC, or one for all."""
    known = {
        zone: int((_zone(zone).utcoffset(None) or timedelta()).total_seconds()) * NANOSECONDS
        for zone in ({zones} if isinstance(zones, str) else set(zones))
    }
    listed = [known[zones]] if isinstance(zones, str) else [known[zone] for zone in zones]
    return np.array(listed, dtype=np.int64)


def _check_span(local: Nanoseconds) -> None:
    """Refuse a span that no run has."""
    far = np.abs(local - local[0]) > LONGEST_DAYS * 86_400 * NANOSECONDS
    if far.any():
        at = int(np.argmax(far))
        raise RowUnreadable(
            at,
            f"{shown(local[at])} is more than {LONGEST_DAYS} days from the first row; export one "
            f"run only, or correct how the mapping reads dates.",
        )


def _of_named_zone(local: Nanoseconds, zone: tzinfo, part: TimePart) -> Instants:
    first, last = int(local.min()) // NANOSECONDS, int(local.max()) // NANOSECONDS
    changes = _changes(zone, first - _SPREAD_S, last + _SPREAD_S)
    offset = _offset_at(zone, first - _SPREAD_S)
    utc = local - offset * NANOSECONDS
    notes = []
    for change in changes:
        begin = (change.at_s + change.after_s) * NANOSECONDS
        end = (change.at_s + change.before_s) * NANOSECONDS
        # Where the clock goes on: from there on the new offset holds, whatever comes between.
        utc = np.where(local >= max(begin, end), local - change.after_s * NANOSECONDS, utc)
        if begin > end:
            _refuse_skipped(local, end, begin, part)
        else:
            twice = np.flatnonzero((local >= begin) & (local < end))
            if len(twice):
                second = _second_pass(local, twice, end - begin, part)
                utc[second] = local[second] - change.after_s * NANOSECONDS
        if int(utc[0]) < change.at_s * NANOSECONDS <= int(utc[-1]):
            notes.append(_crossed(change, part))
    return Instants(utc, zone, tuple(notes))


def _changes(zone: tzinfo, begin_s: int, end_s: int) -> list[_Change]:
    """Every change of the zone's offset between two instants, to the second."""
    found = []
    before = _offset_at(zone, begin_s)
    for at in range(begin_s + _HOUR_S, end_s + _HOUR_S, _HOUR_S):
        after = _offset_at(zone, at)
        if after != before:
            low, high = at - _HOUR_S, at
            while high - low > 1:
                middle = (low + high) // 2
                low, high = (middle, high) if _offset_at(zone, middle) == before else (low, middle)
            found.append(_Change(high, before, after))
            before = after
    return found


def _offset_at(zone: tzinfo, at_s: int) -> int:
    """The zone's offset from UTC at an instant, in seconds."""
    offset = (EPOCH + timedelta(seconds=at_s)).astimezone(zone).utcoffset()
    return int(offset.total_seconds()) if offset is not None else 0


def _refuse_skipped(local: Nanoseconds, begin: int, end: int, part: TimePart) -> None:
    """Refuse a time from ``begin`` to before ``end``, which the clock never showed."""
    skipped = (local >= begin) & (local < end)
    if skipped.any():
        at = int(np.argmax(skipped))
        raise RowUnreadable(
            at,
            f"{shown(local[at])} does not exist in {part.zone}, where clocks went from "
            f"{shown(begin)} to {shown(end)}; state the zone of the logger's clock in the mapping.",
        )


def _second_pass(local: Nanoseconds, twice: Nanoseconds, hour: int, part: TimePart) -> Nanoseconds:
    """Which of the rows in the repeated ``hour`` are of its second pass: those after the step back.

    Raises:
        RowUnreadable: the mapping does not ask for it, or the order does not show the two passes.
    """
    first = int(twice[0])
    if part.repeated_hour != "by order":
        raise RowUnreadable(
            first,
            f"{shown(local[first])} came twice in {part.zone}, where the clocks were set back; "
            f'state repeated_hour "by order" in the mapping if the rows show both passes, or '
            f"export the times in UTC.",
        )
    back = np.flatnonzero(np.diff(local[twice]) < 0)
    if len(back) != 1:
        says = "no step back shows" if not len(back) else "more than one step back shows"
        raise RowUnreadable(
            first,
            f"{shown(local[first])} came twice in {part.zone}, and {says} where the hour repeats, "
            f"so its rows cannot be told apart; export the times in UTC.",
        )
    last, then = int(twice[back[0]]), int(twice[back[0] + 1])
    passed = int(local[then] - local[last]) + hour
    usual = float(np.median(np.diff(local)))
    if passed > max(hour / 2, 1.5 * usual):  # a slip of the clock, not the hour's repeat
        raise RowUnreadable(
            then,
            f"{shown(local[then])} steps back from {shown(local[last])}, which is not the repeat "
            f"of an hour; export the times in UTC.",
        )
    return twice[int(back[0]) + 1 :]


def _crossed(change: _Change, part: TimePart) -> str:
    """The note on a change of clocks within the record."""
    old, new = (
        shown((change.at_s + offset) * NANOSECONDS) for offset in (change.before_s, change.after_s)
    )
    way = "forward" if change.after_s > change.before_s else "back"
    return (
        f"The clocks of {part.zone} were set {way} from {old} to {new} within the record; its "
        f"times are counted through the change."
    )
