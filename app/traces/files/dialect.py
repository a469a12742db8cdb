"""Which character stands between the cells, and which before the decimals."""

import re
from collections import Counter
from typing import Final

from app.traces.rules import DecimalMark, Delimiter, ReadingChoices

CHOSEN: Final = "you chose it"
_SAMPLE_LINES: Final = 200
# A delimiter is as good as the best when it is as regular in four fifths of that one's lines;
# the comma comes last because it may be the decimal mark instead.
_ORDER: Final = (Delimiter.TAB, Delimiter.SEMICOLON, Delimiter.PIPE, Delimiter.COMMA)
_NEARLY: Final = 0.8
_QUOTED: Final = re.compile(r'"[^"\n]*"')
_SEP_LINE: Final = re.compile(r"sep=([,;\t|])[ \t]*(?:\n|$)", re.IGNORECASE)
# A unit may stand behind the number.
_UNIT: Final = r"\s*(?:(?:°\s?|deg ?)?[CFK])?"
_WITH_COMMA: Final = re.compile(rf"[+\-−]?\d*,\d+(?:[eE][+-]?\d+)?{_UNIT}", re.IGNORECASE)
_WITH_POINT: Final = re.compile(rf"[+\-−]?\d*\.\d+(?:[eE][+-]?\d+)?{_UNIT}", re.IGNORECASE)


def find_delimiter(text: str, *, choices: ReadingChoices) -> tuple[Delimiter, str]:
    """Return the delimiter and why: chosen, said by the file, or the most regular one.

    The comma where no delimiter occurs: its grid has one column and is refused with its row.
    """
    if choices.delimiter is not None:
        return choices.delimiter, CHOSEN
    said = _SEP_LINE.match(text)
    if said is not None:
        return Delimiter(said.group(1)), "the file's first line says so"
    lines = _sample_lines(text)
    regular = {mark: _regular_lines(lines, mark) for mark in _ORDER}
    best = max(regular.values())
    if best == 0:
        return Delimiter.COMMA, "no delimiter stands in the file"
    found = next(mark for mark in _ORDER if regular[mark] >= best * _NEARLY)
    return found, (
        f"it stands equally often in {regular[found]} of {len(lines)} lines looked at, as no "
        "other does"
    )


def is_separator_line(line: str) -> bool:
    """Whether the line only tells a spreadsheet program the delimiter (`sep=;`)."""
    return _SEP_LINE.match(line) is not None


def _sample_lines(text: str) -> list[str]:
    # The data stand in the second half; one window there is enough and never copies the file.
    start = text.find("\n", len(text) // 2) + 1
    window = text[start : start + 200_000].split("\n")
    lines = [line for line in window if line.strip() and line[0] != "#"]
    if len(lines) <= 1:
        lines = [line for line in text[-200_000:].split("\n") if line.strip() and line[0] != "#"]
        lines = lines[len(lines) // 2 :] if len(lines) > 1 else lines
    return [_QUOTED.sub("", line) for line in lines[:_SAMPLE_LINES]]


def _regular_lines(lines: list[str], mark: str) -> int:
    counts = Counter(line.count(mark) for line in lines)
    counts.pop(0, None)
    return max(counts.values(), default=0)


def find_decimal_mark(
    cells: list[str], *, text: str, delimiter: Delimiter, choices: ReadingChoices
) -> tuple[DecimalMark, str]:
    """Return the mark and why: chosen, or used by more of the cells; else the whole text decides.

    The point where no number has decimals.
    """
    if choices.decimal_mark is not None:
        return choices.decimal_mark, CHOSEN
    commas = sum(_WITH_COMMA.fullmatch(cell) is not None for cell in cells)
    points = sum(_WITH_POINT.fullmatch(cell) is not None for cell in cells)
    if commas == points and delimiter is not Delimiter.COMMA:
        between = re.escape(delimiter.value)
        commas = _count(rf"(?<![\d.,:])\d+,\d+[ ]*(?=[{between}\n])", text)
        points = _count(rf"(?<![\d.,:])\d+\.\d+[ ]*(?=[{between}\n])", text)
    if commas == points == 0:
        return DecimalMark.POINT, "no number looked at has decimals"
    if commas > points:
        return DecimalMark.COMMA, f"{commas} numbers looked at have a comma and {points} a point"
    return DecimalMark.POINT, f"{points} numbers looked at have a point and {commas} a comma"


def _count(pattern: str, text: str) -> int:
    count = 0
    for count, _ in enumerate(re.finditer(pattern, text), start=1):
        if count >= _SAMPLE_LINES:
            break
    return count
