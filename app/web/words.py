"""How figures, times and verdicts are written on pages."""

import re
from datetime import date, datetime
from zoneinfo import ZoneInfo

VERDICT_WORDS = {
    "conforms": "conforms",
    "does_not_conform": "does not conform",
    "not_proven": "not proven",
    "note": "note",
}


def verdict_words(verdict: str) -> str:
    """The verdict as it is spoken."""
    return VERDICT_WORDS[verdict]


def moment_words(at: datetime | None, zone: ZoneInfo) -> str:
    """A time in the shop's zone, with the zone's name; empty where there is none."""
    return "" if at is None else at.astimezone(zone).strftime("%Y-%m-%d %H:%M %Z")


def day_words(day: date | None) -> str:
    """A calendar day, ISO 8601; empty where there is none."""
    return "" if day is None else day.isoformat()


def duration_words(seconds: float | None) -> str:
    """Hours, minutes and seconds: ``24 h 06 min 10 s``; empty where there is none."""
    if seconds is None:
        return ""
    whole = round(seconds)
    hours, rest = divmod(abs(whole), 3600)
    minutes, left = divmod(rest, 60)
    sign = "-" if whole < 0 else ""
    if hours:
        return f"{sign}{hours} h {minutes:02d} min {left:02d} s"
    if minutes:
        return f"{sign}{minutes} min {left:02d} s"
    return f"{sign}{left} s"


_DEGREES = re.compile(r"\bdeg(?=[CF]\b)")


def degree_words(text: str) -> str:
    """A sentence with degC and degF, as papers spell them, written with the degree sign."""
    return _DEGREES.sub("\u00b0", text)
