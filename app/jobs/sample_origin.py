"""Where a run's samples come from, as the rows above them in a table."""

from zoneinfo import ZoneInfo

from app.core.clock import spell_moment
from app.jobs.queries import SiteCard, WorkCard, get_trace_of
from app.jobs.rules import spell_job
from app.jobs.tables import JobStep, Run


def list_origin(
    run: Run, place: tuple[WorkCard, SiteCard, JobStep], *, operator: str, zone: ZoneInfo
) -> tuple[tuple[str, str], ...]:
    """Return run, board, line, bench, person, file and digests of samples as recorded.

    `operator` is the name of whoever recorded the run. Raises NoTrace without samples.
    """
    card, site, step = place
    board, trace = card.job.board, get_trace_of(run)
    return (
        ("Board", board.serial),
        ("Assembly", f"{board.assembly.part_number} revision {board.assembly.revision}"),
        ("Job", spell_job(card.job.id)),
        ("Run", str(run.id)),
        ("Line", f"{site.designator}: {str(step.kind).replace('_', ' ')}"),
        ("Bench", run.bench.code),
        ("Operator", operator),
        ("Started", spell_moment(run.started_at, zone)),
        ("File", trace.file_name),
        ("File digest", trace.file_sha256),
        ("Samples digest", trace.samples_sha256),
        ("Readings", "as recorded, without corrections"),
    )
