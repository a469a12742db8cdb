"""Walks the parts of an Excel workbook once before they are read: how much is in them, how deep."""

import zipfile
from typing import Final
from xml.parsers import expat

from app.core.refusals import TooLarge
from app.traces.files.decoding import FIELD
from app.traces.files.limits import ReadingLimits

_CHUNK_BYTES: Final = 64 * 1024
# Real parts are about ten deep; cells, their values and their formulas are what is many in them
# (common practice, no source).
_DEEPEST: Final = 64
_ROW_DEPTH: Final = 3
_ELEMENTS_OF_A_CELL: Final = 8
_MANY_IN: Final = frozenset({"worksheet", "sst"})


class WorkbookTooLarge(TooLarge):
    """The workbook unpacks to more than is read, or is packed as no workbook is."""

    code = "traces.workbook_too_large"


class _Walker:
    """Counts the elements of one part, `before` being those of the parts before it."""

    def __init__(self, name: str, *, before: int, limits: ReadingLimits) -> None:
        self.name = name
        self.limits = limits
        self.before = before
        self.most = limits.max_workbook_elements
        self.depth = self.in_row = self.count = 0

    def start(self, name: str, _attributes: dict[str, str]) -> None:
        """Count an element; WorkbookTooLarge for one too many or too deep."""
        self.depth += 1
        self.count += 1
        self.in_row = self.in_row + 1 if self.depth > _ROW_DEPTH else 0
        if self.depth == 1 and name.rpartition(" ")[2] not in _MANY_IN:
            self.most = self.limits.max_part_elements
        if self.count > self.most:
            self._refuse(f"more than {self.most:,} elements")
        if self.before + self.count > self.limits.max_workbook_elements:
            self._refuse(
                f"more than {self.limits.max_workbook_elements:,} elements with those before it"
            )
        if self.depth > _DEEPEST:
            self._refuse(f"elements more than {_DEEPEST} deep in each other")
        if self.in_row > _ELEMENTS_OF_A_CELL * self.limits.max_columns:
            self._refuse(f"a row of more than {self.limits.max_columns:,} cells")

    def end(self, _name: str) -> None:
        """Leave an element."""
        self.depth -= 1

    def _refuse(self, what: str) -> None:
        raise WorkbookTooLarge(
            f"The part “{self.name[:80]}” of the workbook has {what}; that is the limit. "
            "Save the sheet as CSV.",
            field=FIELD,
        )


def check_parts(archive: zipfile.ZipFile, *, limits: ReadingLimits) -> None:
    """Refuse a workbook that is small and costs minutes to read; WorkbookTooLarge.

    What is no XML is passed over, and so is what comes after a fault: nobody reads on there.
    """
    counted = 0
    for part in archive.infolist():
        walker = _Walker(part.filename, before=counted, limits=limits)
        parser = expat.ParserCreate(namespace_separator=" ")
        parser.StartElementHandler = walker.start
        parser.EndElementHandler = walker.end
        with archive.open(part) as stream:
            try:
                while piece := stream.read(_CHUNK_BYTES):
                    parser.Parse(piece)
            except expat.ExpatError:
                pass
        counted += walker.count
