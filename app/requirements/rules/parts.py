"""A requirement part by part, as a second person compares it, and what two revisions differ in."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Part:
    """One part of a requirement: an entry of a table, a clause of a cycle, a table of a procedure.

    ``lines`` are rows of words under ``headers``, every value of the part among them; the first
    ``named_by`` cells of a row say which row it is. ``anchor`` is what a link to the part ends in.
    """

    anchor: str
    title: str
    lines: tuple[tuple[str, ...], ...]
    headers: tuple[str, ...] = ("What", "Value here")
    named_by: int = 1


@dataclass(frozen=True, slots=True)
class Change:
    """One value that differs between two revisions; None where a revision does not have it.

    ``sense`` says whether a limit became tighter or looser, or a span narrower or wider, if either.
    """

    part: str
    what: str
    before: str | None
    after: str | None
    sense: str = ""

    @property
    def words(self) -> str:
        """Added, removed or changed, and in which direction."""
        if self.before is None:
            return "added"
        if self.after is None:
            return "removed"
        return f"changed: {self.sense}" if self.sense else "changed"


def uncompared(parts: Iterable[Part], compared: Iterable[str]) -> list[str]:
    """The titles of the parts whose anchors are not among those ticked as compared."""
    ticked = set(compared)
    return [part.title for part in parts if part.anchor not in ticked]


def changes(before: Sequence[Part], after: Sequence[Part]) -> tuple[Change, ...]:
    """Every value in which ``after`` differs from ``before``, in the order of ``after``.

    A row that only one of the two has is one change; of a row that both have, each value that
    differs is one. Empty where every value is the same.
    """
    was, now = _rows(before), _rows(after)
    found: list[Change] = []
    for key in dict.fromkeys([*now, *was]):
        found += _row_changes(key, was.get(key), now.get(key))
    return tuple(found)


_Key = tuple[str, tuple[str, ...]]
_Values = Mapping[str, str]


def _rows(parts: Iterable[Part]) -> Mapping[_Key, _Values]:
    """Each row's values by their headers; lines of one name are put together as one row."""
    found: dict[_Key, dict[str, str]] = {}
    for part in parts:
        for line in part.lines:
            values = found.setdefault((part.title, line[: part.named_by]), {})
            for header, cell in zip(
                part.headers[part.named_by :], line[part.named_by :], strict=True
            ):
                values[header] = f"{values[header]}; {cell}" if header in values else cell
    return found


def _row_changes(key: _Key, was: _Values | None, now: _Values | None) -> list[Change]:
    title, name = key
    what = ", ".join(name)
    if was is None or now is None:
        return [Change(title, what, _whole(was), _whole(now))]
    headers = list(dict.fromkeys([*was, *now]))
    return [
        Change(
            title,
            what if len(headers) == 1 else f"{what}: {header[0].lower()}{header[1:]}",
            was.get(header),
            now.get(header),
        )
        for header in headers
        if was.get(header) != now.get(header)
    ]


def _whole(values: _Values | None) -> str | None:
    return None if values is None else "; ".join(values.values())
