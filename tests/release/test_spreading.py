"""How far a doubt spreads, against a slow and obvious reachability."""

import itertools
import random

from app.release.rules.spreading import Node, spread, way_back


def _closure(edges: set[tuple[Node, Node]], nodes: list[Node]) -> set[tuple[Node, Node]]:
    """What reaches what, by trying every thing as the one between (Warshall's way)."""
    reaches = set(edges)
    for between in nodes:
        before = {a for a, b in reaches if b == between}
        after = {b for a, b in reaches if a == between}
        reaches |= {(a, b) for a in before for b in after}
    return reaches


def test_what_is_reached_is_what_can_be_reached_on_random_graphs() -> None:
    draw = random.Random(20261125)  # noqa: S311 - reproducible cases
    for _ in range(300):
        nodes: list[Node] = [(draw.choice("abc"), key) for key in range(draw.randint(1, 12))]
        pairs = draw.randint(0, 25)
        edges = {(draw.choice(nodes), draw.choice(nodes)) for _ in range(pairs)}
        starts = set(draw.sample(nodes, draw.randint(1, len(nodes))))
        asked: list[Node] = []

        def onward(layer, edges=edges, asked=asked):
            asked.extend(layer)
            return [edge for edge in edges if edge[0] in layer]

        reached = spread(starts, onward)
        reaches = _closure(edges, nodes)
        assert set(reached) == starts | {b for a, b in reaches if a in starts}
        assert len(asked) == len(set(asked))
        for node in reached:
            way = [node, *way_back(reached, node)]
            assert way[-1] in starts
            assert all((b, a) in edges for a, b in itertools.pairwise(way))
