"""Text files of general data loggers: bytes in, exact samples and open questions out."""

from app.traces.files.limits import DEFAULT_LIMITS, ReadingLimits
from app.traces.files.markers import FindingKind
from app.traces.files.outline import FirstRow, Outline, find_outline
from app.traces.files.reader import read_logger_file
from app.traces.files.reading import (
    ColumnGuess,
    Finding,
    LoggerReading,
    Question,
    Taken,
    TemperatureColumn,
    TimeAxis,
)
from app.traces.files.units import is_cold_junction_header, strip_unit

__all__ = [
    "DEFAULT_LIMITS",
    "ColumnGuess",
    "Finding",
    "FindingKind",
    "FirstRow",
    "LoggerReading",
    "Outline",
    "Question",
    "ReadingLimits",
    "Taken",
    "TemperatureColumn",
    "TimeAxis",
    "find_outline",
    "is_cold_junction_header",
    "read_logger_file",
    "strip_unit",
]
