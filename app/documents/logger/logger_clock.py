"""A row's time as written, in nanoseconds: exact, cell by cell.

What a cell may mean is stated by the mapping's time part. A cell that fits two dates under it is
refused, never guessed. Zones are for ``logger_zone``.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import NamedTuple, TypeAlias

from app.documents.logger.logger_mapping import TimePart
from app.documents.logger.logger_rows import NANOSECONDS, number

UNIX_DAY = date(1970, 1, 1).toordinal()
DAY_1900 = date(1899, 12, 30).toordinal()
"""Day 0 of a spreadsheet's 1900 system for every day after February 1900."""
FIRST_YEAR, LAST_YEAR = 1970, 2199
FIRST_DAY, LAST_DAY = date(FIRST_YEAR, 1, 1).toordinal(), date(LAST_YEAR, 12, 31).toordinal()
DAY_1904 = date(1904, 1, 1).toordinal()
_DAY_MS = 86_400_000
_MS = 1_000_000
_OFF_A_MILLISECOND = 0.05
"""How far a date cell's binary fraction may be from a whole millisecond, in milliseconds. A writer
that keeps 15 digits is off by up to 0.005; one that keeps fewer has lost the time itself."""

_TIME_OF_DAY = (
    r"(?P<hour>\d{1,2}):(?P<minute>\d\d)(?::(?P<second>\d\d)(?:[.,](?P<fraction>\d{1,9}))?)?"
    r"(?: ?(?P<half>[AaPp]\.?[Mm]\.?))?(?: ?(?P<zone>Z|UTC|[+-]\d\d(?::?\d\d)?))?"
)
_ISO = re.compile(
    r"(?P<a>\d{4})-(?P<b>\d\d)-(?P<c>\d\d)[T ]"
    r"(?P<hour>\d\d):?(?P<minute>\d\d)(?::?(?P<second>\d\d)(?:[.,](?P<fraction>\d{1,9}))?)?"
    r"(?P<half>(?!))?(?: ?(?P<zone>Z|[+-]\d\d(?::?\d\d)?))?",
    re.ASCII,
)
_H_MM_SS = re.compile(r"(\d{1,5}):([0-5]\d):([0-5]\d)(?:[.,](\d{1,9}))?", re.ASCII)
_MONTHS = (
    *("january", "february", "march", "april", "may", "june", "july"),
    *("august", "september", "october", "november", "december"),
)
SECONDS_OF = {"seconds": 1, "minutes": 60, "hours": 3600}


class Unreadable(Exception):
    """A cell that cannot be read; ``says`` what was found and what to do."""

    def __init__(self, says: str) -> None:
        super().__init__(says)
        self.says = says


class RowUnreadable(Unreadable):
    """A row that does not go with the others; ``at`` counts the rows of readings from 0."""

    def __init__(self, at: int, says: str) -> None:
        super().__init__(says)
        self.at = at


@dataclass(frozen=True, slots=True)
class Serial:
    """A spreadsheet's date or duration cell: days, and whether they count from 1904."""

    days: float
    from_1904: bool = False


Cell: TypeAlias = str | float | Serial
"""A cell as found: text (blank where empty), a number, or a date."""


class Stamp(NamedTuple):
    """A row's time: nanoseconds since 1970 as the clock showed it, or elapsed; zone as written."""

    nanoseconds: int
    zone: str = ""


class Clock:
    """How the times of one mapping are read."""

    def __init__(self, part: TimePart) -> None:
        self.part = part
        mark = re.escape(part.date_mark or "-")
        self.pattern = _ISO
        if part.kind == "pattern":
            self.pattern = re.compile(
                rf"(?P<a>\d{{1,4}}|[A-Za-z]{{3,9}}){mark}(?P<b>\d{{1,2}}|[A-Za-z]{{3,9}}){mark}"
                rf"(?P<c>\d{{1,4}})(?:T|,? +){_TIME_OF_DAY}",
                re.ASCII,
            )

    @property
    def is_number(self) -> bool:
        """Whether times are plain numbers of a unit."""
        return self.part.elapsed_unit in SECONDS_OF

    def read(self, cells: Sequence[Cell], *, comma: bool) -> Stamp:
        """The time in the row's time cells; ``comma`` says that numbers have decimal commas.

        Raises:
            Unreadable: no such time, or one that fits two dates.
        """
        if any(isinstance(cell, str) and not cell.strip() for cell in cells):
            raise Unreadable("there is no time; export the run again with a time in every row.")
        if self.part.kind == "elapsed":
            return Stamp(self._elapsed(cells[0], comma=comma))
        if self.part.kind == "date cell":
            return Stamp(_of_serials(cells))
        if not all(isinstance(cell, str) for cell in cells):
            raise Unreadable(
                "it is a number or date cell of the spreadsheet, not text; state the kind date "
                "cell in the mapping, or export the times as text."
            )
        return self._text(" ".join(str(cell).strip() for cell in cells))

    def _text(self, text: str) -> Stamp:
        matched = self.pattern.fullmatch(text)
        if matched is None:
            raise Unreadable(f"{short(text)} is no time {self._words()}.")
        day = self._day(matched, text)
        hour, minute = self._hour(matched, text), int(matched["minute"])
        second, fraction = int(matched["second"] or 0), (matched["fraction"] or "0").ljust(9, "0")
        if not (hour < 24 and minute < 60 and second < 60):  # noqa: PLR2004 - the clock's own
            raise Unreadable(f"{short(text)} is no time of day; correct the export.")
        _check_day(day)
        seconds = (day - UNIX_DAY) * 86_400 + hour * 3600 + minute * 60 + second
        return Stamp(seconds * NANOSECONDS + int(fraction), matched["zone"] or "")

    def _words(self) -> str:
        """What the mapping states, for a sentence."""
        if self.part.kind == "iso":
            return "as ISO 8601, such as 2031-04-25T08:00:00; state its pattern in the mapping"
        order, mark = self.part.order or "day, month and year in some order", self.part.date_mark
        return (
            f"as the mapping states ({order} with {mark!r} between, then hours:minutes, "
            f"{self.part.clock}); correct the mapping, or export again"
        )

    def _hour(self, matched: re.Match[str], text: str) -> int:
        hour, half = int(matched["hour"]), matched["half"]
        if self.part.clock == "24 h":
            if half:
                raise Unreadable(
                    f"{short(text)} has {half}, but the mapping states a 24 h clock; state 12 h."
                )
            return hour
        if not half:
            raise Unreadable(
                f"{short(text)} says neither AM nor PM, but the mapping states a 12 h clock; "
                f"state 24 h."
            )
        if not 1 <= hour <= 12:  # noqa: PLR2004 - the clock's own
            raise Unreadable(f"{short(text)} is no time of a 12 h clock; correct the export.")
        return hour % 12 + (12 if half[0] in "Pp" else 0)

    def _day(self, matched: re.Match[str], text: str) -> int:
        """The day's ordinal number."""
        a, b, c = matched["a"], matched["b"], matched["c"]
        order = "year-month-day" if self.part.kind == "iso" else self.part.order
        found = {
            name: day
            for name, (year, month, day_of_month) in (
                ("year-month-day", (a, b, c)),
                ("day-month-year", (c, b, a)),
                ("month-day-year", (c, a, b)),
            )
            if order in {None, name} and (day := self._ordinal(year, month, day_of_month))
        }
        if len(set(found.values())) > 1:
            raise Unreadable(
                f"{short(text)} could be two days ({' or '.join(found)}); state the order of the "
                f"dates in the mapping."
            )
        if not found:
            if self.part.century is None and 4 not in {len(a), len(c)}:  # noqa: PLR2004 - digits
                raise Unreadable(
                    f"{short(text)} has a year of two digits; state the century in the mapping."
                )
            raise Unreadable(f"{short(text)} is no time {self._words()}.")
        return found.popitem()[1]

    def _ordinal(self, year: str, month: str, day: str) -> int | None:
        """The day's ordinal number; None where these are no year, month and day."""
        if not (year.isdigit() and day.isdigit() and len(day) <= 2):  # noqa: PLR2004 - digits
            return None
        if len(year) == 2 and self.part.century:  # noqa: PLR2004 - digits
            year = self.part.century + year
        number_of_month = int(month) if month.isdigit() else _month_named(month)
        if len(year) != 4 or number_of_month is None or len(month) > 2 and month.isdigit():  # noqa: PLR2004, RUF021 - digits
            return None
        try:
            return date(int(year), number_of_month, int(day)).toordinal()
        except ValueError:
            return None

    def _elapsed(self, cell: Cell, *, comma: bool) -> int:
        """Elapsed nanoseconds, rounded once to whole ones."""
        unit = self.part.elapsed_unit
        if unit == "h:mm:ss":
            return _of_duration(cell)
        if isinstance(cell, Serial):
            raise Unreadable(f"it is a date or duration cell; expected a number of {unit}.")
        text = repr(cell) if isinstance(cell, float) else str(cell).strip()
        plain = text.replace(",", ".") if comma and not isinstance(cell, float) else text
        swapped = comma and "." in text and not isinstance(cell, float)
        if swapped or number(plain) is None:
            raise Unreadable(f"{short(text)} is no number of {unit}; correct export or mapping.")
        nanoseconds = Decimal(plain) * SECONDS_OF[str(unit)] * NANOSECONDS
        if abs(nanoseconds) >= _LARGEST_NS:
            raise Unreadable(f"{short(text)} {unit} is longer than any run; correct the export.")
        return int(nanoseconds.to_integral_value())


_LARGEST_NS = 4 * 10**18
_LARGEST_MS = 10**14
_FEW_DECIMALS = 8
"""Five decimals of a day are 864 ms and always whole milliseconds: a part of a second that comes
from so few decimals is what rounding left of another time."""


def short(text: str) -> str:
    """What was found, short enough for a sentence."""
    most = 40
    return repr(text if len(text) <= most else f"{text[:most]}...")


def _check_day(day: int) -> None:
    """Refuse a day, by its ordinal number, on which no furnace was logged."""
    if not FIRST_DAY <= day <= LAST_DAY:
        raise Unreadable(
            f"its time is outside the years {FIRST_YEAR} to {LAST_YEAR}; correct the logger's "
            f"clock, or how the mapping reads dates."
        )


def _month_named(word: str) -> int | None:
    """The number of a month by its English name or its first three letters."""
    low = word.lower()
    for number_of_month, name in enumerate(_MONTHS, start=1):
        if low in {name, name[:3]}:
            return number_of_month
    return None


def _milliseconds(days: float) -> int:
    """Whole milliseconds of a date cell's days.

    Raises:
        Unreadable: it is further off a whole millisecond than a writer's last digit.
    """
    exact = days * _DAY_MS
    if not abs(exact) < _LARGEST_MS:
        raise Unreadable(f"{days!r} is no date; correct the sheet.")
    whole = round(exact)
    cut_short = whole % 1000 and len(repr(days).partition(".")[2]) <= _FEW_DECIMALS
    if cut_short or abs(exact - whole) > _OFF_A_MILLISECOND:
        raise Unreadable(
            f"{days!r} is no whole millisecond, so its time was cut short when it was written; "
            f"export the times as text."
        )
    return whole


def _of_serials(cells: Sequence[Cell]) -> int:
    """Nanoseconds of one date cell, or of a date's and a time of day's."""
    found = [cell for cell in cells if isinstance(cell, Serial)]
    if len(found) != len(cells):
        raise Unreadable(
            "it is no date cell of the spreadsheet; format the column as date and time, or state "
            "how its text is written in the mapping."
        )
    if len(found) == 2:  # noqa: PLR2004 - a date and a time of day
        day, time = found
        if day.days != int(day.days) or not 0 <= time.days < 1:
            raise Unreadable(
                "date and time of day are not a whole day and a part of one; name the column that "
                "holds both in the mapping."
            )
    first_day = DAY_1904 if found[0].from_1904 else DAY_1900
    milliseconds = sum(_milliseconds(cell.days) for cell in found)
    _check_day(first_day + milliseconds // _DAY_MS)
    return (first_day - UNIX_DAY) * 86_400 * NANOSECONDS + milliseconds * _MS


def _of_duration(cell: Cell) -> int:
    """Nanoseconds of an elapsed time as h:mm:ss, as text or as a duration cell."""
    if isinstance(cell, Serial):
        return _milliseconds(cell.days) * _MS
    matched = _H_MM_SS.fullmatch(cell.strip()) if isinstance(cell, str) else None
    if matched is None:
        raise Unreadable(f"{short(str(cell))} is no elapsed time as h:mm:ss, such as 25:00:30.")
    hours, minutes, seconds, fraction = matched.groups()
    whole = int(hours) * 3600 + int(minutes) * 60 + int(seconds)
    return whole * NANOSECONDS + int((fraction or "0").ljust(9, "0"))
