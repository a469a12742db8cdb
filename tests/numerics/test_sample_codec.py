"""Stored samples come back to the last digit, small, or are refused."""

import zlib
from collections.abc import Callable, Sequence
from functools import cache

import numpy as np
import pytest
import zstandard
from hypothesis import given, settings
from hypothesis import strategies as st

from app.numerics.byte_reader import ByteReader, spell_varint
from app.numerics.column_codec import Coding, IntArray, decode_column, encode_column
from app.numerics.errors import CorruptSamples, MalformedArrays, TooManySamples
from app.numerics.sample_codec import ScaledColumn, UnpackedSamples, pack_samples, unpack_samples

INT64 = st.integers(-(2**63), 2**63 - 1)
# Numbers of every size, among them long runs and slow changes, as traces have them.
NUMBERS = st.one_of(INT64, st.integers(-300, 300), st.sampled_from([0, 217]))
STORED, COMPRESSED = 1, 2


def _column(values: Sequence[int] | IntArray, *, decimals: int = 1) -> ScaledColumn:
    numbers = np.asarray(values, dtype=np.int64)
    return ScaledColumn(numbers, decimals, np.zeros(numbers.size, dtype=np.bool_))


def _assert_same(unpacked: UnpackedSamples, ticks: IntArray, columns: list[ScaledColumn]) -> None:
    assert np.array_equal(unpacked.ticks, ticks)
    assert len(unpacked.columns) == len(columns)
    for back, column in zip(unpacked.columns, columns, strict=True):
        assert back.decimals == column.decimals
        assert np.array_equal(back.missing, column.missing)
        assert np.array_equal(back.values, np.where(column.missing, 0, column.values))


@st.composite
def _samples(draw: st.DrawFn) -> tuple[IntArray, list[ScaledColumn]]:
    rows = draw(st.integers(0, 120))

    def numbers() -> IntArray:
        drawn = np.array(draw(st.lists(NUMBERS, min_size=rows, max_size=rows)), dtype=np.int64)
        # Summed up they wrap, which the codec has to survive too.
        for _ in range(draw(st.integers(0, 2))):
            drawn = np.cumsum(drawn)
        return drawn

    def column() -> ScaledColumn:
        chance = draw(st.sampled_from([0.0, 0.02, 0.5, 1.0]))
        marks = np.random.default_rng(draw(st.integers(0, 99))).random(rows) < chance
        return ScaledColumn(numbers(), draw(st.integers(0, 6)), marks)

    return numbers(), [column() for _ in range(draw(st.integers(0, 4)))]


@settings(max_examples=150)
@given(_samples(), st.integers(0, 6))
def test_every_trace_comes_back_exactly(
    samples: tuple[IntArray, list[ScaledColumn]], tick_decimals: int
) -> None:
    ticks, columns = samples
    unpacked = unpack_samples(pack_samples(ticks, tick_decimals=tick_decimals, columns=columns))
    assert unpacked.tick_decimals == tick_decimals
    _assert_same(unpacked, ticks, columns)


@pytest.mark.parametrize("largest", [1, 100, 30_000, 2**31 - 1, 2**40, 2**63 - 1])
@pytest.mark.parametrize("rows", [1, 2, 31, 32, 33, 5_000])
def test_numbers_of_every_width_come_back_exactly(rows: int, largest: int) -> None:
    rng = np.random.default_rng(rows)
    columns = [
        _column(rng.integers(-largest, largest, rows, endpoint=True)),
        _column(np.where(rng.random(rows) < 0.01, largest, rng.integers(0, 4, rows))),
        _column(np.arange(rows) % 7 * (largest // 7)),
    ]
    ticks = np.arange(rows, dtype=np.int64)
    blob = pack_samples(ticks, tick_decimals=0, columns=columns)
    _assert_same(unpack_samples(blob), ticks, columns)


def test_small_and_huge_numbers_share_a_column() -> None:
    """The parameters of its blocks lie further apart than half a byte can tell."""
    rng = np.random.default_rng(11)
    values = np.concatenate((rng.integers(-2, 3, 640), rng.integers(-(2**24), 2**24, 3_200)))
    encoded = encode_column(values)
    assert encoded.coding is Coding.RICE
    back = decode_column(
        ByteReader(encoded.body),
        count=values.size,
        differences=encoded.differences,
        coding=encoded.coding,
    )
    assert np.array_equal(back, values)


def test_time_that_runs_backwards_is_kept_as_it_was() -> None:
    ticks = np.array([0, 200, 100, 100, 2**60, -5], dtype=np.int64)
    assert np.array_equal(
        unpack_samples(pack_samples(ticks, tick_decimals=3, columns=[])).ticks, ticks
    )


def test_readings_come_back_as_the_floats_their_digits_spell() -> None:
    digits = ["217.3", "-0.1", "0.7", "1023.9"]
    column = ScaledColumn(
        np.array([2173, -1, 7, 10239], dtype=np.int64), 1, np.array([False, False, False, True])
    )
    ticks = np.array([0, 200, 400, 600], dtype=np.int64)
    unpacked = unpack_samples(pack_samples(ticks, tick_decimals=3, columns=[column]))
    floats = unpacked.columns[0].as_floats()
    assert floats[:3].tolist() == [float(text) for text in digits[:3]]
    assert np.isnan(floats[3])
    assert unpacked.time_s.tolist() == [0.0, 0.2, 0.4, 0.6]


# ── How small ────────────────────────────────────────────────────────────────


def _profiles(rows: int, *, step_s: float, channels: int, per_degree: int) -> list[ScaledColumn]:
    """Profiles with white noise of standard deviation 0.15 °C, rounded to the resolution."""
    rng = np.random.default_rng(7)
    time_s = np.arange(rows) * step_s
    line = np.interp(time_s, [0, 100, 190, 230, 250, 340, 360], [25, 150, 180, 240, 240, 60, 50])
    return [
        _column(np.round((line - 1.5 * i + rng.normal(0.0, 0.15, rows)) * per_degree).astype(int))
        for i in range(channels)
    ]


def test_five_noisy_channels_take_half_a_byte_a_sample() -> None:
    """The order-0 entropy of first differences of such traces is 0.453 byte (reckoned)."""
    columns = _profiles(1_800, step_s=0.2, channels=5, per_degree=10)
    blob = pack_samples(np.arange(1_800) * 200, tick_decimals=3, columns=columns)
    assert len(blob) / 9_000 <= 0.5


def test_hundredths_of_a_degree_take_less_than_a_byte_a_sample() -> None:
    columns = _profiles(1_800, step_s=0.2, channels=5, per_degree=100)
    blob = pack_samples(np.arange(1_800) * 200, tick_decimals=3, columns=columns)
    assert len(blob) / 9_000 <= 0.95


def test_a_small_trace_of_one_channel_stays_small() -> None:
    """Four hundred readings of a plate that warms and cools by 0.1 °C steps."""
    rng = np.random.default_rng(3)
    time_s = np.arange(400) * 5.0
    plate_c = np.where(
        time_s < 1_200,
        24.0 + 450.0 * (1.0 - np.exp(-time_s / 300.0)),
        24.0 + 441.8 * np.exp(-(time_s - 1_200.0) / 250.0),
    )
    noisy = np.round((plate_c + rng.normal(0.0, 0.1, 400)) * 10.0).astype(np.int64)
    blob = pack_samples(np.arange(400) * 5, tick_decimals=0, columns=[_column(noisy)])
    assert len(blob) / 400 <= 0.6


def test_a_regular_time_axis_costs_next_to_nothing() -> None:
    blob = pack_samples(np.arange(100_000) * 200 + 12_345, tick_decimals=3, columns=[])
    assert len(blob) <= 20


def test_a_flat_line_costs_next_to_nothing() -> None:
    ticks = np.arange(100_000)
    blob = pack_samples(ticks, tick_decimals=0, columns=[_column(np.full(100_000, 217))])
    assert len(blob) <= 24


def test_one_long_gap_costs_a_few_bytes() -> None:
    ticks = np.arange(1_800)
    column = _column(np.full(1_800, 217))
    column.missing[600:900] = True
    assert len(pack_samples(ticks, tick_decimals=0, columns=[column])) <= 32


def test_a_repeating_pattern_is_left_to_the_general_coder() -> None:
    pattern = np.random.default_rng(5).integers(-1_000, 1_000, 50)
    blob = pack_samples(np.arange(5_000), tick_decimals=0, columns=[_column(np.tile(pattern, 100))])
    assert blob[6] == COMPRESSED
    assert len(blob) <= 300


# ── What is refused ──────────────────────────────────────────────────────────


@cache
def _blobs() -> list[bytes]:
    small = _profiles(60, step_s=5.0, channels=1, per_degree=10)
    large = _profiles(600, step_s=0.5, channels=2, per_degree=10)
    large[0].missing[50:60] = True
    tiled = [_column(np.tile(np.random.default_rng(5).integers(-1_000, 1_000, 50), 6))]
    return [
        pack_samples(np.arange(rows) * 5, tick_decimals=0, columns=columns)
        for rows, columns in ((60, small), (600, large), (300, tiled))
    ]


@pytest.mark.parametrize("place", range(3))
def test_a_block_with_any_byte_changed_is_refused(place: int) -> None:
    blob = _blobs()[place]
    unpack_samples(blob)
    for at in range(len(blob)):
        damaged = bytearray(blob)
        damaged[at] ^= 1 << at % 8
        with pytest.raises(CorruptSamples):
            unpack_samples(bytes(damaged))


@pytest.mark.parametrize("place", range(3))
def test_a_block_cut_short_or_made_longer_is_refused(place: int) -> None:
    blob = _blobs()[place]
    for end in range(len(blob)):
        with pytest.raises(CorruptSamples):
            unpack_samples(blob[:end])
    with pytest.raises(CorruptSamples, match="checksum"):
        unpack_samples(blob + b"\0")


def _seal(content: bytes) -> bytes:
    """Give any content a true checksum."""
    return b"WS" + zlib.crc32(content).to_bytes(4, "little") + content


def _head(version: int, *, rows: int, columns: int) -> bytes:
    return bytes([version]) + spell_varint(rows) + spell_varint(columns)


@settings(max_examples=400)
@given(st.integers(0, 2), st.integers(0, 10_000), st.binary(min_size=1, max_size=4))
def test_a_forged_block_with_a_true_checksum_is_unpacked_or_refused(
    place: int, at: int, forged: bytes
) -> None:
    content = bytearray(_blobs()[place][6:])
    at %= len(content)
    content[at : at + len(forged)] = forged
    try:
        unpacked = unpack_samples(_seal(bytes(content)))
    except CorruptSamples:
        return
    assert all(column.values.size == unpacked.ticks.size for column in unpacked.columns)


@settings(max_examples=400)
@given(st.integers(0, 40), st.integers(0, 2), st.binary(max_size=80))
def test_a_forged_body_is_unpacked_or_refused(rows: int, columns: int, body: bytes) -> None:
    try:
        unpacked = unpack_samples(_seal(_head(STORED, rows=rows, columns=columns) + body))
    except CorruptSamples:
        return
    assert unpacked.ticks.size == rows


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (_head(9, rows=0, columns=0), "version 9, not of 1 or 2"),
        (_head(STORED, rows=4_000_001, columns=1), "4000001 where 4000000 is the most"),
        (_head(STORED, rows=1, columns=65), "65 where 64 is the most"),
        (_head(STORED, rows=4_000_000, columns=64), "at most 16000000 cells"),
        (_head(STORED, rows=0, columns=0) + b"\x00\x00", "after its end"),
        (_head(STORED, rows=1, columns=0) + b"\x03", "coding that does not exist"),
        (_head(STORED, rows=1, columns=0) + b"\x70", "7 decimals"),
        (_head(STORED, rows=1, columns=0) + b"\x0c", "more differences"),
        (_head(STORED, rows=1, columns=0) + b"\x80\x00\x01\x01\x01", "without a time"),
        (_head(STORED, rows=1, columns=0) + b"\x80\x02", "in a way that does not exist"),
        (_head(STORED, rows=3, columns=0) + b"\x80\x00\x01\x01\x01", "more or fewer gaps"),
        (_head(STORED, rows=1, columns=0) + b"\x02\x03", "numbers of 3 bytes"),
        (_head(STORED, rows=1, columns=0) + b"\x01\x3f\x00", "parameter that does not exist"),
        (_head(STORED, rows=1, columns=0) + b"\x01\x00\x00\x01\x00", "another count of numbers"),
        (_head(STORED, rows=1, columns=0) + b"\x04" + b"\xff" * 11, "without an end"),
        (_head(COMPRESSED, rows=1, columns=0) + b"no frame", "cannot be decompressed"),
    ],
)
def test_a_forged_block_is_refused_with_its_reason(content: bytes, sentence: str) -> None:
    with pytest.raises(CorruptSamples, match=sentence):
        unpack_samples(_seal(content))


def test_a_frame_that_would_swell_is_refused_before_it_does() -> None:
    bomb = zstandard.ZstdCompressor(level=19).compress(bytes(50_000_000))
    assert len(bomb) < 10_000
    with pytest.raises(CorruptSamples, match="grow beyond"):
        unpack_samples(_seal(_head(COMPRESSED, rows=1_000, columns=1) + bomb))


def test_a_frame_that_hides_its_size_is_refused() -> None:
    frame = zstandard.ZstdCompressor(write_content_size=False).compress(bytes(2))
    with pytest.raises(CorruptSamples, match="grow beyond"):
        unpack_samples(_seal(_head(COMPRESSED, rows=1, columns=0) + frame))


def test_other_bytes_are_no_block_of_samples() -> None:
    with pytest.raises(CorruptSamples, match="no block of samples"):
        unpack_samples(b"Time,Temp\n0,23.9\n")


@pytest.mark.parametrize(
    ("make", "sentence"),
    [
        (lambda: (3, [_column([1, 2])]), "Column 1 must be one row of 3 samples"),
        (lambda: (2, [_column([1, 2]), _column([1, 2], decimals=7)]), "Column 2 has 7 decimals"),
        (lambda: (2, [_column([1, 2], decimals=-1)]), "-1 decimals"),
        (
            lambda: (2, [ScaledColumn(np.zeros(2, np.int32), 1, np.zeros(2, np.bool_))]),
            "must be int64 values",
        ),
    ],
)
def test_arrays_that_do_not_fit_are_refused(
    make: Callable[[], tuple[int, list[ScaledColumn]]], sentence: str
) -> None:
    rows, columns = make()
    with pytest.raises(MalformedArrays, match=sentence):
        pack_samples(np.arange(rows), tick_decimals=0, columns=columns)


def test_more_than_a_block_holds_is_refused() -> None:
    with pytest.raises(TooManySamples, match="at most 64 columns, not 65"):
        pack_samples(np.arange(1), tick_decimals=0, columns=[_column([1])] * 65)
    with pytest.raises(TooManySamples, match="at most 4000000 rows, not 4000001"):
        pack_samples(np.zeros(4_000_001, np.int64), tick_decimals=0, columns=[])
    with pytest.raises(TooManySamples, match="at most 16000000 cells"):
        pack_samples(np.zeros(300_000, np.int64), tick_decimals=0, columns=[_column([1])] * 64)
