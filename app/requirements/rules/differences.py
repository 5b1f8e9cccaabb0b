"""In what two revisions differ, cell by cell: what became tighter, and what wider. Pure."""

from collections.abc import Iterable, Sequence
from decimal import Decimal, InvalidOperation

from app.requirements.rules.cells import NOTHING, Cell, Group
from app.requirements.rules.parts import Change

TIGHTER, LOOSER = "tighter", "looser"
_OF_AN_END = {TIGHTER: "narrower", LOOSER: "wider"}
OTHER_PLACES = "the same figure to other places"


def differences(before: Sequence[Group], after: Sequence[Group]) -> tuple[Change, ...]:
    """Every value in which ``after`` differs from ``before``, in the order of ``after``.

    Groups are the same one where they are for the same thing: their keys agree, or else agree the
    furthest from the front, each group once. A group that only one of the two has is one change. A
    group that only stands elsewhere is none.
    """
    was = _pairs(before, after)
    found: list[Change] = []
    for number, group in enumerate(after):
        if number in was:
            found += _group_changes(before[was[number]], group)
        else:
            found.append(Change(_where(group), "all of it", None, _summary(group)))
    left = set(range(len(before))) - set(was.values())
    return (
        *found,
        *(
            Change(_where(before[number]), "all of it", _summary(before[number]), None)
            for number in sorted(left)
        ),
    )


def _pairs(before: Sequence[Group], after: Sequence[Group]) -> dict[int, int]:
    """For each group of ``after`` that was there before, which one it was."""
    pairs: dict[int, int] = {}
    left = list(range(len(before)))
    for length in range(max((len(one.key) for one in (*before, *after)), default=0), 0, -1):
        for number, group in enumerate(after):
            if number in pairs or len(group.key) < length:
                continue
            same = (one for one in left if before[one].key[:length] == group.key[:length])
            found = next(same, None)
            if found is not None:
                pairs[number] = found
                left.remove(found)
    return pairs


def _group_changes(was: Group, now: Group) -> Iterable[Change]:
    was_called = "" if was.title == now.title else f" (was {_small(was.title)})"
    where = f"{_where(now)}{was_called}"
    earlier = {cell.what: cell for cell in was.cells}
    later = {cell.what: cell for cell in now.cells}
    for what in dict.fromkeys([*later, *earlier]):
        one, other = earlier.get(what), later.get(what)
        if (one.said if one else "") == (other.said if other else ""):
            continue
        sense = _sense(one, other)
        # A cell that only one of the two shows says by that that the other states nothing there.
        yield Change(where, what, _said(one), _said(other), sense)


def _where(group: Group) -> str:
    return f"{group.title}: {group.about}" if group.about else group.title


def _said(cell: Cell | None) -> str:
    return cell.said or NOTHING if cell is not None else NOTHING


def _sense(was: Cell | None, now: Cell | None) -> str:
    """Whether the change asks for more or less, or covers less or more; empty where neither."""
    cell = now or was
    if cell is None:
        return ""
    sense = _direction(cell, was, now)
    return _OF_AN_END.get(sense, sense) if cell.is_end else sense


def _direction(cell: Cell, was: Cell | None, now: Cell | None) -> str:
    first, second = (one.said if one is not None else "" for one in (was, now))
    if not cell.tighter:
        return OTHER_PLACES if cell.is_figure and _same_figure(first, second) else ""
    if not first or not second:
        asks_more = bool(second) == (cell.without == LOOSER)
        return TIGHTER if asks_more else LOOSER
    if cell.choices:
        return TIGHTER if cell.choices.index(second) > cell.choices.index(first) else LOOSER
    if _same_figure(first, second):
        return OTHER_PLACES
    rises = Decimal(second) > Decimal(first)
    return TIGHTER if rises == (cell.tighter == "up") else LOOSER


def _same_figure(first: str, second: str) -> bool:
    try:
        return Decimal(first) == Decimal(second)
    except InvalidOperation:
        return False


def _summary(group: Group) -> str:
    said = (cell for cell in group.cells if cell.value)
    return "; ".join(f"{cell.what}: {cell.value}" for cell in said)


def _small(title: str) -> str:
    return f"{title[0].lower()}{title[1:]}"
