"""Every file of the corpus gives samples or a refusal that names its place; units are never lost.

A file is tried in each encoding and with each line end that the reader knows, and cut off at
every fortieth of its length.
"""

import codecs

import pytest

from app.core.refusals import Refusal
from app.numerics.metrics import ChannelMetrics, analyse_channel
from app.numerics.values import Measured
from app.traces.files import LoggerReading, read_logger_file
from tests.traces.files.corpus import READ, REFUSED, Read, Refused


@pytest.mark.parametrize("name", REFUSED)
def test_a_spoilt_file_is_refused_with_its_place(name: str) -> None:
    case: Refused = REFUSED[name]
    with pytest.raises(Refusal) as refused:
        read_logger_file(case.content())
    assert refused.value.code == case.code
    for words in case.words:
        assert words in refused.value.sentence


@pytest.mark.parametrize("name", READ)
def test_a_readable_file_is_read_and_says_what_was_found(name: str) -> None:
    case = READ[name]
    check(read_logger_file(case.content()), case)


@pytest.mark.parametrize("name", READ)
@pytest.mark.parametrize(
    ("codec", "mark"),
    [
        ("utf-8", codecs.BOM_UTF8),
        ("utf-16-le", codecs.BOM_UTF16_LE),
        ("utf-16-be", codecs.BOM_UTF16_BE),
        ("utf-16-le", b""),
        ("cp1252", b""),
    ],
)
@pytest.mark.parametrize("end", ["\r\n", "\r"])
def test_encodings_and_line_ends_change_nothing(
    name: str, codec: str, mark: bytes, end: str
) -> None:
    case = READ[name]
    text = case.content().decode().replace("\n", end)
    check(read_logger_file(mark + text.encode(codec)), case)


@pytest.mark.parametrize("name", READ)
def test_metrics_come_out_of_what_is_read(name: str) -> None:
    reading = read_logger_file(READ[name].content())
    for column in reading.columns:
        if column.unit is None or column.missing.sum() > reading.sample_count - 2:
            continue
        metrics = analyse_channel(
            reading.time.elapsed_s(),
            column.temperature_c(),
            liquidus_c=217.0,
            soak_min_c=150.0,
            soak_max_c=200.0,
        )
        assert 20.0 <= highest_c(metrics) <= 40.0


@pytest.mark.parametrize("name", [*READ, *REFUSED])
def test_a_file_cut_off_anywhere_is_read_or_refused(name: str) -> None:
    content = (READ.get(name) or REFUSED[name]).content()
    codes = set()
    for end in range(0, len(content), max(1, len(content) // 40)):
        try:
            reading = read_logger_file(content[:end])
        except Refusal as refusal:
            codes.add(refusal.code)
        else:
            assert reading.sample_count > 1
    assert all(code.startswith("traces.") for code in codes)


def highest_c(metrics: ChannelMetrics) -> float:
    assert isinstance(metrics.peak, Measured)
    return metrics.peak.value


def check(reading: LoggerReading, case: Read) -> None:
    assert reading.sample_count == case.samples
    units = tuple(str(c.unit) if c.unit else None for c in reading.columns)
    assert units == case.units
    assert {str(finding.kind) for finding in reading.findings} == set(case.findings)
    assert tuple(question.about for question in reading.questions) == case.asks
