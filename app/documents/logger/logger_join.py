"""Several files of one run put together: one after the other, or side by side. Exact or refused."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from app.documents.logger.logger_mapping import LoggerMapping
from app.documents.logger.logger_rows import NANOSECONDS
from app.documents.logger.logger_series import Series, same, told
from app.errors import BadFile

_HOLE = 1.5
"""A pause between files longer than so many usual intervals is noted."""


def joined(parts: Sequence[Series], mapping: LoggerMapping) -> Series:
    """The files' series as one.

    Raises:
        BadFile: names the file and the time that does not go with the others.
    """
    if mapping.files == "side by side":
        return _side_by_side(parts, mapping)
    ordered = sorted(parts, key=lambda one: int(one.nanoseconds[0])) if mapping.sort else parts
    whole = ordered[0]
    for part in ordered[1:]:
        whole = _after(whole, part)
    return whole


def first_rows(parts: Sequence[Series], mapping: LoggerMapping) -> list[Series]:
    """Of files whose ends are not there, the rows that go together: for a look at them only."""
    if mapping.files != "side by side":
        return [min(parts, key=lambda one: int(one.nanoseconds[0])) if mapping.sort else parts[0]]
    last = min(int(part.nanoseconds[-1]) for part in parts)
    found = []
    for part in parts:
        rows = int(np.searchsorted(part.nanoseconds, last, side="right"))
        channels = {name: readings[:rows] for name, readings in part.channels.items()}
        found.append(replace(part, nanoseconds=part.nanoseconds[:rows], channels=channels))
    return found


def _after(earlier: Series, later: Series) -> Series:
    """Two series in order of time; rows that are in both must be the same, and are kept once."""
    first, last = int(later.nanoseconds[0]), int(earlier.nanoseconds[-1])
    if first < int(earlier.nanoseconds[0]):
        raise BadFile(
            f"{later.filename}: it begins at {told(first, later.zone)}, before {earlier.filename}; "
            f"give the files in order of time, or state sort in the mapping."
        )
    begin = int(np.searchsorted(earlier.nanoseconds, first))
    shared = int(np.searchsorted(later.nanoseconds, last, side="right"))
    end = int(np.searchsorted(earlier.nanoseconds, later.nanoseconds[-1], side="right"))
    notes = [*earlier.notes, *later.notes]
    if shared:
        _refuse_unlike(earlier, later, slice(begin, end), shared)
        counted = "1 row" if shared == 1 else f"{shared} rows"
        both = f"{earlier.filename} and {later.filename}"
        notes.append(f"{counted} of {both} are the same and are kept once.")
    elif (pause := first - last) > _HOLE * _interval(earlier):
        notes.append(
            f"Nothing was logged for {pause / NANOSECONDS:g} s between {earlier.filename} "
            f"and {later.filename}."
        )
    times = np.concatenate((earlier.nanoseconds, later.nanoseconds[shared:]))
    channels = {
        name: np.concatenate((readings, later.channels[name][shared:]))
        for name, readings in earlier.channels.items()
    }
    return Series(later.filename, times, channels, earlier.zone, tuple(notes))


def _refuse_unlike(earlier: Series, later: Series, there: slice, shared: int) -> None:
    """Refuse an overlap whose rows are not the same in both files."""
    mine, theirs = earlier.nanoseconds[there], later.nanoseconds[:shared]
    least = min(len(mine), len(theirs))
    differ = mine[:least] != theirs[:least]
    for name, readings in earlier.channels.items():
        differ |= ~same(readings[there][:least], later.channels[name][:shared][:least])
    if len(mine) == len(theirs) and not differ.any():
        return
    at = int(np.argmax(differ)) if differ.any() else least
    when = (theirs if len(theirs) > at else mine)[at]
    raise BadFile(
        f"{later.filename}: it overlaps {earlier.filename}, and at {told(when, later.zone)} the "
        f"two are not the same; choose files that follow on each other."
    )


def _interval(series: Series) -> float:
    """The usual time between rows, in nanoseconds; endless where there is one row only."""
    steps = np.diff(series.nanoseconds)
    return float(np.median(steps)) if len(steps) else float("inf")


def _side_by_side(parts: Sequence[Series], mapping: LoggerMapping) -> Series:
    _refuse_missing(parts, mapping)
    first = parts[0]
    for part in parts[1:]:
        if mapping.join == "equal times":
            _refuse_other_times(first, part)
    times = first.nanoseconds
    notes = [note for part in parts for note in part.notes]
    if mapping.join == "union of times":
        for part in parts[1:]:
            times = np.union1d(times, part.nanoseconds)
        notes += [
            f"{part.filename}: it has no row at {len(times) - len(part.nanoseconds)} of the "
            f"{len(times)} times; its readings there are missing."
            for part in parts
            if len(part.nanoseconds) < len(times)
        ]
    channels = {}
    for part in parts:
        places = np.searchsorted(times, part.nanoseconds)
        for name, readings in part.channels.items():
            if len(readings) == len(times):
                channels[name] = readings
                continue
            channels[name] = np.full(len(times), np.nan)
            channels[name][places] = readings
    ordered = {part.channel: channels[part.channel] for part in mapping.parts}
    return Series(first.filename, times, ordered, first.zone, tuple(dict.fromkeys(notes)))


def _refuse_missing(parts: Sequence[Series], mapping: LoggerMapping) -> None:
    """Refuse a channel that is in none of the files, or in two of them."""
    for wanted in mapping.parts:
        found = [part.filename for part in parts if wanted.channel in part.channels]
        if not found:
            raise BadFile(
                f"{', '.join(part.filename for part in parts)}: none of them holds the column "
                f"{wanted.column} of {wanted.channel}; choose the run's other files as well."
            )
        if len(found) > 1:
            raise BadFile(
                f"{found[1]}: the column {wanted.column} of {wanted.channel} is in {found[0]} as "
                f"well; state in_file for it in the mapping."
            )


def _refuse_other_times(first: Series, part: Series) -> None:
    """Refuse a file whose times are not those of the first."""
    least = min(len(first.nanoseconds), len(part.nanoseconds))
    differ = first.nanoseconds[:least] != part.nanoseconds[:least]
    if len(first.nanoseconds) == len(part.nanoseconds) and not differ.any():
        return
    at = int(np.argmax(differ)) if differ.any() else least
    longer = part if len(part.nanoseconds) > at else first
    raise BadFile(
        f"{part.filename}: its times are not those of {first.filename} from "
        f'{told(longer.nanoseconds[at], part.zone)} on; state join "union of times" in the mapping '
        f"if the loggers ran on their own."
    )
