"""How far each metric of a channel may be off."""

from app.numerics.uncertainty.asked import list_weighed_areas_c, list_weighed_c
from app.numerics.uncertainty.budget import Contribution, Expanded, Source
from app.numerics.uncertainty.channel import (
    ChannelUncertainty,
    compute_uncertainty,
    weigh_channel,
    weigh_time_above,
)
from app.numerics.uncertainty.inputs import (
    CalibrationCorrection,
    MeasurementUncertainty,
    UnusableUncertainty,
)
from app.numerics.uncertainty.weigher import TimeAboveUncertainty, Uncertainty, Weigher

__all__ = [
    "CalibrationCorrection",
    "ChannelUncertainty",
    "Contribution",
    "Expanded",
    "MeasurementUncertainty",
    "Source",
    "TimeAboveUncertainty",
    "Uncertainty",
    "UnusableUncertainty",
    "Weigher",
    "compute_uncertainty",
    "list_weighed_areas_c",
    "list_weighed_c",
    "weigh_channel",
    "weigh_time_above",
]
