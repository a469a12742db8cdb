"""The Merkle tree against published roots and proofs, and against forged ones.

Leaves and roots: the eight-leaf reference tree of transparency-dev/merkle
(testonly/constants.go and cmd/proofgen/main.go, commit 417fb0c, Apache-2.0). The proofs name
nodes of that tree, each recomputed with hashlib; trees and algorithms: RFC 6962 and RFC 9162.
"""

import hashlib
from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.numerics import merkle
from app.numerics.errors import MalformedTree

LEAVES = [
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
LEAF_HASHES = [
    bytes.fromhex(text)
    for text in (
        "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
        "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7",
        "0298d122906dcfc10892cb53a73992fc5b9f493ea4c9badb27b791b4127a7fe7",
        "07506a85fd9dd2f120eb694f86011e5bb4662e5c415a62917033d4a9624487e7",
        "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
        "4271a26be0d8a84f0bd54c8c302e7cb3a3b5d1fa6780a40bcce2873477dab658",
        "b08693ec2e721597130641e8211e7eedccb4c26413963eee6c1e2ed16ffb1a5f",
        "46f6ffadd3d06a09ff3c5860d2755c8b9819db7df44251788c7d8e3180de8eb1",
    )
]
ROOTS = [
    bytes.fromhex(text)
    for text in (
        "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
        "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
        "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
        "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
        "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
        "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
        "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
        "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
        "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
    )
]
INCLUSION = [  # index, size, proof
    (0, 1, []),
    (2, 3, ["fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125"]),
    (
        1,
        5,
        [
            "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
            "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
            "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
        ],
    ),
    (4, 5, ["d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7"]),
    (
        3,
        6,
        [
            "0298d122906dcfc10892cb53a73992fc5b9f493ea4c9badb27b791b4127a7fe7",
            "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
            "0ebc5d3437fbe2db158b9f126a1d118e308181031d0a949f8dededebc558ef6a",
        ],
    ),
    (
        6,
        7,
        [
            "0ebc5d3437fbe2db158b9f126a1d118e308181031d0a949f8dededebc558ef6a",
            "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
        ],
    ),
    (
        0,
        8,
        [
            "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7",
            "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
            "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4",
        ],
    ),
    (
        5,
        8,
        [
            "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
            "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
            "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
        ],
    ),
]
CONSISTENCY = [  # old size, new size, proof
    (1, 1, []),
    (
        2,
        5,
        [
            "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
            "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
        ],
    ),
    (
        3,
        7,
        [
            "0298d122906dcfc10892cb53a73992fc5b9f493ea4c9badb27b791b4127a7fe7",
            "07506a85fd9dd2f120eb694f86011e5bb4662e5c415a62917033d4a9624487e7",
            "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
            "837dbb152e9b079010717e84e865da4ebc0fa198a806d59d31bf15accef22d0e",
        ],
    ),
    (
        1,
        8,
        [
            "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7",
            "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
            "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4",
        ],
    ),
    (4, 8, ["6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4"]),
    (
        6,
        8,
        [
            "0ebc5d3437fbe2db158b9f126a1d118e308181031d0a949f8dededebc558ef6a",
            "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
            "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
        ],
    ),
    (
        7,
        8,
        [
            "b08693ec2e721597130641e8211e7eedccb4c26413963eee6c1e2ed16ffb1a5f",
            "46f6ffadd3d06a09ff3c5860d2755c8b9819db7df44251788c7d8e3180de8eb1",
            "0ebc5d3437fbe2db158b9f126a1d118e308181031d0a949f8dededebc558ef6a",
            "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
        ],
    ),
    (8, 8, []),
]

HASHES = st.lists(st.binary(min_size=32, max_size=32), max_size=40)


def _decode(proof: Sequence[str]) -> tuple[bytes, ...]:
    return tuple(bytes.fromhex(text) for text in proof)


def _root_by_the_definition(leaf_hashes: Sequence[bytes]) -> bytes:
    """MTH of RFC 9162 section 2.1.1, read word for word."""
    if not leaf_hashes:
        return hashlib.sha256(b"").digest()
    if len(leaf_hashes) == 1:
        return leaf_hashes[0]
    k = 1
    while k * 2 < len(leaf_hashes):
        k *= 2
    left, right = leaf_hashes[:k], leaf_hashes[k:]
    joined = b"\x01" + _root_by_the_definition(left) + _root_by_the_definition(right)
    return hashlib.sha256(joined).digest()


def test_a_leaf_hashes_to_the_published_value() -> None:
    assert [merkle.hash_leaf(leaf) for leaf in LEAVES] == LEAF_HASHES


@pytest.mark.parametrize("size", range(9))
def test_a_tree_grown_leaf_by_leaf_has_the_published_root(size: int) -> None:
    frontier: tuple[bytes, ...] = ()
    for before in range(size):
        frontier = merkle.append_to_frontier(frontier, before, LEAF_HASHES[before])
    assert merkle.compute_root(frontier) == ROOTS[size]
    assert merkle.compute_root_of_leaves(LEAF_HASHES[:size]) == ROOTS[size]


def test_the_empty_root_is_the_published_one() -> None:
    assert hashlib.sha256().digest() == merkle.EMPTY_ROOT == ROOTS[0]


@pytest.mark.parametrize(("index", "size", "proof"), INCLUSION)
def test_an_inclusion_proof_is_the_published_one(index: int, size: int, proof: list[str]) -> None:
    computed = merkle.compute_inclusion_proof(LEAF_HASHES[:size], index)
    assert computed == _decode(proof)
    assert merkle.verify_inclusion(
        leaf_hash=LEAF_HASHES[index], index=index, size=size, proof=computed, root=ROOTS[size]
    )


@pytest.mark.parametrize(("old_size", "new_size", "proof"), CONSISTENCY)
def test_a_consistency_proof_is_the_published_one(
    old_size: int, new_size: int, proof: list[str]
) -> None:
    computed = merkle.compute_consistency_proof(LEAF_HASHES[:new_size], old_size)
    assert computed == _decode(proof)
    assert merkle.verify_consistency(
        old_size=old_size,
        new_size=new_size,
        old_root=ROOTS[old_size],
        new_root=ROOTS[new_size],
        proof=computed,
    )


def _flip(data: bytes) -> bytes:
    return data[:-1] + bytes([data[-1] ^ 8])


@pytest.mark.parametrize(("index", "size"), [(0, 8), (5, 8), (2, 3), (1, 5), (6, 7)])
def test_a_forged_inclusion_is_not_believed(index: int, size: int) -> None:
    leaf_hash, root = LEAF_HASHES[index], ROOTS[size]
    proof = merkle.compute_inclusion_proof(LEAF_HASHES[:size], index)
    forgeries: list[tuple[bytes, int, int, Sequence[bytes], bytes]] = [
        (leaf_hash, index + 1, size, proof, root),
        (leaf_hash, index ^ 1, size, proof, root),
        (leaf_hash, -1, size, proof, root),
        (leaf_hash, index, size * 2, proof, root),
        (leaf_hash, index, size // 2, proof, root),
        (leaf_hash, index, 0, proof, root),
        (_flip(leaf_hash), index, size, proof, root),
        (leaf_hash, index, size, proof, _flip(root)),
        (leaf_hash, index, size, (*proof, root), root),
        (leaf_hash, index, size, (root, *proof), root),
        (leaf_hash, index, size, proof[:-1], root),
        (leaf_hash, index, size, (_flip(proof[0]), *proof[1:]), root),
        (leaf_hash, index, size, (proof[0][:-1], *proof[1:]), root),
        (root, index, size, (), root),
    ]
    for forged_leaf, forged_index, forged_size, forged_proof, forged_root in forgeries:
        assert not merkle.verify_inclusion(
            leaf_hash=forged_leaf,
            index=forged_index,
            size=forged_size,
            proof=forged_proof,
            root=forged_root,
        )


@pytest.mark.parametrize(("old_size", "new_size"), [(1, 8), (6, 8), (2, 5), (3, 7), (4, 8)])
def test_a_forged_consistency_is_not_believed(old_size: int, new_size: int) -> None:
    old_root, new_root = ROOTS[old_size], ROOTS[new_size]
    proof = merkle.compute_consistency_proof(LEAF_HASHES[:new_size], old_size)
    forgeries: list[tuple[int, int, bytes, bytes, Sequence[bytes]]] = [
        (old_size + 1, new_size, old_root, new_root, proof),
        (old_size, new_size + 8, old_root, new_root, proof),
        (0, new_size, old_root, new_root, proof),
        (0, new_size, ROOTS[0], new_root, ()),
        (new_size + 1, new_size, old_root, new_root, proof),
        (old_size, new_size, new_root, old_root, proof),
        (old_size, new_size, _flip(old_root), new_root, proof),
        (old_size, new_size, old_root, _flip(new_root), proof),
        (old_size, new_size, old_root, new_root, (*proof, new_root)),
        (old_size, new_size, old_root, new_root, proof[1:]),
        (old_size, new_size, old_root, new_root, proof[:-1]),
        (old_size, new_size, old_root, new_root, ()),
        (old_size, old_size, old_root, old_root, proof),
        (old_size, old_size, old_root, new_root, ()),
        (old_size, new_size, b"", new_root, proof),
    ]
    for forged_old, forged_new, forged_old_root, forged_new_root, forged_proof in forgeries:
        assert not merkle.verify_consistency(
            old_size=forged_old,
            new_size=forged_new,
            old_root=forged_old_root,
            new_root=forged_new_root,
            proof=forged_proof,
        )


def test_an_empty_hash_is_no_leaf_of_a_tree_of_one() -> None:
    assert not merkle.verify_inclusion(leaf_hash=b"", index=0, size=1, proof=(), root=b"")


@given(HASHES)
def test_a_frontier_and_the_definition_agree_on_the_root(leaf_hashes: list[bytes]) -> None:
    frontier = merkle.compute_frontier(leaf_hashes)
    assert len(frontier) == len(leaf_hashes).bit_count()
    assert merkle.compute_root(frontier) == _root_by_the_definition(leaf_hashes)
    assert merkle.compute_root_of_leaves(leaf_hashes) == _root_by_the_definition(leaf_hashes)


@given(HASHES.filter(bool), st.data())
def test_every_proof_that_is_made_is_believed(
    leaf_hashes: list[bytes], data: st.DataObject
) -> None:
    size = len(leaf_hashes)
    root = merkle.compute_root_of_leaves(leaf_hashes)
    index = data.draw(st.integers(0, size - 1))
    assert merkle.verify_inclusion(
        leaf_hash=leaf_hashes[index],
        index=index,
        size=size,
        proof=merkle.compute_inclusion_proof(leaf_hashes, index),
        root=root,
    )
    old_size = index + 1
    assert merkle.verify_consistency(
        old_size=old_size,
        new_size=size,
        old_root=merkle.compute_root_of_leaves(leaf_hashes[:old_size]),
        new_root=root,
        proof=merkle.compute_consistency_proof(leaf_hashes, old_size),
    )


def test_a_frontier_of_another_size_is_refused() -> None:
    with pytest.raises(MalformedTree, match="tree of 3 leaves"):
        merkle.append_to_frontier((LEAF_HASHES[0],), 3, LEAF_HASHES[1])
    with pytest.raises(MalformedTree, match="32 bytes"):
        merkle.append_to_frontier((), 0, b"short")
    with pytest.raises(MalformedTree, match="32 bytes"):
        merkle.compute_root((b"short",))


def test_a_proof_for_a_leaf_that_is_not_there_is_refused() -> None:
    with pytest.raises(MalformedTree, match="no leaf 8"):
        merkle.compute_inclusion_proof(LEAF_HASHES, 8)
    with pytest.raises(MalformedTree, match="one of 0"):
        merkle.compute_consistency_proof(LEAF_HASHES, 0)
