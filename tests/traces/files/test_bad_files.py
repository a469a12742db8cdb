"""Files that are no trace, and files that were spoilt: each is refused by row or column."""

import pytest

from app.core.refusals import Refusal
from app.traces.files import read_logger_file


@pytest.mark.parametrize(
    ("content", "code", "words"),
    [
        (b"Time\n0\n1\n2\n", "traces.one_column", "Row 4 has one column"),
        (b"hello\n", "traces.one_column", "Row 1 has one column"),
        (b"Time [s],T1 [C]\n0,20.5\n", "traces.one_sample", "Row 2 is the only row"),
        (b"0,20.5", "traces.one_sample", "Row 1"),
        (b"Time [s],T1 [C]\n", "traces.no_samples", "from row 1 on"),
        (b"Time [s],T1 [C]\n,\n,\n", "traces.no_samples", "from row 1 on"),
        (b"Time [s],T1 [C]\n0,\n1,\n", "traces.no_temperature_column", "column 2"),
        (b"Time [s],T1 [C]\n0,NaN\n1,NaN\n", "traces.no_temperatures", "row 2 to 3"),
        (b"Time [s],T1 [C]\n0,1e308\n1,1e308\n", "traces.no_temperatures", "row 2 to 3"),
        (b"Time [s],T1 [C]\n9,20\n8,20\n7,20\n", "traces.time_not_increasing", "Row 3"),
        (b"a,b\nc,d\ne,f\n", "traces.no_samples", "row 2"),
        (b"5,20\n5,20\n5,20\n", "traces.no_time_column", "None of the 2 columns"),
        (b"Time [s],U [V]\n0,1.5\n1,1.6\n", "traces.no_temperature_column", "“v”"),
        (b"# only\n# remarks\n", "traces.no_rows", "remarks"),
        (b"\x89PNG\r\n\x1a\n" + bytes(range(256)), "traces.not_text", "PNG"),
    ],
)
def test_a_file_that_is_no_trace_is_refused(content: bytes, code: str, words: str) -> None:
    with pytest.raises(Refusal) as refused:
        read_logger_file(content)
    assert refused.value.code == code
    assert words in refused.value.sentence


def test_a_file_cut_off_anywhere_is_read_or_refused() -> None:
    text = b"Operator;Odile\nTime;T1;T2\ns;\xc2\xb0C;\xc2\xb0C\n" + b"".join(
        b"%d;2%d,5;30,5\n" % (k, k % 10) for k in range(12)
    )
    read = 0
    codes = set()
    for end in range(len(text)):
        try:
            reading = read_logger_file(text[:end])
        except Refusal as refusal:
            codes.add(refusal.code)
        else:
            read += 1
            assert reading.sample_count <= 12
    assert read > len(text) // 2
    assert codes == {
        "traces.empty_file",
        "traces.no_samples",
        "traces.one_column",
        "traces.one_sample",
    }


def test_megabytes_of_quotes_blanks_and_delimiters_are_refused_not_suffered() -> None:
    for content in (b'"' * 30_000 + b"\n", b" " * 30_000 + b",", b",,,\n" * 200_000, b'"\n' * 9):
        with pytest.raises(Refusal):
            read_logger_file(content)
