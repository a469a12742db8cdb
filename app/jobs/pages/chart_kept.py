"""What was kept with a run beside its chart: figures and limits, as rows of a label and words."""

from collections.abc import Iterator

from app.jobs.pages.run_words import (
    VerdictWords,
    list_channel_heads,
    list_figures,
    list_lines,
    list_site_figures,
)
from app.jobs.scales import Scale
from app.jobs.tables import Run


def list_kept(run: Run, scale: Scale) -> Iterator[tuple[str, str]]:
    """Yield each figure of each channel and of the site with its ± U, then every limit.

    The limit that decided comes first. Temperatures are in the unit asked for.
    """
    names = [head.name for head in list_channel_heads(run, scale)]
    rows = list_figures(run, scale, with_expanded=True)
    for place, name in enumerate(names):
        for row in rows:
            yield f"{name}: {row.definition.name}", _join(*row.values[place])
    figures = run.figures or {}
    for definition, words in list_site_figures(figures, scale, with_expanded=True):
        yield f"Site: {definition.name}", words
    for line in list_lines(figures, scale, with_expanded=True):
        of = f" of {line.channel}" if line.channel else ""
        yield f"Limit: {line.metric}{of}", _spell_limit(line)


def _spell_limit(line: VerdictWords) -> str:
    value = " ".join(filter(None, (line.value, line.around)))
    use = f"use {line.use}" if line.use else ""
    told = (value, f"allowed {line.limit}", line.state.word, use, line.reason)
    return ", ".join(filter(None, told))


def _join(value: str, note: str) -> str:
    return " · ".join(filter(None, (value, note)))
