"""An analysis as one JSON object with keys that stay."""

import json
from typing import Any

from app.analyse.analysis import Analysis, Failure, MoreFigures, spell_sentence
from app.analyse.standard import Standard
from app.jobs.figures import describe_figures, describe_outcome


def spell_json(result: Analysis | Failure, standard: Standard) -> str:
    """Return the file's JSON object in one line; a failure has `refusal` in place of figures."""
    return json.dumps(tell(result, standard), ensure_ascii=False, allow_nan=False)


def tell(result: Analysis | Failure, standard: Standard) -> dict[str, Any]:
    """Return what JSON says of one file: outcomes have `value`, `not_reached` or `cannot_say`."""
    told: dict[str, Any] = {"file": result.path, "exit_status": int(result.status)}
    if isinstance(result, Failure):
        return told | {
            "refusal": {"code": result.code, "sentence": result.sentence, "field": result.field}
        }
    figures = describe_figures(result.figures)
    figures["channels"] = [
        channel | _tell_more(result.more[channel["name"]]) for channel in figures["channels"]
    ]
    return told | {
        "state": str(result.figures.verdict.state),
        "sentence": spell_sentence(result.figures.verdict, standard.title),
        "window": {
            "name": standard.title,
            "sources": list(standard.sources),
            **standard.window.model_dump(mode="json"),
        },
        "sample_count": result.sample_count,
        "duration_s": result.duration_s,
        "reading": result.reading,
        "notes": list(result.notes),
        **figures,
    }


def _tell_more(more: MoreFigures) -> dict[str, Any]:
    return {
        "times_above": [_tell_time_above(above) for above in more.times_above],
        "ramps": [
            {
                "window_s": over_s,
                "maximum_ramp": describe_outcome(rise),
                "maximum_fall": describe_outcome(fall),
            }
            for over_s, rise, fall in more.ramps
        ],
    }


def _tell_time_above(above: dict[str, Any]) -> dict[str, Any]:
    """Add each crossing by its moment to the stretches."""
    crossings = [
        {"at_s": at_s, "is_upward": is_upward}
        for stretch in above.get("stretches", [])
        for at_s, is_upward in zip(stretch, (True, False), strict=True)
        if at_s is not None
    ]
    return {**above, "crossings": crossings}
