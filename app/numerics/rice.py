"""Rice coding of small unsigned integers, one parameter for every 32, vectorised.

Each number u is written as u >> k in unary and its k low bits as they are; k is the one that
makes its block shortest. A block of zeros alone costs its half byte of parameter and no more.
Golomb, IEEE Trans. Inf. Theory 12 (1966) 399; Rice, JPL 79-22 (1979): cited from memory.
"""

import numpy as np
from numpy.typing import NDArray

from app.numerics.byte_reader import ByteReader, spell_varint
from app.numerics.errors import CorruptSamples

BLOCK = 32
_ALL_ZERO = 15
_WIDEST_SPAN = 14
_LARGEST_K = 62

UnsignedArray = NDArray[np.uint64]
ParameterArray = NDArray[np.int64]


def choose_parameters(numbers: UnsignedArray) -> tuple[ParameterArray, float]:
    """Choose k of every block, -1 for one of zeros alone, and reckon all of it in bytes."""
    count = -(-numbers.size // BLOCK)
    blocks = np.zeros((count, BLOCK), dtype=np.uint64)
    blocks.reshape(-1)[: numbers.size] = numbers
    mean = blocks.mean(axis=1, dtype=np.float64)
    middle = np.floor(np.log2(mean + 1.0)).astype(np.int64)
    best_k = np.zeros(count, dtype=np.int64)
    best_bits = np.full(count, np.inf)
    # One outlier lifts the mean far above the best k, hence more candidates below than above.
    for nudge in (0, -1, -2, -3, 1):
        k = np.clip(middle + nudge, 0, _LARGEST_K)
        unary = (blocks >> k.astype(np.uint64)[:, None]).sum(axis=1, dtype=np.float64)
        bits = unary + BLOCK * (k + 1.0)
        is_better = bits < best_bits
        best_k[is_better], best_bits[is_better] = k[is_better], bits[is_better]
    is_zero = ~blocks.any(axis=1)
    best_k[is_zero], best_bits[is_zero] = -1, 0.0
    best_k[~is_zero] = np.maximum(best_k[~is_zero], best_k.max(initial=0) - _WIDEST_SPAN)
    return best_k, float(best_bits.sum()) / 8.0 + count / 2.0 + 4.0


def encode(numbers: UnsignedArray, parameters: ParameterArray) -> bytes:
    """Encode the numbers with these parameters of their blocks, from choose_parameters."""
    is_live = parameters >= 0
    base = int(parameters[is_live].min()) if is_live.any() else 0
    nibbles = np.where(is_live, parameters - base, _ALL_ZERO).astype(np.uint8)
    if nibbles.size % 2:
        nibbles = np.append(nibbles, np.uint8(0))
    live, k = _spread(numbers.size, parameters)
    values = numbers[live]
    ends = np.cumsum((values >> k.astype(np.uint64)).astype(np.int64) + 1) - 1
    unary = np.zeros(int(ends[-1]) + 1 if ends.size else 0, dtype=np.uint8)
    unary[ends] = 1
    starts = np.cumsum(k) - k
    low = np.zeros(int(k.sum()), dtype=np.uint8)
    for bit in range(int(k.max(initial=0))):
        has = k > bit
        shift = (k[has] - 1 - bit).astype(np.uint64)
        low[starts[has] + bit] = (values[has] >> shift) & np.uint64(1)
    packed = np.packbits(unary).tobytes()
    return b"".join(
        (
            bytes([base]),
            (nibbles[0::2] << 4 | nibbles[1::2]).tobytes(),
            spell_varint(len(packed)),
            packed,
            np.packbits(low).tobytes(),
        )
    )


def decode(reader: ByteReader, count: int) -> UnsignedArray:
    """Decode `count` numbers from what encode wrote. Raises CorruptSamples."""
    blocks = -(-count // BLOCK)
    base = reader.take_byte()
    pairs = np.frombuffer(reader.take(-(-blocks // 2)), dtype=np.uint8)
    nibbles = np.stack((pairs >> 4, pairs & 0x0F), axis=1).reshape(-1)[:blocks]
    parameters = np.where(nibbles == _ALL_ZERO, -1, nibbles.astype(np.int64) + base)
    if parameters.max(initial=0) > _LARGEST_K:
        raise CorruptSamples("The block of samples names a parameter that does not exist.")
    live, k = _spread(count, parameters)
    # By the choice of k no block holds more than 17 unary bits a number, a short one of padding.
    length = reader.take_varint(limit=3 * (count + BLOCK))
    ends = np.flatnonzero(np.unpackbits(np.frombuffer(reader.take(length), dtype=np.uint8)))
    if ends.size != live.size or length != (int(ends[-1]) // 8 + 1 if ends.size else 0):
        raise CorruptSamples("The block of samples holds another count of numbers than it says.")
    values = (np.diff(ends, prepend=-1) - 1).astype(np.uint64)
    bit_count = int(k.sum())
    low = np.unpackbits(np.frombuffer(reader.take(-(-bit_count // 8)), dtype=np.uint8))
    starts = np.cumsum(k) - k
    for bit in range(int(k.max(initial=0))):
        has = k > bit
        values[has] = values[has] << np.uint64(1) | low[starts[has] + bit]
    numbers = np.zeros(count, dtype=np.uint64)
    numbers[live] = values
    return numbers


def _spread(count: int, parameters: ParameterArray) -> tuple[NDArray[np.intp], ParameterArray]:
    """Places of the numbers in blocks that are not all zero, and the k of each."""
    k = np.repeat(parameters, BLOCK)[:count]
    live = np.flatnonzero(k >= 0)
    return live, k[live]
