"""How far each metric of a channel may be off."""

from app.numerics.uncertainty.budget import Contribution, Expanded, Source
from app.numerics.uncertainty.channel import (
    ChannelUncertainty,
    TimeAboveUncertainty,
    Uncertainty,
    compute_uncertainty,
    list_weighed_areas_c,
    list_weighed_c,
    weigh_channel,
)
from app.numerics.uncertainty.inputs import (
    CalibrationCorrection,
    MeasurementUncertainty,
    UnusableUncertainty,
)

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
    "compute_uncertainty",
    "list_weighed_areas_c",
    "list_weighed_c",
    "weigh_channel",
]
