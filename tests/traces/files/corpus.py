"""Files as loggers, accidents and mischief make them, each generated here; none is copied."""

import gzip
import io
import struct
import zipfile
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

HEADER: Final = "Time [s],T1 [C],T2 [C]"


def rows(count: int, *, start: int = 0, sep: str = ",", mark: str = ".") -> list[str]:
    """Return plain rows: time, and two temperatures in tenths."""
    return [
        sep.join((str(start + k), f"2{k % 10}{mark}5", f"3{k % 10}{mark}5")) for k in range(count)
    ]


def table(*lines: str) -> bytes:
    return ("\n".join(lines) + "\n").encode()


def picture() -> bytes:
    """Return a PNG of one grey point, as its specification lays it out."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return (
            struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
        )

    size = struct.pack(">IIBBBBB", 1, 1, 8, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", size)
        + chunk(b"IDAT", zlib.compress(b"\x00\x80"))
        + chunk(b"IEND", b"")
    )


def archive(name: str) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as packed:
        packed.writestr(name, table(HEADER, *rows(5)))
    return stream.getvalue()


@dataclass(frozen=True)
class Refused:
    """A file that is refused: the code, and words of the sentence (row and column among them)."""

    content: Callable[[], bytes]
    code: str
    words: tuple[str, ...]


@dataclass(frozen=True)
class Read:
    """A file that is read: how many samples, columns and questions, and kinds of findings."""

    content: Callable[[], bytes]
    samples: int
    units: tuple[str | None, ...]
    findings: tuple[str, ...] = ()
    asks: tuple[str, ...] = ()


REFUSED: Final[dict[str, Refused]] = {
    "empty": Refused(lambda: b"", "traces.empty_file", ("empty",)),
    "blanks": Refused(lambda: b" \n\t\n  \n", "traces.empty_file", ("empty",)),
    "only a header": Refused(lambda: table(HEADER), "traces.no_samples", ("row 1",)),
    "a header and units": Refused(lambda: table("t,T1", "s,C"), "traces.no_samples", ("row 2",)),
    "one row": Refused(lambda: table(HEADER, "0,20,21"), "traces.one_sample", ("Row 2",)),
    "one column": Refused(lambda: table("T1", "20", "21"), "traces.one_column", ("Row 3",)),
    "10,000 columns": Refused(
        lambda: table(",".join("1" * 10_000), ",".join("2" * 10_000)),
        "traces.too_many_columns",
        ("Row 1", "10,000 columns", "1,000 is the limit"),
    ),
    "all cells empty": Refused(lambda: table(HEADER, ",,", ",,"), "traces.no_samples", ("row 1",)),
    "no temperature in any row": Refused(
        lambda: table(HEADER, "0,,", "1,,", "2,,"), "traces.no_temperature_column", ("column 2",)
    ),
    "NaN only": Refused(
        lambda: table(HEADER, "0,NaN,NaN", "1,NaN,NaN"),
        "traces.no_temperatures",
        ("row 2 to 3", "Column 2 “T1 [C]”", "rows 2 to 3"),
    ),
    "1e308 only": Refused(
        lambda: table(HEADER, "0,1e308,-1e308", "1,1e308,1e308"),
        "traces.no_temperatures",
        ("row 2 to 3", "Column 2 “T1 [C]”"),
    ),
    "a time of 1e308": Refused(
        lambda: table(HEADER, "0,20,21", "1e308,20,21"),
        "traces.time_impossible",
        ("Row 3, column 1 “Time [s]”", "“1e308”"),
    ),
    "mixed decimals": Refused(
        lambda: table("t [s];A [C];B [C]", "0;20,5;21,5", "1;20.5;21,5", "2;20,5;21,5"),
        "traces.decimal_marks_mixed",
        ("Row 3, column 2 “A [C]”", "“20.5”", "“,”"),
    ),
    "decimal commas between commas": Refused(
        lambda: table("t [s],A [C]", "0,0,20,5", "0,5,20,6", "1,0,20,7"),
        "traces.row_too_wide",
        ("Row 2", "column 3", "decimal comma"),
    ),
    "descending time": Refused(
        lambda: table(HEADER, *reversed(rows(5))),
        "traces.time_not_increasing",
        ("Row 3, column 1 “Time [s]”", "from 4 in row 2 to 3"),
    ),
    "the same time twice": Refused(
        lambda: table(HEADER, "0,20,21", "1,20,21", "1,20,21"),
        "traces.time_not_increasing",
        ("Row 4, column 1 “Time [s]”", "row 3 again"),
    ),
    "restarted in mid-file": Refused(
        lambda: table(HEADER, *rows(6), *rows(4)),
        "traces.time_not_increasing",
        ("Row 8, column 1 “Time [s]”", "from 5 in row 7 to 0", "restarted"),
    ),
    "restarted with its header": Refused(
        lambda: table(HEADER, *rows(6), HEADER, *rows(4)),
        "traces.time_not_increasing",
        ("Row 9, column 1 “Time [s]”", "row 7", "restarted"),
    ),
    "a sample without a time": Refused(
        lambda: table(HEADER, "0,20,21", ",22,23", "2,24,25"),
        "traces.time_unreadable",
        ("Row 3, column 1 “Time [s]”", "is empty"),
    ),
    "61 minutes past": Refused(
        lambda: table("Time,T1 [C]", "10:59:58,20", "10:61:00,21"),
        "traces.time_impossible",
        ("Row 3, column 1 “Time”", "61 minutes"),
    ),
    "30 February": Refused(
        lambda: table("Time,T1 [C]", "2026-02-28 10:00:00,20", "2026-02-30 10:00:00,21"),
        "traces.time_impossible",
        ("Row 3, column 1 “Time”", "day 30"),
    ),
    "one zone missing": Refused(
        lambda: table("Time,T1 [C]", "2026-02-28T10:00:00Z,20", "2026-02-28T10:00:01,21"),
        "traces.zones_mixed",
        ("Row 3", "row 2"),
    ),
    "a cell in another unit": Refused(
        lambda: table("t [s],T1 [C]", "0,20", "1,70 °F", "2,21"),
        "traces.units_mixed",
        ("Row 3, column 2 “T1 [C]”", "“70 °F” is in °F"),
    ),
    "an emf beyond its type": Refused(
        lambda: table("t [s],T1 type T [mV],CJC [C]", "0,0,20", "1,30,20"),
        "traces.emf_outside_range",
        ("Row 3, column 2", "30 mV", "type T"),
    ),
    "a line of 40,000 signs": Refused(
        lambda: table(HEADER, *rows(3), "3," + "9" * 40_000),
        "traces.line_too_long",
        ("Row 5", "32,768 is the limit"),
    ),
    "a picture": Refused(picture, "traces.not_text", ("a PNG picture",)),
    "a picture's name for a PDF": Refused(
        lambda: b"%PDF-1.7\n1 0 obj\n", "traces.not_text", ("a PDF document",)
    ),
    "gzip": Refused(
        lambda: gzip.compress(table(HEADER, *rows(5))), "traces.not_text", ("a gzip archive",)
    ),
    "a ZIP of a CSV": Refused(lambda: archive("log.csv"), "traces.not_text", ("a ZIP archive",)),
    "a workbook that is none": Refused(
        lambda: archive("xl/workbook.xml"), "traces.workbook_unreadable", ("cannot be read",)
    ),
    "every byte there is": Refused(
        lambda: bytes(range(256)) * 4, "traces.not_text", ("not look like text",)
    ),
    "zeros": Refused(lambda: b"\x00" * 4_096, "traces.not_text", ("NUL byte in row 1",)),
    "a bell in a row": Refused(
        lambda: table(HEADER, "0,20,21", "1,2\a0,21"), "traces.not_text", ("U+0007 in row 3",)
    ),
    "words in rows": Refused(
        lambda: table("a,b", "c,d", "e,f", "g,h"), "traces.no_samples", ("row 3",)
    ),
}

READ: Final[dict[str, Read]] = {
    "plain": Read(lambda: table(HEADER, *rows(5)), 5, ("C", "C")),
    "cut off in its last row": Read(
        lambda: table(HEADER, *rows(9))[:-6], 8, ("C", "C"), findings=("cut_off",)
    ),
    "headers repeated": Read(
        lambda: table(HEADER, *rows(3), HEADER, *rows(3, start=3), HEADER, *rows(2, start=6)),
        8,
        ("C", "C"),
        findings=("repeated_header",),
    ),
    "NaN in one column": Read(
        lambda: table(HEADER, "0,NaN,21", "1,NaN,22", "2,NaN,23"),
        3,
        ("C", "C"),
        findings=("not_a_number",),
    ),
    "1e308 among samples": Read(
        lambda: table(HEADER, "0,20,21", "1,1e308,22", "2,22,23"),
        3,
        ("C", "C"),
        findings=("impossible",),
    ),
    "words and sentinels": Read(
        lambda: table(HEADER, "0,OL,21", "1,-----,-9999", "2,22.0,OPEN", "3,1372.0,23"),
        4,
        ("C", "C"),
        findings=("over", "dashes", "open", "sentinel"),
    ),
    "1,000 columns of which two are temperatures": Read(
        lambda: table(
            ",".join(["t [s]", "A [C]", "B [C]", *(f"V{k} [V]" for k in range(997))]),
            *(",".join([str(k), "20", "21", *["0.1"] * 997]) for k in range(3)),
        ),
        3,
        ("C", "C"),
    ),
    "a unit row that contradicts the header": Read(
        lambda: table("t,A [F],B [C]", "s,C,C", "0,20,21", "1,21,22"),
        2,
        (None, "C"),
        asks=("unit",),
    ),
    "a remark that contradicts the header": Read(
        lambda: table("# Temperature unit: °F", "t [s],A [C]", "0,20", "1,21"),
        2,
        (None,),
        asks=("unit",),
    ),
    "no unit anywhere": Read(
        lambda: table("t [s],A,B", "0,70,71", "1,71,72"), 2, (None, None), asks=("unit", "unit")
    ),
    "fahrenheit in the header": Read(lambda: table("t [s],A [degF]", "0,70", "1,71"), 2, ("F",)),
    "fahrenheit in the units row": Read(lambda: table("t,A", "s,°F", "0,70", "1,71"), 2, ("F",)),
    "fahrenheit behind the numbers": Read(
        lambda: table("t [s],A", "0,70 °F", "1,71 °F"), 2, ("F",)
    ),
    "rows that lack cells": Read(
        lambda: table(HEADER, "0,20,21", "1,20", "2,20,21", "3,20,21"),
        4,
        ("C", "C"),
        findings=("short_rows", "empty"),
    ),
    "midnight": Read(
        lambda: table("Time,A [C]", "23:59:58,20", "23:59:59,20", "00:00:00,20"),
        3,
        ("C",),
        findings=("midnight",),
    ),
}
