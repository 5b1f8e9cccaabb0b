"""What the pages across subjects are asked by."""

from datetime import date

from app.errors import Refusal

_YEARS = range(1900, 2200)


def place_in_list(typed: str) -> int | None:
    """The number a list goes on from, as the address names it; None is the list's beginning."""
    is_number = typed.isascii() and typed.isdigit() and len(typed) <= len(str(2**60))
    return int(typed) if is_number else None


def day(typed: dict[str, str], name: str) -> date | None:
    """The calendar day typed into a field; None where nothing was.

    Raises:
        Refusal: it is no day; the sentence is beside its field.
    """
    text = typed[name].strip()
    if not text:
        return None
    try:
        found = date.fromisoformat(text)
    except ValueError:
        found = None
    if found is None or found.year not in _YEARS:
        sentence = f"{text[:40]!r} is not a day; write it like 2026-03-31."
        raise Refusal(sentence, fields={name: sentence})
    return found
