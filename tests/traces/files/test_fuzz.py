"""Whatever the bytes are, the answer is a reading or a refusal."""

from hypothesis import example, given, settings
from hypothesis import strategies as st

from app.core.refusals import Refusal
from app.numerics.thermocouple_tables import ThermocoupleType
from app.traces.files import LoggerReading, read_logger_file
from app.traces.rules import (
    ColumnChoice,
    ColumnRole,
    DecimalMark,
    Delimiter,
    ReadingChoices,
    TemperatureUnit,
    TimeFormat,
)

GOOD = (
    b"Time [s],T1 [C],T2 [C]\n0.0,20.5,21.5\n0.5,21.5,22.5\n1.0,22.5,OPEN\n1.5,23.5,1372.0\n",
    b"Operator;Odile\nDatum;Zeit;T1\n;;\xb0C\n01.05.2024;23:59:59;20,5\n02.05.2024;00:00:00;21,5\n",
    b"sep=\t\nTime\tA [F]\n00:00:00.5\t70.5\n00:00:01.0\t71.5\n00:00:01.5\t-0.25\n",
    b"Time [s],A type K [mV],CJC [C]\n0,0.5,20.5\n1,1.5,OPEN\n2,2.5,21\n3,53.9,21\n",
    b'"When","T1 (K)"\n"2024-05-01T10:00:00Z","300.5"\n"2024-05-01T10:00:01Z","301.5"\n',
)
PIECES = (
    b",", b";", b"\t", b"|", b"\n", b"\r", b'"', b"#", b" ", b"0", b"9", b".", b"-", b"e308",
    b"NaN", b":", b"/", b"T", b"[C]", b"\xc2\xb0", b"\xff", b"\x00", b"1e-400", b"9" * 20,
    b"31/12/0000 10:00", b"12:00:00 am", b"2024-05-01T10:00:00+99:99", b"\xe2\x88\x92", b"Time",
    b"9999999999:00:00", b"\xd9\xa3", b"\xc2\xb2", b"\xe2\x80\xa8", b"\xc2\x85",
    b"mV", b"CJC", b"type T", b"01:59:59", b"03:00:00",
)  # fmt: skip

choices = st.builds(
    ReadingChoices,
    delimiter=st.none() | st.sampled_from(Delimiter),
    decimal_mark=st.none() | st.sampled_from(DecimalMark),
    header_row=st.none() | st.integers(0, 5),
    time_format=st.none() | st.sampled_from(TimeFormat),
    day_first=st.none() | st.booleans(),
    temperature_unit=st.none() | st.sampled_from(TemperatureUnit),
    thermocouple=st.none() | st.sampled_from(ThermocoupleType),
    columns=st.none().map(lambda _: ())
    | st.tuples(
        st.builds(
            ColumnChoice,
            index=st.integers(0, 3),
            role=st.none() | st.sampled_from(ColumnRole),
            unit=st.none() | st.sampled_from(TemperatureUnit),
            thermocouple=st.none() | st.sampled_from(ThermocoupleType),
        )
    ),
)


@st.composite
def spoilt_files(draw: st.DrawFn) -> bytes:
    content = draw(st.sampled_from(GOOD))
    for _ in range(draw(st.integers(1, 6))):
        start = draw(st.integers(0, len(content)))
        end = draw(st.integers(start, min(len(content), start + 12)))
        content = content[:start] + draw(st.sampled_from((b"", *PIECES))) + content[end:]
    return content


def read_or_refuse(content: bytes, chosen: ReadingChoices | None = None) -> LoggerReading | None:
    try:
        reading = read_logger_file(content, choices=chosen)
    except Refusal as refusal:
        check_said(refusal)
        return None
    check_whole(reading)
    return reading


def check_said(refusal: Refusal) -> None:
    assert refusal.code.startswith("traces.")
    assert refusal.sentence.encode()
    assert len(refusal.sentence) < 2_000


def check_whole(reading: LoggerReading) -> None:
    assert reading.sample_count > 1
    elapsed = reading.time.elapsed_s()
    assert elapsed[0] == 0.0
    assert (reading.time.ticks[1:] > reading.time.ticks[:-1]).all()
    for k in (0, reading.sample_count - 1):
        assert reading.time.spell(k)
    for column in reading.columns:
        assert len(column.values) == reading.sample_count
        assert (column.values[column.missing] == 0).all()
        assert all(column.spell(k) for k in range(reading.sample_count) if not column.missing[k])
        if column.unit is not None:
            assert (column.temperature_c()[~column.missing] >= -273.15).all()


def test_the_good_files_are_read() -> None:
    assert all(read_or_refuse(content) is not None for content in GOOD)


@given(st.binary(max_size=300))
@example(b"\xff\xfe\x00\xd8")
def test_random_bytes_are_read_or_refused(content: bytes) -> None:
    read_or_refuse(content)


@given(st.lists(st.sampled_from((*PIECES, b"1", b"2", b"3\n", b"4,")), max_size=60))
def test_random_pieces_of_tables_are_read_or_refused(pieces: list[bytes]) -> None:
    read_or_refuse(b"".join(pieces))


@settings(max_examples=400)
@given(spoilt_files(), st.none() | choices)
def test_spoilt_files_are_read_or_refused(content: bytes, chosen: ReadingChoices | None) -> None:
    read_or_refuse(content, chosen)
