"""One column of integers as bytes: differences, zigzag, then the shorter of two codings."""

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
import zstandard
from numpy.typing import NDArray

from app.numerics import rice
from app.numerics.byte_reader import ByteReader, spell_signed, spell_varint
from app.numerics.errors import CorruptSamples

IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

ZSTD_LEVEL = 19
MOST_DIFFERENCES = 3
# Beyond this a trial at the full level takes seconds; a quick one ranks the codings as well.
_QUICK_TRIAL_BYTES = 1 << 18
_QUICK_LEVEL = 3
# What the frame of a trial costs alone and the shared frame does not cost again.
_FRAME_BYTES = 9
_WIDTHS = (1, 2, 4, 8)


class Coding(IntEnum):
    """How the differences that remain are written."""

    ZERO = 0
    RICE = 1
    SHUFFLED = 2


class Gaps(IntEnum):
    """How the places without a reading are written."""

    RUNS = 0
    BITMAP = 1


@dataclass(frozen=True, slots=True)
class EncodedColumn:
    """A column's bytes, and the choices a reader has to know."""

    differences: int
    coding: Coding
    body: bytes


def encode_column(values: IntArray) -> EncodedColumn:
    """Encode integers losslessly, with the number of differences and the coding that win.

    Sums and differences wrap at 64 bits in both directions, so every int64 survives.
    """
    best: tuple[float, int, rice.UnsignedArray, rice.ParameterArray] | None = None
    for differences in range(min(MOST_DIFFERENCES, values.size) + 1):
        rest = _zigzag(np.diff(values, n=differences))
        parameters, size = rice.choose_parameters(rest)
        if best is None or size < best[0]:
            best = (size, differences, rest, parameters)
    if best is None:
        raise AssertionError("zero differences are always tried")
    size, differences, rest, parameters = best
    head = _spell_firsts(values, differences)
    if not rest.any():
        return EncodedColumn(differences, Coding.ZERO, head)
    shuffled = _shuffle(rest)
    level = ZSTD_LEVEL if len(shuffled) <= _QUICK_TRIAL_BYTES else _QUICK_LEVEL
    trial = len(zstandard.ZstdCompressor(level=level).compress(shuffled)) - _FRAME_BYTES
    if size <= trial:
        return EncodedColumn(differences, Coding.RICE, head + rice.encode(rest, parameters))
    return EncodedColumn(differences, Coding.SHUFFLED, head + shuffled)


def decode_column(reader: ByteReader, *, count: int, differences: int, coding: int) -> IntArray:
    """Decode `count` integers from an EncodedColumn's body. Raises CorruptSamples."""
    if differences > count:
        raise CorruptSamples("The block of samples takes more differences than it has rows.")
    firsts = [reader.take_signed() for _ in range(differences)]
    left = count - differences
    if coding == Coding.ZERO:
        rest = np.zeros(left, dtype=np.uint64)
    elif coding == Coding.RICE:
        rest = rice.decode(reader, left)
    elif coding == Coding.SHUFFLED:
        rest = _unshuffle(reader, left)
    else:
        raise CorruptSamples("The block of samples uses a coding that does not exist.")
    values = _unzigzag(rest)
    for first in reversed(firsts):
        values = np.cumsum(np.concatenate((np.array([first], dtype=np.int64), values)))
    return values


def encode_gaps(missing: BoolArray) -> bytes:
    """Encode which samples have no reading: lengths of runs, or a bit each if that is shorter."""
    edges = np.flatnonzero(missing[1:] != missing[:-1]) + 1
    lengths = np.diff(np.concatenate(([0], edges, [missing.size]))).tolist()
    bitmap = np.packbits(missing).tobytes()
    if len(lengths) < len(bitmap):
        runs = b"".join(spell_varint(length) for length in lengths)
        return bytes([Gaps.RUNS, int(missing[0])]) + spell_varint(len(lengths)) + runs
    return bytes([Gaps.BITMAP]) + bitmap


def decode_gaps(reader: ByteReader, count: int) -> BoolArray:
    """Decode `count` marks from what encode_gaps wrote. Raises CorruptSamples."""
    form = reader.take_byte()
    if form == Gaps.BITMAP:
        bits = np.unpackbits(np.frombuffer(reader.take(-(-count // 8)), dtype=np.uint8))
        return bits[:count].astype(np.bool_)
    if form != Gaps.RUNS:
        raise CorruptSamples("The block of samples marks its gaps in a way that does not exist.")
    is_missing = bool(reader.take_byte())
    run_count = reader.take_varint(limit=count)
    lengths = [reader.take_varint(limit=count) for _ in range(run_count)]
    if sum(lengths) != count:
        raise CorruptSamples("The block of samples marks more or fewer gaps than it has rows.")
    marks = np.arange(run_count) % 2 == int(not is_missing)
    return np.repeat(marks, lengths)


def _spell_firsts(values: IntArray, differences: int) -> bytes:
    return b"".join(
        spell_signed(int(np.diff(values[: taken + 1], n=taken)[0])) for taken in range(differences)
    )


def _zigzag(signed: IntArray) -> rice.UnsignedArray:
    return (signed << 1 ^ signed >> 63).view(np.uint64)


def _unzigzag(numbers: rice.UnsignedArray) -> IntArray:
    sign = (numbers & np.uint64(1)).view(np.int64)
    return (numbers >> np.uint64(1)).view(np.int64) ^ -sign


def _shuffle(numbers: rice.UnsignedArray) -> bytes:
    """Write the width, then all lowest bytes, then all second bytes and so on."""
    largest = int(numbers.max(initial=np.uint64(0)))
    width = next(width for width in _WIDTHS if largest < 1 << 8 * width)
    planes = numbers.astype(f"<u{width}").view(np.uint8).reshape(-1, width)
    return bytes([width]) + planes.T.tobytes()


def _unshuffle(reader: ByteReader, count: int) -> rice.UnsignedArray:
    width = reader.take_byte()
    if width not in _WIDTHS:
        raise CorruptSamples(f"The block of samples has numbers of {width} bytes.")
    planes = np.frombuffer(reader.take(count * width), dtype=np.uint8).reshape(width, count)
    return np.ascontiguousarray(planes.T).view(f"<u{width}").reshape(-1).astype(np.uint64)
