"""A paper as single values, each at a place a person understands; and how two entries agree. Pure.

A second person keys the cells from the source document without seeing them. Structure is given to
them (how many entries, which criteria, how many rows), values never.
"""

import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

NOTHING = "nothing stated"
_FIGURE = re.compile(r"[+-]?\d+(\.\d+)?")
_FIGURE_IN_TEXT = re.compile(r"(?<![\d.,])\d+[.,]\d+(?![.,]?\d)")


@dataclass(frozen=True, slots=True)
class Cell:
    """One value as written; ``value`` is empty where nothing is stated.

    ``choices`` are the words it is one of (in the order from loose to tight where ``tighter`` is
    "up"), and ``unsaid`` is what an empty entry stands for. ``tighter`` says whether a higher
    ("up") or a lower ("down") value asks for more; empty where neither does. ``without`` says what
    it is to state nothing there. A text that nobody keys (a clause, a name) has ``keyed`` False.
    ``is_end`` says that the value is an end of what the group is for, or of a span: what is
    tighter there is narrower, what is looser wider.
    """

    what: str
    value: str
    choices: tuple[str, ...] = ()
    is_figure: bool = False
    unsaid: str = ""
    tighter: str = ""
    without: str = "looser"
    keyed: bool = True
    is_end: bool = False

    @property
    def said(self) -> str:
        """What holds: the value, or what stands where nothing is stated."""
        return self.value or self.unsaid


@dataclass(frozen=True, slots=True)
class Group:
    """Cells that stand together in the source: an entry of a table, a stage, a row of a grid.

    ``guide`` says where they come from, ``about`` what they are for. ``key`` says what the group is
    for, from the general to the particular: by it the groups of two revisions are found to be the
    same one.
    """

    title: str
    cells: tuple[Cell, ...]
    guide: str = ""
    key: tuple[str, ...] = ()
    about: str = ""

    def place(self, cell: Cell) -> str:
        """Where a value of the group stands: "Entry 2, thickness to, mm"."""
        return f"{self.title}, {cell.what}"

    def to_key(self) -> tuple[Cell, ...]:
        """Those of its cells that a second person keys."""
        return tuple(cell for cell in self.cells if cell.keyed)

    def blind_guide(self) -> str:
        """The guide without the figures of this group, should it name any of them."""
        shown = {_plain(cell.value) for cell in self.to_key()}
        return _FIGURE_IN_TEXT.sub(
            lambda found: "…" if _plain(found[0]) in shown else found[0], self.guide
        )


@dataclass(frozen=True, slots=True)
class Unlike:
    """Where two entries of one value are not the same, and what is to be said about it."""

    place: str
    first: str
    second: str

    @property
    def remark(self) -> str:
        """In what way they differ, where it can be said; else empty."""
        first, second = _plain(self.first), _plain(self.second)
        if _FIGURE.fullmatch(first) is None or _FIGURE.fullmatch(second) is None:
            return ""
        if Decimal(first) == Decimal(second):
            return "the same figure to other places; it is rounded differently"
        if sorted(first) == sorted(second):
            return "the same signs in another order"
        return ""


def figure(
    what: str,
    value: object,
    *,
    tighter: str = "",
    without: str = "looser",
    unsaid: str = "",
    keyed: bool = True,
) -> Cell:
    """A cell that holds a figure, digit for digit as written."""
    text = "" if value is None else str(value)
    return Cell(
        what, text, is_figure=True, tighter=tighter, without=without, unsaid=unsaid, keyed=keyed
    )


def end(what: str, value: object, *, tighter: str) -> Cell:
    """A cell that holds one end of a span: the lower, which narrows it "up", or the upper."""
    return replace(figure(what, value, tighter=tighter), is_end=True)


def word(what: str, value: object, *, keyed: bool = True) -> Cell:
    """A cell that holds a name or a text."""
    return Cell(what, "" if value is None else str(value), keyed=keyed)


def pick(
    what: str, value: str, choices: Iterable[str], *, unsaid: str = "", tighter: str = ""
) -> Cell:
    """A cell that is one of a few words."""
    return Cell(what, value, choices=tuple(choices), unsaid=unsaid, tighter=tighter)


def yes_or_no(what: str, value: bool, *, tighter: str = "") -> Cell:  # noqa: FBT001 - it is the value
    """A cell that is yes or no; an empty entry is no. ``tighter`` "up": yes asks for more."""
    return pick(what, "yes" if value else "no", ("no", "yes"), unsaid="no", tighter=tighter)


def places(groups: Iterable[Group]) -> dict[str, Cell]:
    """Every cell that is keyed, by its place, in the paper's order."""
    return {group.place(cell): cell for group in groups for cell in group.to_key()}


def values(groups: Iterable[Group]) -> dict[str, str]:
    """What was written at each place that is keyed."""
    return {place: cell.value for place, cell in places(groups).items()}


def agree(cell: Cell, keyed: str) -> bool:
    """Whether what was keyed is what was written.

    Compared as written, but for spaces around it, a decimal comma for the point, and of figures a
    plus sign and zeros before the first digit. 83 and 83.0 do not agree: they round differently.
    """
    keyed = keyed.strip() or cell.unsaid
    if not cell.is_figure:
        return cell.said.strip() == keyed
    return _digits(cell.said) == _digits(keyed)


def unlike(groups: Iterable[Group], keyed: Mapping[str, str]) -> tuple[Unlike, ...]:
    """Where what was keyed is not what was written; a place that is not in ``keyed`` is empty."""
    return tuple(
        Unlike(place, cell.value, keyed.get(place, "").strip())
        for place, cell in places(groups).items()
        if not agree(cell, keyed.get(place, ""))
    )


def only(groups: Sequence[Group], wanted: Collection[str]) -> tuple[Group, ...]:
    """The groups with only those of their cells whose places are wanted; empty ones left out."""
    kept = (
        Group(
            group.title,
            tuple(cell for cell in group.to_key() if group.place(cell) in wanted),
            # What can be seen of the rest must not give the wanted ones away.
            group.blind_guide(),
            group.key,
        )
        for group in groups
    )
    return tuple(group for group in kept if group.cells)


def _plain(text: str) -> str:
    return text.strip().replace("\N{MINUS SIGN}", "-").replace(",", ".")


def _digits(text: str) -> str:
    """A figure with every digit that was written; another text as it is."""
    plain = _plain(text)
    return str(Decimal(plain)) if _FIGURE.fullmatch(plain) else plain
