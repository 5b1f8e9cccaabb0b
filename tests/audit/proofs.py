"""Does an earlier head begin a later one? The side of whoever keeps it (RFC 6962, 2.1.2)."""

from collections.abc import Sequence

from app.audit.merkle import node_hash


def grew_from(earlier: tuple[int, bytes], later: tuple[int, bytes], path: Sequence[bytes]) -> bool:
    """Whether ``path`` proves that the later tree (size, root) begins with the earlier one."""
    (first, first_root), (second, second_root) = earlier, later
    if not 1 <= first <= second:
        return False
    if first == second:
        return not path and first_root == second_root
    place, last = first - 1, second - 1
    while place & 1:
        place, last = place >> 1, last >> 1
    # Where the earlier tree was full, its own root is where both ways begin.
    begins = [first_root, *path] if place == 0 else list(path)
    if not begins:
        return False
    old = new = begins[0]
    for beside in begins[1:]:
        if last == 0:
            return False
        if place & 1 or place == last:
            old, new = node_hash(beside, old), node_hash(beside, new)
            while not place & 1 and place:
                place, last = place >> 1, last >> 1
        else:
            new = node_hash(new, beside)
        place, last = place >> 1, last >> 1
    return last == 0 and old == first_root and new == second_root
