"""The times of whole columns at once, where every row has the first one's shape; exact.

What cannot be taken so goes row by row through ``logger_clock``, and what that cannot read is None:
the slow pass then finds the row for the one sentence a person needs.
"""

import re
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from app.documents.logger.logger_clock import FIRST_YEAR, LAST_YEAR, SECONDS_OF, Clock, Unreadable
from app.documents.logger.logger_rows import NANOSECONDS
from app.judging.record.spans import Floats

Nanoseconds: TypeAlias = NDArray[np.int64]
Signs: TypeAlias = NDArray[np.uint8]

_SURE_S = 2e6
"""Elapsed times up to this many seconds are exact to the nanosecond in binary floating point."""
_PLACES = {
    "year-month-day": ("a", "b", "c"),
    "day-month-year": ("c", "b", "a"),
    "month-day-year": ("c", "a", "b"),
}


@dataclass(frozen=True, slots=True, eq=False)
class Stamps:
    """Times of all rows, shape (n,), and each row's zone: one for all, or one each."""

    nanoseconds: Nanoseconds
    zones: str | tuple[str, ...]


def times_of(clock: Clock, columns: list[Any]) -> Stamps | None:
    """The times of whole columns; None where one cannot be read.

    ``columns`` are Arrow's: texts, or float64 where the times are numbers.
    """
    if clock.is_number:
        return _elapsed(clock, columns[0].to_numpy())
    texts = columns[0] if len(columns) == 1 else pc.binary_join_element_wise(*columns, " ")
    found = None if clock.part.kind == "elapsed" else _by_shape(clock, texts)
    if found is not None:
        return found
    try:
        each = [clock.read((text,), comma=False) for text in texts.to_pylist()]
    except Unreadable:
        return None
    nanoseconds = np.array([stamp.nanoseconds for stamp in each], dtype=np.int64)
    zones = tuple(stamp.zone for stamp in each)
    return Stamps(nanoseconds, zones[0] if len(set(zones)) == 1 else zones)


def _elapsed(clock: Clock, values: Floats) -> Stamps | None:
    """Elapsed times from plain numbers; None where they are not sure to the nanosecond."""
    seconds = values * SECONDS_OF[str(clock.part.elapsed_unit)]
    if not len(seconds) or not (np.abs(seconds) < _SURE_S).all():
        return None
    exact = seconds * NANOSECONDS
    whole = np.rint(exact)
    # Further from a whole nanosecond than rounding can bring it: the slow pass rounds decimals.
    if (np.abs(exact - whole) > 0.3).any():  # noqa: PLR2004 - the error stays under 0.3
        return None
    return Stamps(whole.astype(np.int64), "")


def _by_shape(clock: Clock, texts: Any) -> Stamps | None:
    """Times that all have the first one's shape, sign for sign; None where not."""
    signs = _matrix(texts)
    if signs is None:
        return None
    matched = clock.pattern.fullmatch(signs[0].tobytes().decode("ascii", errors="replace"))
    places = None if matched is None else _places(clock, matched)
    if matched is None or places is None:
        return None
    fields = _fields(signs, matched)
    if fields is None:
        return None
    days = _days(*(fields[group] for group in places))
    hours = _hours(clock, signs, matched, fields["hour"])
    minutes, seconds = fields["minute"], fields.get("second", np.int64(0))
    if days is None or hours is None or not ((minutes < 60) & (seconds < 60)).all():  # noqa: PLR2004 - the clock's own
        return None
    whole = ((days * 24 + hours) * 60 + minutes) * 60 + seconds
    scale = 10 ** (9 - len(matched["fraction"] or ""))
    fraction = fields.get("fraction", np.int64(0)) * scale
    return Stamps(whole * NANOSECONDS + fraction, matched["zone"] or "")


def _places(clock: Clock, matched: re.Match[str]) -> tuple[str, str, str] | None:
    """The groups of year, month and day; None where they are not four, two and two figures."""
    order = "year-month-day" if clock.part.kind == "iso" else clock.part.order
    found = _PLACES.get(order or "")
    if found is None or not all(matched[group].isdigit() for group in found):
        return None
    year, *others = (len(matched[group]) for group in found)
    return found if year == 4 and max(others) <= 2 else None  # noqa: PLR2004 - digits


def _hours(
    clock: Clock, signs: Signs, matched: re.Match[str], hours: Nanoseconds
) -> Nanoseconds | None:
    """Hours of the day, 0 to 23; None where one is out of range."""
    if clock.part.clock == "24 h":
        return hours if matched["half"] is None and (hours < 24).all() else None  # noqa: PLR2004 - the clock's own
    if matched["half"] is None or not ((hours >= 1) & (hours <= 12)).all():  # noqa: PLR2004 - the clock's own
        return None
    afternoon = (signs[:, matched.start("half")] | 32) == ord("p")
    return np.where(afternoon, hours % 12 + 12, hours % 12)


def _matrix(texts: Any) -> Signs | None:
    """The texts as rows of signs, shape (n, length); None where lengths differ."""
    joined = texts.combine_chunks() if isinstance(texts, pa.ChunkedArray) else texts
    if not isinstance(joined, pa.Array) or not len(joined) or joined.null_count:
        return None
    _, offsets, signs = joined.buffers()
    ends = np.frombuffer(offsets, dtype=np.int32)[joined.offset : joined.offset + len(joined) + 1]
    length = int(ends[1] - ends[0])
    if signs is None or length == 0 or not (np.diff(ends) == length).all():
        return None
    return np.frombuffer(signs, dtype=np.uint8)[ends[0] : ends[-1]].reshape(-1, length)


def _fields(signs: Signs, matched: re.Match[str]) -> dict[str, Nanoseconds] | None:
    """The figures of each group that the first row has; None where a row differs in shape."""
    numeric = [
        group
        for group in ("a", "b", "c", "hour", "minute", "second", "fraction")
        if matched[group] is not None
    ]
    free = {at for group in numeric for at in range(*matched.span(group))}
    if matched["half"] is not None:
        at = matched.start("half")
        free.add(at)
        low = signs[:, at] | 32
        if not ((low == ord("a")) | (low == ord("p"))).all():
            return None
    for at in range(signs.shape[1]):
        if at not in free and not (signs[:, at] == signs[0, at]).all():
            return None
    figures: dict[str, Nanoseconds] = {}
    for group in numeric:
        total = np.zeros(len(signs), dtype=np.int64)
        for at in range(*matched.span(group)):
            digit = signs[:, at] - np.uint8(ord("0"))
            if (digit > 9).any():  # noqa: PLR2004 - a digit
                return None
            total = total * 10 + digit
        figures[group] = total
    return figures


def _days(year: Nanoseconds, month: Nanoseconds, day: Nanoseconds) -> Nanoseconds | None:
    """Days since 1970; None where one is on no calendar, or outside the years that are taken."""
    known = (year >= FIRST_YEAR) & (year <= LAST_YEAR)
    if not (known & (month >= 1) & (month <= 12) & (day >= 1)).all():  # noqa: PLR2004 - the calendar's own
        return None
    months = (year - 1970) * 12 + month - 1
    begin, after = (
        shifted.astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
        for shifted in (months, months + 1)
    )
    return begin + day - 1 if (day <= after - begin).all() else None
