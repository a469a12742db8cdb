"""How large a logger's file may be."""

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True)
class ReadingLimits:
    """The most that is read of each; a refusal names the limit that was passed.

    `max_line_length` counts the bytes of the line in UTF-8, `max_rows` rows with samples,
    `max_unpacked_bytes` all parts of an Excel workbook together, and `max_workbook_elements` the
    elements in them: two for each cell and one for each row. A part that is neither a sheet nor
    the table of its texts has at most `max_part_elements`.
    """

    max_bytes: int = 32 * 1024 * 1024
    max_unpacked_bytes: int = 64 * 1024 * 1024
    max_workbook_elements: int = 3_000_000
    max_part_elements: int = 100_000
    max_rows: int = 500_000
    max_columns: int = 1_000
    max_temperature_columns: int = 64
    max_line_length: int = 32_768
    max_preamble_rows: int = 1_000


DEFAULT_LIMITS: Final = ReadingLimits()
