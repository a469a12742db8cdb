"""The bytes of a file: which text they are, or what else they look like."""

import codecs

import pytest

from app.core.refusals import Refusal
from app.traces.files import read_logger_file

PLAIN = "Time [s];T1 [°C]\n0;23,5\n1;24,5\n"


@pytest.mark.parametrize(
    ("content", "encoding"),
    [
        (PLAIN.encode(), "UTF-8"),
        (codecs.BOM_UTF8 + PLAIN.encode(), "UTF-8 with byte order mark"),
        (codecs.BOM_UTF16_LE + PLAIN.encode("utf-16-le"), "UTF-16"),
        (codecs.BOM_UTF16_BE + PLAIN.encode("utf-16-be"), "UTF-16"),
        (PLAIN.encode("cp1252"), "Windows-1252"),
    ],
)
def test_each_known_encoding_is_read_and_named(content: bytes, encoding: str) -> None:
    reading = read_logger_file(content)
    assert reading.encoding == encoding
    assert reading.guesses[1].header == "T1 [°C]"
    assert reading.columns[0].temperature_c().tolist() == [23.5, 24.5]


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_every_line_end_is_one(end: str) -> None:
    reading = read_logger_file(PLAIN.replace("\n", end).encode())
    assert reading.rows.tolist() == [2, 3]


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", "a PNG picture"),
        (b"PK\x03\x04\x14\x00\x06\x00", "a ZIP archive"),
        (b"%PDF-1.7\n", "a PDF document"),
        (b"BM\x00\x01\x02", "a bitmap picture"),
        (b"0,1\n0,\x002\n", "NUL byte in row 2"),
        (b"\x00" + PLAIN.encode("utf-16-le"), "NUL byte in row 1"),
        (b"0,1\n1,\x072\n", "U+0007 in row 2"),
        (b"0,1\n1,\x812\n\xff", "Byte 7 (0x81)"),
        (codecs.BOM_UTF8 + b"0,\xff\n", "byte 6 is not"),
        (codecs.BOM_UTF32_LE + "0,1\n".encode("utf-32-le"), "UTF-32"),
    ],
)
def test_what_is_no_text_is_refused_by_what_it_looks_like(content: bytes, words: str) -> None:
    with pytest.raises(Refusal) as refused:
        read_logger_file(content)
    assert refused.value.code == "traces.not_text"
    assert words in refused.value.sentence
    assert refused.value.field == "file"


@pytest.mark.parametrize("content", [b"", b"\n\n \n", codecs.BOM_UTF8, b"\x1a"])
def test_an_empty_file_is_refused(content: bytes) -> None:
    with pytest.raises(Refusal) as refused:
        read_logger_file(content)
    assert refused.value.code == "traces.empty_file"


def test_a_text_that_begins_with_the_letters_of_a_picture_is_still_a_text() -> None:
    reading = read_logger_file(b"BM time [s],T1 [C]\n0,20.5\n1,21.5\n")
    assert reading.sample_count == 2


@pytest.mark.parametrize("codec", ["utf-16-le", "utf-16-be"])
def test_utf_16_that_lost_its_mark_is_read_and_says_so(codec: str) -> None:
    reading = read_logger_file(PLAIN.encode(codec))
    assert reading.columns[0].temperature_c().tolist() == [23.5, 24.5]
    assert reading.encoding == "UTF-16"
    assert "byte order mark is missing" in reading.taken[0].why
