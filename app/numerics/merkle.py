"""The Merkle tree of RFC 6962 and RFC 9162: roots, frontiers and proofs over SHA-256 leaves.

A *frontier* is the tuple of roots of the perfect subtrees that make up a tree of a given size,
largest first: one 32-byte hash for every bit that is set in the size.
"""

import hashlib
from collections.abc import Sequence

from app.numerics.errors import MalformedTree

HASH_BYTES = 32
EMPTY_ROOT = hashlib.sha256(b"").digest()
"""Root of the tree without leaves (RFC 9162 section 2.1.1)."""

_LEAF_PREFIX = b"\x00"
_NODE_PREFIX = b"\x01"


def hash_leaf(body: bytes) -> bytes:
    """Hash of one leaf: SHA-256 of 0x00 and the body (RFC 9162 section 2.1.1)."""
    return hashlib.sha256(_LEAF_PREFIX + body).digest()


def hash_node(left: bytes, right: bytes) -> bytes:
    """Hash of an inner node: SHA-256 of 0x01, left and right (RFC 9162 section 2.1.1)."""
    return hashlib.sha256(_NODE_PREFIX + left + right).digest()


def append_to_frontier(
    frontier: tuple[bytes, ...], size: int, leaf_hash: bytes
) -> tuple[bytes, ...]:
    """Frontier of the tree of `size` + 1 leaves, from the frontier of the first `size`.

    Raises MalformedTree when the frontier does not belong to a tree of that size.
    """
    if size < 0 or len(frontier) != size.bit_count():
        raise MalformedTree(
            f"A tree of {size} leaves does not have a frontier of {len(frontier)} hashes."
        )
    _check_hashes(frontier)
    _check_hashes((leaf_hash,))
    rest, top = list(frontier), leaf_hash
    while size & 1:
        top = hash_node(rest.pop(), top)
        size >>= 1
    return (*rest, top)


def compute_root(frontier: Sequence[bytes]) -> bytes:
    """Root of the tree with this frontier; EMPTY_ROOT for an empty one.

    Raises MalformedTree when a hash is not 32 bytes.
    """
    _check_hashes(frontier)
    if not frontier:
        return EMPTY_ROOT
    root = frontier[-1]
    for left in reversed(frontier[:-1]):
        root = hash_node(left, root)
    return root


def compute_frontier(leaf_hashes: Sequence[bytes]) -> tuple[bytes, ...]:
    """Frontier of the tree over these leaf hashes, in order."""
    frontier: tuple[bytes, ...] = ()
    for size, leaf_hash in enumerate(leaf_hashes):
        frontier = append_to_frontier(frontier, size, leaf_hash)
    return frontier


def compute_root_of_leaves(leaf_hashes: Sequence[bytes]) -> bytes:
    """Root of the tree over these leaf hashes: MTH of RFC 9162 section 2.1.1."""
    _check_hashes(leaf_hashes)
    if not leaf_hashes:
        return EMPTY_ROOT
    # Pairing level by level and carrying an odd last one up gives the RFC's split.
    level = list(leaf_hashes)
    while len(level) > 1:
        paired = [hash_node(level[i], level[i + 1]) for i in range(0, len(level) - 1, 2)]
        level = paired + ([level[-1]] if len(level) % 2 else [])
    return level[0]


def compute_inclusion_proof(leaf_hashes: Sequence[bytes], index: int) -> tuple[bytes, ...]:
    """Proof that leaf `index` (from 0) is in the tree: PATH of RFC 9162 section 2.1.3.1.

    Raises MalformedTree when there is no such leaf.
    """
    if not 0 <= index < len(leaf_hashes):
        raise MalformedTree(f"There is no leaf {index} in a tree of {len(leaf_hashes)} leaves.")
    path: list[bytes] = []
    start, end = 0, len(leaf_hashes)
    while end - start > 1:
        middle = start + _split(end - start)
        if index < middle:
            path.append(compute_root_of_leaves(leaf_hashes[middle:end]))
            end = middle
        else:
            path.append(compute_root_of_leaves(leaf_hashes[start:middle]))
            start = middle
    return tuple(reversed(path))


def verify_inclusion(
    *, leaf_hash: bytes, index: int, size: int, proof: Sequence[bytes], root: bytes
) -> bool:
    """Whether `proof` shows the leaf at `index` under `root` (RFC 9162 section 2.1.3.2)."""
    if not 0 <= index < size or not _are_hashes((leaf_hash, root, *proof)):
        return False
    fn, sn, running = index, size - 1, leaf_hash
    for step in proof:
        if sn == 0:
            return False
        if fn & 1 or fn == sn:
            running = hash_node(step, running)
            while fn and not fn & 1:
                fn, sn = fn >> 1, sn >> 1
        else:
            running = hash_node(running, step)
        fn, sn = fn >> 1, sn >> 1
    return sn == 0 and running == root


def compute_consistency_proof(leaf_hashes: Sequence[bytes], old_size: int) -> tuple[bytes, ...]:
    """Proof that the first `old_size` leaves are a prefix: RFC 9162 section 2.1.4.1.

    Empty when nothing was added. Raises MalformedTree for an old size of 0 or beyond the tree.
    """
    if not 0 < old_size <= len(leaf_hashes):
        raise MalformedTree(
            f"A tree of {len(leaf_hashes)} leaves cannot be compared with one of {old_size}."
        )
    path: list[bytes] = []
    start, end, is_whole = 0, len(leaf_hashes), True
    while end != old_size:
        middle = start + _split(end - start)
        if old_size <= middle:
            path.append(compute_root_of_leaves(leaf_hashes[middle:end]))
            end = middle
        else:
            path.append(compute_root_of_leaves(leaf_hashes[start:middle]))
            start, is_whole = middle, False
    if not is_whole:
        path.append(compute_root_of_leaves(leaf_hashes[start:end]))
    return tuple(reversed(path))


def verify_consistency(
    *, old_size: int, new_size: int, old_root: bytes, new_root: bytes, proof: Sequence[bytes]
) -> bool:
    """Whether `proof` shows the old tree as a prefix of the new (RFC 9162 section 2.1.4.2).

    An old size of 0 proves nothing and is never accepted.
    """
    if not 0 < old_size <= new_size or not _are_hashes((old_root, new_root, *proof)):
        return False
    if old_size == new_size:
        return not proof and old_root == new_root
    steps = list(proof)
    if old_size.bit_count() == 1:
        steps.insert(0, old_root)
    if not steps:
        return False
    fn, sn = old_size - 1, new_size - 1
    while fn & 1:
        fn, sn = fn >> 1, sn >> 1
    old_running = new_running = steps[0]
    for step in steps[1:]:
        if sn == 0:
            return False
        if fn & 1 or fn == sn:
            old_running = hash_node(step, old_running)
            new_running = hash_node(step, new_running)
            while fn and not fn & 1:
                fn, sn = fn >> 1, sn >> 1
        else:
            new_running = hash_node(new_running, step)
        fn, sn = fn >> 1, sn >> 1
    return sn == 0 and old_running == old_root and new_running == new_root


def _split(size: int) -> int:
    """Largest power of two below `size` (>= 2)."""
    return 1 << ((size - 1).bit_length() - 1)


def _are_hashes(candidates: Sequence[bytes]) -> bool:
    return all(len(candidate) == HASH_BYTES for candidate in candidates)


def _check_hashes(candidates: Sequence[bytes]) -> None:
    if not _are_hashes(candidates):
        raise MalformedTree(f"Each hash must be {HASH_BYTES} bytes long.")
