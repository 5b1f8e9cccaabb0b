"""How a logger seems to write its times: which columns, what form, what must be stated of them."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from app.documents.logger.logger_clock import Cell, Serial
from app.documents.logger.logger_guess import is_reading
from app.documents.logger.logger_mapping import ZONE_IN_FILE
from app.documents.logger.logger_rows import iso_time, number

_CLOCK = (
    r"\d{1,2}:\d\d(:\d\d([.,]\d+)?)?( ?(?P<half>[AaPp]\.?[Mm]\.?))?"
    r"( ?(?P<zone>Z|UTC|[+-]\d\d(:?\d\d)?))?"
)
_DATE = (
    r"(?P<a>\d{1,4}|[A-Za-z]{3,9})(?P<mark>[/.\- ])(?P<b>\d{1,2}|[A-Za-z]{3,9})(?P=mark)"
    r"(?P<c>\d{4}|\d{1,2})"
)
_BOTH = re.compile(rf"{_DATE}(T|,? +){_CLOCK}", re.ASCII)
_DAY = re.compile(_DATE, re.ASCII)
_TIME = re.compile(_CLOCK, re.ASCII)
_H_MM_SS = re.compile(r"\d+:[0-5]\d:[0-5]\d([.,]\d+)?", re.ASCII)
_ELAPSED_UNITS = {
    "seconds": re.compile(r"\b(s|sec|secs|seconds?)\b|_s$", re.IGNORECASE),
    "minutes": re.compile(r"\b(min|mins|minutes?)\b|_min$", re.IGNORECASE),
    "hours": re.compile(r"\b(h|hrs?|hours?)\b|_h$", re.IGNORECASE),
}
_ELAPSED_NAME = re.compile(r"time|elapsed|seconds|minutes|hours|dauer|zeit", re.IGNORECASE)
_MONTHS = 12


@dataclass(slots=True)
class TimeGuess:
    """The time's places from 0, its part of a mapping's paper, and how sure each thing is."""

    places: tuple[int, ...]
    paper: dict[str, Any]
    certain: list[str] = field(default_factory=list)
    guessed: list[str] = field(default_factory=list)
    to_state: list[str] = field(default_factory=list)


def time_guess(
    names: Sequence[str],
    units: Sequence[str] | None,
    body: Sequence[Sequence[Cell]],
    *,
    zone: str | None,
) -> TimeGuess | None:
    """How the rows' times seem to be written; None where no column looks like a time."""
    width = len(names)
    columns = [[row[at] for row in body if at < len(row)] for at in range(width)]
    for at, cells in enumerate(columns):
        beside = columns[at + 1] if at + 1 < width else []
        guess = _of_column(at, cells, beside)
        if guess is None:
            continue
        _state_zone(guess, zone)
        return guess
    for at, cells in enumerate(columns):
        unit = units[at] if units is not None and at < len(units) else ""
        guess = _elapsed(at, cells, f"{names[at]} {unit}")
        if guess is not None:
            return guess
    return None


def _of_column(at: int, cells: Sequence[Cell], beside: Sequence[Cell]) -> TimeGuess | None:
    """A column of dates and times, or of dates with the times of day ``beside`` it."""
    if cells and all(isinstance(cell, Serial) for cell in cells):
        says = "Times are date cells of the spreadsheet."
        whole = all(cell.days == int(cell.days) for cell in cells if isinstance(cell, Serial))
        parts = all(isinstance(cell, Serial) and cell.days < 1 for cell in beside)
        places = (at, at + 1) if whole and parts and beside else (at,)
        return TimeGuess(places, {"kind": "date cell"}, certain=[says])
    texts = [cell.strip() for cell in cells if isinstance(cell, str)]
    if not texts or len(texts) < len(cells):
        return None
    if _most(iso_time(text) is not None and len(text) > 10 for text in texts):  # noqa: PLR2004 - a date alone
        zoned = _most(bool((found := iso_time(text)) and found.zone) for text in texts)
        paper: dict[str, Any] = {"kind": "iso", "zone": ZONE_IN_FILE if zoned else None}
        return TimeGuess((at,), paper, certain=[f"Times are ISO 8601, such as {texts[0]}."])
    both = [matched for text in texts if (matched := _BOTH.fullmatch(text))]
    if 2 * len(both) > len(texts):
        return _pattern((at,), both, both[0])
    days = [matched for text in texts if (matched := _DAY.fullmatch(text))]
    clocks = [matched for cell in beside if (matched := _TIME.fullmatch(str(cell).strip()))]
    if 2 * len(days) > len(texts) and 2 * len(clocks) > len(beside):
        return _pattern((at, at + 1), days, clocks[0])
    return None


def _most(told: Iterable[bool]) -> bool:
    """Whether more than half hold."""
    listed = list(told)
    return 2 * sum(listed) > len(listed)


def _pattern(
    places: tuple[int, ...], matches: Sequence[re.Match[str]], clock: re.Match[str]
) -> TimeGuess:
    """A pattern of date and time: its order where the figures leave one only."""
    first = matches[0]
    mark = first["mark"]
    paper: dict[str, Any] = {"kind": "pattern", "date_mark": mark, "order": None, "zone": None}
    guess = TimeGuess(places, paper)
    orders = _orders(matches)
    if len(orders) == 1:
        paper["order"] = next(iter(orders))
        guess.certain.append(f"Dates such as {first[0]} are {paper['order']}.")
    else:
        guess.to_state.append(
            f"The order of the dates: {first[0]} may be {' or '.join(sorted(orders))}."
        )
    year = first["a"] if paper["order"] == "year-month-day" else first["c"]
    if len(year) == 2:  # noqa: PLR2004 - digits of a year
        guess.to_state.append(f"The century: {first[0]} has a year of two digits.")
    if clock["half"]:
        paper["clock"] = "12 h"
        guess.certain.append(f"The clock is of 12 hours with {clock['half']}.")
    if clock["zone"]:
        paper["zone"] = ZONE_IN_FILE
    return guess


def _orders(matches: Sequence[re.Match[str]]) -> set[str]:
    """The orders in which every date is one of the calendar."""
    # A year has four figures or two: a last figure that stands alone is a day.
    if all(len(matched["a"]) == 4 for matched in matches) or any(  # noqa: PLR2004 - digits
        len(matched["c"]) == 1 for matched in matches
    ):
        return {"year-month-day"}
    orders = {"day-month-year", "month-day-year"}
    if any(len(matched["c"]) == 2 for matched in matches):  # noqa: PLR2004 - digits of a year
        orders.add("year-month-day")
    for matched in matches:
        a, b, c = matched["a"], matched["b"], matched["c"]
        if not b.isdigit():
            orders -= {"month-day-year"}
        if not a.isdigit():
            orders &= {"month-day-year"}
        if a.isdigit() and b.isdigit():
            if int(b) > _MONTHS:
                orders -= {"day-month-year", "year-month-day"}
            if int(a) > _MONTHS:
                orders -= {"month-day-year"}
            if int(a) > 31 or int(c[-2:]) > 31:  # noqa: PLR2004 - days of a month
                orders -= {"day-month-year"} if int(a) > 31 else {"year-month-day"}  # noqa: PLR2004 - days of a month
    return orders or {"day-month-year", "month-day-year"}


def _state_zone(guess: TimeGuess, zone: str | None) -> None:
    """Say where the zone comes from, or that it must be stated."""
    if guess.paper.get("zone") == ZONE_IN_FILE:
        guess.certain.append("Each time carries its zone.")
    elif zone is None:
        guess.to_state.append("The zone of the logger's clock: no time in the file carries one.")
    else:
        guess.paper["zone"] = zone
        guess.guessed.append(f"The logger's clock is in {zone}: no time in the file carries one.")


def _elapsed(at: int, cells: Sequence[Cell], name: str) -> TimeGuess | None:
    """A column of elapsed time, by its name and rising figures."""
    texts = [cell.strip() for cell in cells if isinstance(cell, str)]
    if texts and len(texts) == len(cells) and all(_H_MM_SS.fullmatch(text) for text in texts):
        paper = {"kind": "elapsed", "elapsed_unit": "h:mm:ss"}
        return TimeGuess((at,), paper, guessed=[f"{texts[0]} is elapsed time as h:mm:ss."])
    if not (at == 0 or _ELAPSED_NAME.search(name)) or not all(is_reading(cell) for cell in cells):
        return None
    figures = [
        cell if isinstance(cell, float) else number(str(cell).replace(",", ".")) for cell in cells
    ]
    known = [figure for figure in figures if figure is not None]
    if len(known) < len(figures) or len(known) < 2 or sorted(known) != known:  # noqa: PLR2004 - one does not rise
        return None
    stated = name.strip()
    unit = next((unit for unit, form in _ELAPSED_UNITS.items() if form.search(stated)), None)
    guess = TimeGuess((at,), {"kind": "elapsed", "elapsed_unit": unit})
    if unit is None:
        column = name.strip() or f"column {at + 1}"
        guess.to_state.append(f"The unit of the elapsed times in {column}.")
    else:
        guess.guessed.append(f"{name.strip()} holds elapsed {unit}.")
    return guess
