"""The JSON of a bench's measuring chain on its way out."""

from datetime import datetime
from typing import Annotated, Self
from zoneinfo import ZoneInfo

from pydantic import BaseModel, ConfigDict, Field

from app.plant.chain_budget import FORMULA, SOURCE, compute_reading_uncertainty
from app.plant.measuring import (
    ASSUMED_CHAIN,
    CHAIN_EXAMPLE,
    MeasuringChain,
    list_lapsed,
    spell_chain,
    spell_lapsed,
)
from app.plant.queries import find_chain
from app.plant.tables import Bench


class ReadingView(BaseModel):
    """How far a reading at a temperature may be off: U (K, k = 2); null where none is known."""

    temperature_c: float
    expanded_k: float | None
    largest_part: str | None


class ChannelUncertaintyView(BaseModel):
    """The readings of one channel; `channel` null is every other one."""

    channel: str | None
    readings: list[ReadingView]


class ChainView(BaseModel):
    """How a bench measures: what was said of it, or what is assumed meanwhile."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "bench_id": 1,
                    "is_assumed": False,
                    "chain": CHAIN_EXAMPLE,
                    "words": "Type K, IEC 60584-1 class 1 (±1.5 K or 0.4 % of t, the greater), "
                    "logger ±0.7 K, clock ±50 ppm, jitter 0.01 s, "
                    "corrected: T1 -0.4 K ± 0.6 K (k = 2)",
                    "tolerance_status": "seen in a public restatement",
                    "cautions": [],
                    "uncertainty": [
                        {
                            "channel": "T1",
                            "readings": [
                                {
                                    "temperature_c": 250,
                                    "expanded_k": 0.6,
                                    "largest_part": "calibration correction",
                                }
                            ],
                        }
                    ],
                    "formula": FORMULA,
                    "source": SOURCE,
                }
            ]
        }
    )

    bench_id: int
    is_assumed: bool
    chain: MeasuringChain
    words: str
    tolerance_status: str
    cautions: list[str]
    uncertainty: list[ChannelUncertaintyView]
    formula: Annotated[str, Field(description="How each U was computed.")] = FORMULA
    source: str = SOURCE

    @classmethod
    def of(cls, bench: Bench, *, now: datetime, zone: ZoneInfo) -> Self:
        """Describe how a bench measures at a moment; a day ends with the plant's zone."""
        said = find_chain(bench)
        chain = said or ASSUMED_CHAIN
        return cls(
            bench_id=bench.id,
            is_assumed=said is None,
            chain=chain,
            words=spell_chain(chain),
            tolerance_status=chain.tolerance.status,
            cautions=[spell_lapsed(one) for one in list_lapsed(chain, now=now, zone=zone)],
            uncertainty=[
                _view_channel(chain, channel)
                for channel in (*(one.channel for one in chain.corrections), None)
            ],
        )


def _view_channel(chain: MeasuringChain, channel: str | None) -> ChannelUncertaintyView:
    # No channel has the empty name, so that it has no correction.
    found = compute_reading_uncertainty(chain, channel or "")
    return ChannelUncertaintyView(
        channel=channel,
        readings=[
            ReadingView(
                temperature_c=one.temperature_c,
                expanded_k=one.expanded_k,
                largest_part=one.largest,
            )
            for one in found
        ],
    )
