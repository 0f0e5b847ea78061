"""`lightdose dose`: the day's light of a setup, and what it means for its corals."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Literal

import click

from lightdose.cli.options import (
    SetupRequest,
    csv_option,
    dialect_option,
    figures_option,
    imperial_option,
    is_terminal,
    json_option,
    no_color_option,
    quiet_option,
    say,
    strict_option,
    takes_setup,
    wants_colour,
)

if TYPE_CHECKING:
    from pathlib import Path

    from lightdose.model.results import Analysis
    from lightdose.model.setup import LengthUnit, Setup
    from lightdose.present.canvas import Drawing

HELP = """\b
Example:
  lightdose dose my-tank/setup.toml
  lightdose dose my-tank/setup.toml --fixture-height "25 cm" --figures figures

The photons each coral gets in a day, against what is usual for its group."""


@click.command(help=HELP)
@takes_setup
@json_option
@csv_option
@dialect_option
@click.option(
    "--csv-schedule",
    metavar="PATH",
    help="Write each fixture's programme as CSV: a folder, or a file for one fixture.",
)
@figures_option
@click.option(
    "--site", "sites", multiple=True, metavar="NAME", help="Show this site in the figures; repeatable."
)
@imperial_option
@quiet_option
@no_color_option
@strict_option
def command(
    request: SetupRequest,
    *,
    as_json: bool,
    csv_file: str | None,
    csv_dialect: Literal["plain", "excel-eu"],
    csv_schedule: str | None,
    figures: str | None,
    sites: tuple[str, ...],
    imperial: bool,
    quiet: bool,
    no_color: bool,
    strict: bool,
) -> int:
    """The photons each coral gets in a day, against what is usual for its group."""
    from lightdose.analysis import analyse

    if sites and not figures:
        raise click.UsageError("--site chooses what --figures shows: add --figures DIR")
    setup = request.read()
    analysis = analyse(setup)
    unit: LengthUnit = "in" if imperial else setup.length_unit
    if csv_file:
        _write_csv(analysis, csv_file, csv_dialect, quiet)
    if csv_schedule:
        _write_schedules(setup, csv_schedule, csv_dialect, quiet)
    if figures:
        _write_figures(analysis, figures, sites, unit, quiet)
    _print_result(analysis, unit, as_json=as_json, no_color=no_color)
    off = any(v.dli_state not in ("within", "not_judged") for v in analysis.verdicts)
    return 3 if strict and off else 0


def _print_result(analysis: Analysis, unit: LengthUnit, *, as_json: bool, no_color: bool) -> None:
    if as_json:
        from lightdose.files.results_json import dose_json, dump

        click.echo(dump(dose_json(analysis)))
    elif is_terminal():
        from lightdose.present.tables import show_dose

        show_dose(analysis, unit, sys.stdout, colour=wants_colour(no_color))
    else:
        from lightdose.present.plain import dose_lines

        for line in dose_lines(analysis, unit):
            click.echo(line)


def _write_csv(analysis: Analysis, target: str, dialect: Literal["plain", "excel-eu"], quiet: bool) -> None:
    from lightdose.files.results_csv import dose_csv, dose_schema
    from lightdose.files.writing import output_target, write_atomically

    path = output_target(target, "doses.csv")
    inputs = _inputs(analysis.setup)
    text = dose_csv(analysis, dialect)
    rows = len(analysis.rows())
    say(f"wrote {write_atomically(path, text, inputs=inputs)}, {rows} rows", quiet=quiet)
    if path.is_file():
        beside = path.with_suffix(".schema.json")
        say(f"wrote {write_atomically(beside, dose_schema(dialect), inputs=inputs)}", quiet=quiet)


def _write_schedules(setup: Setup, target: str, dialect: Literal["plain", "excel-eu"], quiet: bool) -> None:
    from lightdose.files.file_names import file_names
    from lightdose.files.schedule_export import write_schedule
    from lightdose.files.writing import output_target, write_atomically

    names = file_names([f.name for f in setup.fixtures], ".csv")
    paths = [output_target(target, name) for name in names]
    if len(set(paths)) < len(paths):
        raise click.UsageError(
            f"--csv-schedule {target} is one file, and there are {len(paths)} fixtures: name a folder"
        )
    for path, fixture in zip(paths, setup.fixtures, strict=True):
        text = write_schedule(fixture.programme, [c.name for c in fixture.type.channels], dialect)
        written = write_atomically(path, text, inputs=_inputs(setup))
        say(f"wrote {written}, {text.count(chr(10)) - 1} rows", quiet=quiet)


def _write_figures(
    analysis: Analysis, target: str, sites: tuple[str, ...], unit: LengthUnit, quiet: bool
) -> None:
    from pathlib import Path

    from lightdose.analysis import site_days, site_spectra
    from lightdose.present.dose_figure import dose_drawings
    from lightdose.present.figures import day_drawing, shown_receivers, spectrum_drawing

    drawings = dose_drawings(analysis)
    if shown := shown_receivers(analysis, sites):
        drawings.append(day_drawing(analysis, site_days(analysis, shown), unit))
        drawings.append(spectrum_drawing(analysis, site_spectra(analysis, shown), unit))
    written = _save(drawings, Path(target), _inputs(analysis.setup), quiet)
    for sentence in written:
        say(f"wrote {sentence}", quiet=quiet)


def _save(drawings: list[Drawing], folder: Path, inputs: list[Path], quiet: bool) -> list[str]:
    """Write every drawing as SVG and PNG, with a progress bar for a person who waits."""
    from lightdose.files.writing import write_atomically
    from lightdose.present.canvas import render

    forms: tuple[Literal["svg", "png"], ...] = ("svg", "png")
    tasks = [(drawing, form) for drawing in drawings for form in forms]
    hidden = quiet or not sys.stderr.isatty()
    written = []
    with click.progressbar(tasks, label="figures", file=sys.stderr, hidden=hidden) as bar:
        for drawing, form in bar:
            path = folder / f"{drawing.name}.{form}"
            written.append(write_atomically(path, render(drawing, form), inputs=inputs))
    return written


def _inputs(setup: Setup) -> list[Path]:
    from pathlib import Path

    return [Path(name) for name in setup.inputs_sha256]
