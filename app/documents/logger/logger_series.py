"""From a file's rows to one series: instants in order, repeats settled, units as handed on."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta, tzinfo

import numpy as np

from app.documents.logger.logger_cells import Rows
from app.documents.logger.logger_clock import RowUnreadable
from app.documents.logger.logger_clock_columns import Nanoseconds
from app.documents.logger.logger_mapping import LoggerMapping, VacuumPart
from app.documents.logger.logger_rows import EPOCH, NANOSECONDS
from app.documents.logger.logger_table import Part
from app.documents.logger.logger_zone import instants_of
from app.judging.record.spans import Flags, Floats
from app.judging.record.trace import celsius
from app.judging.units import vacuum_factor


@dataclass(frozen=True, slots=True, eq=False)
class Series:
    """One file's readings by channel.

    ``nanoseconds`` rise strictly: since 1970 in UTC, or elapsed where ``zone`` is None.
    Temperatures are in the mapping's ``trace_unit``, the vacuum in kPa below ambient.
    """

    filename: str
    nanoseconds: Nanoseconds
    channels: dict[str, Floats]
    zone: tzinfo | None
    notes: tuple[str, ...] = ()


def series_of(
    rows: Rows, parts: Sequence[Part], mapping: LoggerMapping, *, filename: str
) -> Series:
    """The rows as a series.

    Raises:
        RowUnreadable: a row's time cannot be placed, or is not later than the row before it.
    """
    notes: tuple[str, ...] = ()
    zone: tzinfo | None = None
    instants = rows.stamps.nanoseconds
    if mapping.time.kind != "elapsed":
        found = instants_of(rows.stamps, mapping.time)
        instants, zone, notes = found.nanoseconds, found.zone, found.notes
    kept = _kept(instants, rows.channels, mapping, zone)
    channels = rows.channels
    if kept is not None:
        instants, channels = instants[kept], [channel[kept] for channel in channels]
        dropped = len(kept) - len(instants)
        counted = "1 row that repeats the row" if dropped == 1 else f"{dropped} rows that repeat"
        tail = "before it" if dropped == 1 else "the rows before them"
        notes = (*notes, f"{filename}: {counted} {tail}, time and readings alike, left out.")
    named = {
        part.channel: _converted(readings, part, mapping)
        for part, readings in zip(parts, channels, strict=True)
    }
    return Series(filename, instants, named, zone, notes)


def _kept(
    instants: Nanoseconds, channels: Sequence[Floats], mapping: LoggerMapping, zone: tzinfo | None
) -> Flags | None:
    """Which rows stay, where some repeat the one before; None where every time is later.

    Raises:
        RowUnreadable: a time is earlier than the one before, or repeats it otherwise than allowed.
    """
    steps = np.diff(instants)
    if (steps > 0).all():
        return None
    repeats = steps == 0
    alike = _alike(channels, len(instants))
    droppable = repeats & alike & (mapping.repeated_rows == "drop identical")
    wrong = (steps < 0) | (repeats & ~droppable)
    if wrong.any():
        at = int(np.argmax(wrong)) + 1
        when, before = (told(instants[one], zone) for one in (at, at - 1))
        if steps[at - 1] < 0:
            says = f"{when} is earlier than {before} in the row before; export in order of time."
        elif alike[at - 1]:
            says = (
                f"{when} stands in the row before, too, with the same readings; state "
                f'repeated_rows "drop identical" in the mapping, or export the run again.'
            )
        else:
            says = f"{when} stands in the row before, too, with other readings; export again."
        raise RowUnreadable(at, says)
    return np.concatenate(([True], ~repeats))


def _alike(channels: Sequence[Floats], rows: int) -> Flags:
    """For each row after the first, whether all its readings are those of the row before."""
    alike = np.ones(max(rows - 1, 0), dtype=bool)
    for channel in channels:
        alike &= same(channel[1:], channel[:-1])
    return alike


def same(one: Floats, other: Floats) -> Flags:
    """Where two channels agree: the same figure, or missing in both."""
    found: Flags = (one == other) | (np.isnan(one) & np.isnan(other))
    return found


def told(nanoseconds: int, zone: tzinfo | None) -> str:
    """An instant for a sentence: in the record's zone, or elapsed seconds."""
    if zone is None:
        return f"{int(nanoseconds) / NANOSECONDS:g} s"
    moment = EPOCH + timedelta(microseconds=int(nanoseconds) // 1000)
    return moment.astimezone(zone).isoformat(sep=" ")


def _converted(readings: Floats, part: Part, mapping: LoggerMapping) -> Floats:
    """Temperatures in the trace's unit, vacuum in kPa below ambient."""
    if not isinstance(part, VacuumPart):
        unit = part.unit or mapping.temperature_unit
        return readings if unit == mapping.trace_unit else celsius(readings, unit)
    factor = vacuum_factor(part.unit)
    if factor != 1:
        # A quotient where the factor is one over a whole number, so that it is rounded once.
        one_over = factor.numerator == 1
        readings = readings / factor.denominator if one_over else readings * float(factor)
    if part.sense == "below ambient":
        return readings
    return (0.0 if part.ambient_kpa is None else float(part.ambient_kpa)) - readings
