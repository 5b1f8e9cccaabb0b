"""The tree over the trail's entries, as RFC 6962, section 2.1, lays it down. Pure.

A leaf is SHA-256 over a zero byte and the entry's canonical bytes, a node SHA-256 over a one byte
and the two hashes below it. The root over all leaves stands for every one of them in its place.
"""

import hashlib
from collections.abc import Sequence

EMPTY_ROOT = hashlib.sha256().digest()
"""The root of a tree without leaves: the SHA-256 of nothing (RFC 6962, 2.1)."""


def leaf_hash(body: bytes) -> bytes:
    """The hash of one entry's canonical bytes, 32 bytes."""
    return hashlib.sha256(b"\x00" + body).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """The hash that stands for the two below it, 32 bytes."""
    return hashlib.sha256(b"\x01" + left + right).digest()


class Frontier:
    """The full subtrees along the right edge of a tree that grows: enough to go on with it.

    A tree of any size is added to with the new leaves alone.
    """

    def __init__(self) -> None:
        self.size = 0
        self._full: list[bytes] = []

    def add(self, body: bytes) -> None:
        """Add the next entry's canonical bytes."""
        self.add_leaf(leaf_hash(body))

    def add_leaf(self, leaf: bytes) -> None:
        """Add the next leaf, hashed already."""
        standing = leaf
        # Each full subtree of the same size as the one that stands joins it, as in counting up.
        below = self.size
        while below & 1:
            standing = node_hash(self._full.pop(), standing)
            below >>= 1
        self._full.append(standing)
        self.size += 1

    def root(self) -> bytes:
        """The root over everything added so far, 32 bytes."""
        if not self._full:
            return EMPTY_ROOT
        root = self._full[-1]
        for left in reversed(self._full[:-1]):
            root = node_hash(left, root)
        return root


def root_of(leaves: Sequence[bytes]) -> bytes:
    """The root over leaf hashes."""
    frontier = Frontier()
    for leaf in leaves:
        frontier.add_leaf(leaf)
    return frontier.root()


def _split(count: int) -> int:
    """The largest power of two below ``count``: how many leaves lie left of the root."""
    return 1 << ((count - 1).bit_length() - 1)


def consistency_path(leaves: Sequence[bytes], earlier: int) -> list[bytes]:
    """The hashes that prove the first ``earlier`` leaves are still the beginning (2.1.2).

    Raises:
        ValueError: ``earlier`` is not from 1 to the number of leaves.
    """
    if not 1 <= earlier <= len(leaves):
        raise ValueError(f"a tree of {len(leaves)} leaves never had {earlier}")
    return _consistency(leaves, earlier, known=True)


def _consistency(leaves: Sequence[bytes], earlier: int, *, known: bool) -> list[bytes]:
    """``known``: the earlier tree is this very subtree, whose root the checker has already."""
    if earlier == len(leaves):
        return [] if known else [root_of(leaves)]
    half = _split(len(leaves))
    if earlier <= half:
        return [*_consistency(leaves[:half], earlier, known=known), root_of(leaves[half:])]
    right = _consistency(leaves[half:], earlier - half, known=False)
    return [*right, root_of(leaves[:half])]
