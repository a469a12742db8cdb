"""Text files of general data loggers: bytes in, exact samples and open questions out."""

from app.traces.files.limits import DEFAULT_LIMITS, ReadingLimits
from app.traces.files.markers import FindingKind
from app.traces.files.reader import read_logger_file
from app.traces.files.reading import (
    ColumnGuess,
    Finding,
    LoggerReading,
    Question,
    TemperatureColumn,
    TimeAxis,
)

__all__ = [
    "DEFAULT_LIMITS",
    "ColumnGuess",
    "Finding",
    "FindingKind",
    "LoggerReading",
    "Question",
    "ReadingLimits",
    "TemperatureColumn",
    "TimeAxis",
    "read_logger_file",
]
