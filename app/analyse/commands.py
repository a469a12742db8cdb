"""The `wickbook analyse` command."""

import os
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path
from typing import Annotated, Final

import typer
from rich.console import Console
from rich.progress import track

from app.analyse.analysis import Analysis, Asked, ExitStatus, Failure, analyse_or_fail, get_worst
from app.analyse.chain import make_chain, parse_wire
from app.analyse.channels import parse_map
from app.analyse.options import (
    ABOVE_C,
    RAMP_S,
    SUFFIXES,
    list_files,
    make_choices,
    parse_numbers,
)
from app.analyse.report import lay_out, spell_line
from app.analyse.standard import WINDOW_KEYS, Body, Standard, find_standard
from app.analyse.told import spell_json
from app.core.refusals import Refusal
from app.numerics.thermocouple_tables import ThermocoupleType
from app.traces.rules import TemperatureUnit, TimeFormat

_CHUNK: Final = 4


def analyse(
    files: Annotated[
        list[Path],
        typer.Argument(help=f"Loggers' files, or folders of them ({', '.join(SUFFIXES)})."),
    ],
    window: Annotated[
        str | None,
        typer.Option(
            help="A JSON file of a window or of a recipe's body, or one of "
            f"{', '.join(WINDOW_KEYS)}."
        ),
    ] = None,
    classification: Annotated[
        float | None,
        typer.Option(
            min=150,
            max=300,
            help="The body's classification temperature in °C, for a classification window.",
        ),
    ] = None,
    body_thickness: Annotated[
        float | None,
        typer.Option(help="In place of it the body's thickness in mm, with --body-volume."),
    ] = None,
    body_volume: Annotated[float | None, typer.Option(help="The body's volume in mm³.")] = None,
    alloy: Annotated[
        str | None, typer.Option(help="Whose solidus and liquidus hold; SAC305 when left out.")
    ] = None,
    map: Annotated[  # noqa: A002 the option's name
        list[str] | None,
        typer.Option(help="COLUMN=ROLE[:NAME], again for more: T1=joint-centre, 3=adjacent:U7."),
    ] = None,
    unit: Annotated[
        TemperatureUnit | None,
        typer.Option(case_sensitive=False, help="The unit of columns that do not say theirs."),
    ] = None,
    time_unit: Annotated[
        TimeFormat | None, typer.Option(help="How the time is written, where it does not say so.")
    ] = None,
    day_first: Annotated[
        bool | None,
        typer.Option("--day-first/--month-first", help="How dates like 05/04/2026 are meant."),
    ] = None,
    thermocouple: Annotated[
        str | None,
        typer.Option(
            help="Type and class of the wire: K class 1 (class 1, class 2, special, standard); "
            "the type is that of columns of millivolts too."
        ),
    ] = None,
    logger_accuracy: Annotated[
        float | None,
        typer.Option(min=0, max=20, help="The logger's accuracy as a bound ± in K."),
    ] = None,
    correction: Annotated[
        list[str] | None,
        typer.Option(
            help="CHANNEL=K±U[:wire|logger|wire-and-logger], again for more: T1=-0.4±0.3 is "
            "added to its readings; U is for k = 2; what was calibrated counts no more by itself."
        ),
    ] = None,
    cold_junction: Annotated[
        int | None,
        typer.Option(min=1, help="The column, from 1, of the cold junction of millivolts."),
    ] = None,
    cold_junction_c: Annotated[
        float | None,
        typer.Option(help="Its fixed temperature in °C, -50 to 150, where no column has it."),
    ] = None,
    sheet: Annotated[
        str | None, typer.Option(help="The sheet of an Excel workbook, by its name.")
    ] = None,
    header_row: Annotated[
        int | None, typer.Option(help="The row of the header, from 1; 0 where there is none.")
    ] = None,
    units_row: Annotated[
        int | None,
        typer.Option(help="The row of the units, below the header; 0 where there is none."),
    ] = None,
    zone: Annotated[
        str | None,
        typer.Option(help="Where the logger's clock was set, as Europe/Vienna."),
    ] = None,
    times_above: Annotated[
        str | None, typer.Option(help="Temperatures in °C with commas: 217,150.")
    ] = None,
    ramp_window: Annotated[
        str | None,
        typer.Option(help="Times in s with commas to take slopes over beside the window's own."),
    ] = None,
    json: Annotated[  # noqa: FBT002 a flag of the command line
        bool, typer.Option("--json", help="One JSON object a file, a line each.")
    ] = False,
) -> None:
    """Hold loggers' files against a window, without a database.

    Limits are decided by guarded acceptance, with the uncertainty of the measuring chain that the
    options describe; what they leave open is assumed, and said. Exit status: 0 inside, 1 outside,
    2 too close to call or cannot say, 3 unreadable or a question open. Of several files the
    worst: 3, then 1, then 2.
    """
    try:
        wire = parse_wire(thermocouple)
        asked = Asked(
            standard=find_standard(
                window, alloy, Body(body_thickness, body_volume, classification)
            ),
            choices=make_choices(
                unit=unit,
                time_unit=time_unit,
                day_first=day_first,
                thermocouple=None if wire is None else ThermocoupleType(wire.kind),
                cold_junction=cold_junction,
                cold_junction_c=cold_junction_c,
                sheet=sheet,
                header_row=header_row,
                units_row=units_row,
                zone=zone,
            ),
            maps=tuple(map or ()),
            chain=make_chain(
                wire, logger_accuracy_k=logger_accuracy, corrections=tuple(correction or ())
            ),
            times_above_c=parse_numbers(times_above, ABOVE_C),
            ramp_windows_s=parse_numbers(ramp_window, RAMP_S),
        )
        for said in asked.maps:
            parse_map(said)
        paths = list_files(files)
    except Refusal as refusal:
        _make_console(stderr=True).print(refusal.sentence)
        raise typer.Exit(ExitStatus.UNREADABLE) from None
    is_single = len(paths) == 1 and not files[0].is_dir()
    results = [analyse_or_fail(paths[0], asked)] if is_single else _analyse_all(paths, asked)
    statuses = [_show(one, asked.standard, is_single=is_single, as_json=json) for one in results]
    raise typer.Exit(get_worst(statuses))


def _analyse_all(paths: Sequence[str], asked: Asked) -> Iterator[Analysis | Failure]:
    workers = min(os.cpu_count() or 1, len(paths))
    with ProcessPoolExecutor(max_workers=workers) as pool:
        results: Iterable[Analysis | Failure] = pool.map(
            partial(analyse_or_fail, asked=asked), paths, chunksize=_CHUNK
        )
        yield from track(
            results,
            description="Analysing",
            total=len(paths),
            console=_make_console(stderr=True),
            transient=True,
        )


def _show(
    result: Analysis | Failure, standard: Standard, *, is_single: bool, as_json: bool
) -> ExitStatus:
    console = _make_console()
    if as_json:
        typer.echo(spell_json(result, standard))
    elif not is_single:
        typer.echo(spell_line(result, standard))
    elif isinstance(result, Failure):
        _make_console(stderr=True).print(f"{result.path}: {result.sentence}")
    else:
        for part in lay_out(result, standard):
            console.print(part)
    return result.status


def _make_console(*, stderr: bool = False) -> Console:
    return Console(stderr=stderr, highlight=False, markup=False, emoji=False)
