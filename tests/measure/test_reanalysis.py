"""What the speed of re-analysis is measured with is a whole run."""

from app.jobs.figures import analyse_run, describe_figures
from app.jobs.rules import StepKind
from app.measure.reanalysis import SAMPLES, store_trace
from app.recipes.body.template import default_body
from app.traces.queries import unpack_trace


def test_the_stored_traces_have_every_figure_an_uncertainty_and_a_verdict() -> None:
    trace = store_trace(seed=3)
    assert trace.rows == SAMPLES
    body = default_body(assembly_part_number="ANY-1", designators=["U1"])
    figures = describe_figures(
        analyse_run(
            body,
            unpack_trace(trace, trace.samples),
            findings=trace.reading["findings"],
            step=StepKind.REFLOW,
        )
    )
    assert len(figures["channels"]) == 5
    assert figures["faults"] == {}
    assert all("expanded" in one["peak"] for one in figures["channels"])
    assert all(len(one["zones"]) == 5 for one in figures["channels"])
    assert figures["verdict"]["deciding"] is not None
