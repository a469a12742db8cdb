"""A whole recording from its samples to defended numbers: faults, metrics, uncertainty."""

from app.numerics.recording.analyse import analyse_recording
from app.numerics.recording.shapes import (
    ChannelAnalysis,
    RecordingAnalysis,
    SiteAnalysis,
    Targets,
)
from app.numerics.recording.spelling import spell_fault

__all__ = [
    "ChannelAnalysis",
    "RecordingAnalysis",
    "SiteAnalysis",
    "Targets",
    "analyse_recording",
    "spell_fault",
]
