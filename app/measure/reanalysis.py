"""How many stored traces one core analyses again in a second, from their stored form on."""

from io import StringIO
from statistics import median
from time import process_time
from zoneinfo import ZoneInfo

from app.jobs.figures import analyse_run, describe_figures
from app.jobs.rules import StepKind
from app.measure.figure import Bound, Figure
from app.measure.synthetic import make_trace
from app.recipes.body.template import default_body
from app.traces.files import read_logger_file
from app.traces.queries import unpack_trace
from app.traces.rules import Channel, ChannelMap, ChannelRole, ReadingChoices
from app.traces.service import compose_trace
from app.traces.tables import Trace

TARGET_PER_S = 150.0
TRACES = 20
SAMPLES = 1_600
ROUNDS = 9
# Each synthetic channel is slower than the one before it, as a joint is slower than the body.
_ROLES = (
    ChannelRole.BODY,
    ChannelRole.JOINT_CENTRE,
    ChannelRole.JOINT_CORNER,
    ChannelRole.BOARD,
    ChannelRole.AIR,
)


def measure_reanalysis() -> list[Figure]:
    """Measure samples to kept figures: faults, metrics, zones, uncertainty, verdict, JSON."""
    body = default_body(assembly_part_number="ANY-1", designators=["U1"])
    stored = [store_trace(seed=seed) for seed in range(TRACES)]

    def analyse_all() -> None:
        for trace in stored:
            describe_figures(
                analyse_run(
                    body,
                    unpack_trace(trace, trace.samples),
                    findings=trace.reading["findings"],
                    step=StepKind.REFLOW,
                )
            )

    analyse_all()
    # The process's own time: what else the machine does is no work of this core's.
    used_s = []
    for _ in range(ROUNDS):
        began = process_time()
        analyse_all()
        used_s.append(process_time() - began)
    what = f"stored traces of {len(_ROLES)} channels of {SAMPLES:,} samples, analysed again"
    return [
        Figure(
            "reanalysis",
            what,
            TRACES / median(used_s),
            "a second of a core",
            Bound.AT_LEAST,
            TARGET_PER_S,
        )
    ]


def store_trace(*, seed: int) -> Trace:
    """Return a trace as it would be stored, read from a logger's file."""
    made = make_trace(channels=len(_ROLES), samples=SAMPLES, seed=seed)
    text = StringIO()
    text.write(",".join(["Time (s)", *(f"T{n} (°C)" for n in range(1, len(_ROLES) + 1))]) + "\n")
    for time_s, *row in zip(made.time_s.tolist(), *made.channels_c, strict=True):
        text.write(",".join([f"{time_s:.3f}", *(f"{value:.1f}" for value in row)]) + "\n")
    reading = read_logger_file(text.getvalue().encode(), choices=ReadingChoices())
    return compose_trace(
        reading,
        choices=ReadingChoices(),
        channel_map=ChannelMap(
            channels=tuple(
                Channel(column=place, name=f"T{place}", role=role)
                for place, role in enumerate(_ROLES, start=1)
            )
        ),
        zone=ZoneInfo("UTC"),
    )
