"""The tree over the entries, against published vectors and the definition written out plainly."""

import hashlib

import pytest

from app.audit.merkle import (
    EMPTY_ROOT,
    Frontier,
    consistency_path,
    leaf_hash,
    root_of,
)
from tests.audit.proofs import grew_from

# The inputs and roots that Certificate Transparency's own test suites use for RFC 6962; seen quoted
# alike in four public repositories' tests.
INPUTS = [
    bytes.fromhex(text)
    for text in (
        "",
        "00",
        "10",
        "2021",
        "3031",
        "40414243",
        "5051525354555657",
        "606162636465666768696a6b6c6d6e6f",
    )
]
ROOTS = [
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
]
FROM_1_TO_8 = [
    "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7",
    "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
    "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4",
]


def _defined(bodies: list[bytes]) -> bytes:
    """RFC 6962, 2.1, word for word: MTH of a list, by its own recursion."""
    if not bodies:
        return hashlib.sha256(b"").digest()
    if len(bodies) == 1:
        return hashlib.sha256(b"\x00" + bodies[0]).digest()
    k = 1
    while k * 2 < len(bodies):
        k *= 2
    return hashlib.sha256(b"\x01" + _defined(bodies[:k]) + _defined(bodies[k:])).digest()


def test_rfc_6962_section_2_1_roots_of_the_published_inputs() -> None:
    """RFC 6962, 2.1; the vectors of Certificate Transparency's test suites (seen, quoted)."""
    assert EMPTY_ROOT.hex() == "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"
    grown = Frontier()
    for body, root in zip(INPUTS, ROOTS, strict=True):
        grown.add(body)
        assert grown.root().hex() == root
    leaves = [leaf_hash(body) for body in INPUTS]
    assert [part.hex() for part in consistency_path(leaves, 1)] == FROM_1_TO_8


def test_every_tree_up_to_forty_leaves_agrees_with_the_definition_and_its_proofs() -> None:
    bodies = [str(number).encode() for number in range(40)]
    leaves = [leaf_hash(body) for body in bodies]
    roots = [root_of(leaves[:size]) for size in range(41)]
    assert roots == [_defined(bodies[:size]) for size in range(41)]
    for size in range(1, 41):
        for earlier in range(1, size + 1):
            path = consistency_path(leaves[:size], earlier)
            then, now = (earlier, roots[earlier]), (size, roots[size])
            assert grew_from(then, now, path)
            # A past that was rewritten, or a tree that went another way, is proved by no path.
            assert not grew_from((earlier, roots[earlier - 1]), now, path)
            assert not grew_from(then, (size, roots[size - 1]), path)
            assert not grew_from(then, now, [*path, roots[size]])


def test_what_is_no_proof_is_refused() -> None:
    leaves = [leaf_hash(body) for body in INPUTS]
    root = root_of(leaves)
    for earlier in (0, 9):
        assert not grew_from((earlier, root), (8, root), [])
        with pytest.raises(ValueError, match="never had"):
            consistency_path(leaves, earlier)
    assert not grew_from((3, root_of(leaves[:3])), (8, root), [])
