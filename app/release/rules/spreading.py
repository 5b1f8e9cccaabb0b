"""How far a doubt spreads: along links from a thing to what rests on it. Pure."""

from collections.abc import Callable, Iterable, Mapping
from collections.abc import Set as AbstractSet

Node = tuple[str, int]
"""A thing: its kind and its key."""
Onward = Callable[[AbstractSet[Node]], Iterable[tuple[Node, Node]]]
"""The links that go out from any of some things: from what, to what."""


def spread(starts: Iterable[Node], onward: Onward) -> dict[Node, Node | None]:
    """Everything reached from ``starts``, each with what it was first reached from.

    The starts themselves are in it, reached from None. ``onward`` is asked for each thing once, a
    whole layer at a time, so that links read from a database cost a few statements. Of several ways
    of the same length the one whose thing sorts first is kept, so that the answer stays the same.
    """
    reached: dict[Node, Node | None] = dict.fromkeys(starts)
    layer = frozenset(reached)
    while layer:
        following = set()
        for source, target in sorted(onward(layer)):
            if target not in reached:
                reached[target] = source
                following.add(target)
        layer = frozenset(following)
    return reached


def way_back(reached: Mapping[Node, Node | None], node: Node) -> tuple[Node, ...]:
    """What lies between a thing reached and the start: its nearest first, the start last."""
    way = []
    before = reached[node]
    while before is not None:
        way.append(before)
        before = reached[before]
    return tuple(way)
