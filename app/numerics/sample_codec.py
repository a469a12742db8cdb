"""A whole trace as one small block of bytes, exact to the last digit of the file it came from.

Layout: magic, version, CRC-32 of everything after it, counts, then one body, stored as it is or as
one zstd frame, whichever is shorter. The body is the time axis and the columns one by one.
"""

import zlib
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import zstandard

from app.numerics.byte_reader import ByteReader, spell_varint
from app.numerics.column_codec import (
    ZSTD_LEVEL,
    BoolArray,
    IntArray,
    decode_column,
    decode_gaps,
    encode_column,
    encode_gaps,
)
from app.numerics.errors import CorruptSamples, MalformedArrays, TooManySamples
from app.numerics.trace import FloatArray

MOST_COLUMNS = 64
MOST_ROWS = 4_000_000
MOST_CELLS = 16_000_000
MOST_DECIMALS = 6

_MAGIC = b"WS"
_STORED, _COMPRESSED = 1, 2  # the version; another layout takes another number
_CRC_BYTES = 4
# A column never needs more: 8 bytes a number or its Rice code, a bit a gap, and its head.
_MOST_BYTES_A_CELL = 12
_HEAD_BYTES_A_COLUMN = 256


@dataclass(frozen=True, slots=True, eq=False)
class ScaledColumn:
    """Readings as integers: `values` / 10^`decimals`, every digit as in the file.

    Where `missing` is true there is no reading; the value there means nothing and comes back 0.
    """

    values: IntArray
    decimals: int
    missing: BoolArray

    def as_floats(self) -> FloatArray:
        """Compute the readings as the floats nearest to them, NaN where there is none."""
        floats = self.values / 10.0**self.decimals
        floats[self.missing] = np.nan
        return floats


@dataclass(frozen=True, slots=True, eq=False)
class UnpackedSamples:
    """A trace as it was packed: time in `ticks` / 10^`tick_decimals` seconds, and its columns."""

    ticks: IntArray
    tick_decimals: int
    columns: tuple[ScaledColumn, ...]

    @property
    def time_s(self) -> FloatArray:
        """Moments of the samples in seconds."""
        return np.asarray(self.ticks / 10.0**self.tick_decimals, dtype=np.float64)


def pack_samples(ticks: IntArray, *, tick_decimals: int, columns: Sequence[ScaledColumn]) -> bytes:
    """Pack a trace without loss; a regular time axis costs a few bytes in all.

    Raises TooManySamples beyond 64 columns, 4,000,000 rows or 16,000,000 cells, MalformedArrays
    for arrays that are not one int64 row each, of one length, with 0 to 6 decimals.
    """
    _check_counts(ticks.size, len(columns), refuse=TooManySamples)
    whole = ScaledColumn(ticks, tick_decimals, np.zeros(ticks.shape, dtype=np.bool_))
    for place, column in enumerate((whole, *columns)):
        _check_column(column, rows=ticks.size, name=f"Column {place}" if place else "Time")
    body = b"".join(_spell_column(column) for column in (whole, *columns))
    frame = zstandard.ZstdCompressor(level=ZSTD_LEVEL, write_content_size=True).compress(body)
    version, payload = (_COMPRESSED, frame) if len(frame) < len(body) else (_STORED, body)
    content = b"".join(
        (bytes([version]), spell_varint(ticks.size), spell_varint(len(columns)), payload)
    )
    return _MAGIC + zlib.crc32(content).to_bytes(_CRC_BYTES, "little") + content


def unpack_samples(blob: bytes) -> UnpackedSamples:
    """Unpack what pack_samples packed.

    Raises CorruptSamples for bytes that are damaged, cut short, of another version, or that would
    grow beyond what their own counts and the limits of pack_samples allow.
    """
    reader = ByteReader(blob)
    if reader.take(len(_MAGIC)) != _MAGIC:
        raise CorruptSamples("This is no block of samples.")
    crc = int.from_bytes(reader.take(_CRC_BYTES), "little")
    content = reader.take_rest()
    if zlib.crc32(content) != crc:
        raise CorruptSamples("The block of samples is damaged: its checksum does not fit.")
    reader = ByteReader(content)
    version = reader.take_byte()
    rows = reader.take_varint(limit=MOST_ROWS)
    column_count = reader.take_varint(limit=MOST_COLUMNS)
    _check_counts(rows, column_count, refuse=CorruptSamples)
    most_bytes = (column_count + 1) * (rows * _MOST_BYTES_A_CELL + _HEAD_BYTES_A_COLUMN)
    payload = reader.take_rest()
    if version == _COMPRESSED:
        payload = _decompress(payload, most_bytes=most_bytes)
    elif version != _STORED:
        raise CorruptSamples(f"The block of samples is of version {version}, not of 1 or 2.")
    reader = ByteReader(payload)
    time, *columns = [_read_column(reader, rows) for _ in range(column_count + 1)]
    reader.check_end()
    if time.missing.any():
        raise CorruptSamples("The block of samples has rows without a time.")
    return UnpackedSamples(time.values, time.decimals, tuple(columns))


def _spell_column(column: ScaledColumn) -> bytes:
    """Spell one byte of choices (missing, decimals, differences, coding), gaps, numbers."""
    has_gaps = bool(column.missing.any())
    encoded = encode_column(column.values[~column.missing] if has_gaps else column.values)
    choices = has_gaps << 7 | column.decimals << 4 | encoded.differences << 2 | encoded.coding
    gaps = encode_gaps(column.missing) if has_gaps else b""
    return bytes([choices]) + gaps + encoded.body


def _read_column(reader: ByteReader, rows: int) -> ScaledColumn:
    choices = reader.take_byte()
    decimals = choices >> 4 & 7
    if decimals > MOST_DECIMALS:
        raise CorruptSamples(f"The block of samples has a column of {decimals} decimals.")
    missing = decode_gaps(reader, rows) if choices >> 7 else np.zeros(rows, dtype=np.bool_)
    present = rows - int(np.count_nonzero(missing))
    numbers = decode_column(reader, count=present, differences=choices >> 2 & 3, coding=choices & 3)
    if present == rows:
        return ScaledColumn(numbers, decimals, missing)
    values = np.zeros(rows, dtype=np.int64)
    values[~missing] = numbers
    return ScaledColumn(values, decimals, missing)


def _decompress(frame: bytes, *, most_bytes: int) -> bytes:
    try:
        size = zstandard.frame_content_size(frame)
        # An unknown size is -1: pack_samples always writes it.
        if not 0 <= size <= most_bytes:
            raise CorruptSamples("The block of samples would grow beyond what its rows can need.")
        return zstandard.ZstdDecompressor().decompress(frame, allow_extra_data=False)
    except zstandard.ZstdError as error:
        raise CorruptSamples("The block of samples cannot be decompressed.") from error


def _check_counts(
    rows: int, columns: int, *, refuse: type[CorruptSamples] | type[TooManySamples]
) -> None:
    for what, count, most in (
        ("columns", columns, MOST_COLUMNS),
        ("rows", rows, MOST_ROWS),
        ("cells", rows * (columns + 1), MOST_CELLS),
    ):
        if count > most:
            raise refuse(f"A block of samples holds at most {most} {what}, not {count}.")


def _check_column(column: ScaledColumn, *, rows: int, name: str) -> None:
    if column.values.dtype != np.int64 or column.missing.dtype != np.bool_:
        raise MalformedArrays(f"{name} must be int64 values and boolean marks.")
    if column.values.shape != (rows,) or column.missing.shape != (rows,):
        raise MalformedArrays(f"{name} must be one row of {rows} samples, as the time is.")
    if not 0 <= column.decimals <= MOST_DECIMALS:
        raise MalformedArrays(f"{name} has {column.decimals} decimals; 0 to 6 can be stored.")
