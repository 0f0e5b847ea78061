"""`lightdose calibrate`: from meter readings to what each channel really gives."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import click

from lightdose.cli.options import (
    SetupRequest,
    figures_option,
    is_terminal,
    json_option,
    no_color_option,
    quiet_option,
    say,
    takes_setup,
    wants_colour,
)

if TYPE_CHECKING:
    from pathlib import Path

    from lightdose.model.calibration import CalibrationFit
    from lightdose.model.setup import Setup

HELP = """\b
Example:
  lightdose calibrate my-tank/setup.toml my-tank/readings.csv -o my-tank/calibration.toml

Fit what each channel really gives to meter readings.

readings.csv has the columns site (or x_cm, y_cm, depth_cm; a negative depth is above the water), reading,
unit (umol_m2_s or lux), time of the programme (or one column of levels a channel), and optionally meter,
date, note. Readings as the meter shows them: corrections are made here. Keep your face out of the beam."""


@click.command(help=HELP)
@takes_setup
@click.argument("readings", metavar="READINGS", type=click.Path())
@click.option("-o", "--output", metavar="FILE", help="Write calibration.toml; an earlier one is kept in it.")
@click.option("--date", metavar="YYYY-MM-DD", help="Of readings without a date; by default today.")
@click.option(
    "--open-sky", multiple=True, metavar="SITE", help="Fit the open sky of this site too; repeatable."
)
@click.option("--yellowing", is_flag=True, help="Fit the yellowing of the water too.")
@click.option("--height", is_flag=True, help="Fit the height of the fixtures too.")
@figures_option
@json_option
@quiet_option
@no_color_option
def command(
    request: SetupRequest,
    *,
    readings: str,
    output: str | None,
    date: str | None,
    open_sky: tuple[str, ...],
    yellowing: bool,
    height: bool,
    figures: str | None,
    as_json: bool,
    quiet: bool,
    no_color: bool,
) -> None:
    """Fit what each channel really gives to meter readings."""
    from pathlib import Path

    from lightdose.files.calibration_file import earlier_calibrations
    from lightdose.files.library import calibration_sources, reference_tables
    from lightdose.files.readings_csv import check_sites, read_readings
    from lightdose.files.writing import output_target
    from lightdose.fit.calibration import calibrate
    from lightdose.fit.calibration_problem import CalibrationRequest
    from lightdose.fit.observations import unusable_readings

    day = _day(date)
    setup = request.read(uncalibrated=True)
    check_sites(setup, open_sky, "--open-sky")
    source = Path(readings)
    rows, understood = read_readings(source, str(source), setup, unusable_readings)
    target = output_target(output, "calibration.toml") if output else None
    asked = CalibrationRequest(
        date=day,
        open_sky=frozenset(open_sky),
        yellowing=yellowing,
        height=height,
        earlier=earlier_calibrations(setup, target),
    )
    sources = calibration_sources(setup.meters.values())
    fit = calibrate(setup, rows, reference_tables(), sources, asked)
    for sentence in understood:
        say(sentence, quiet=quiet)
    if figures:
        _write_figures(fit, figures, _inputs(setup, source), quiet)
    if target is not None:
        _write(fit, target, setup, source, quiet)
    _print_result(fit, as_json=as_json, no_color=no_color)


def _day(date: str | None) -> str:
    """The date asked for, else today's: the one place where the clock is read."""
    import datetime

    if date is None:
        return datetime.date.today().isoformat()
    try:
        return datetime.date.fromisoformat(date).isoformat()
    except ValueError:
        raise click.BadParameter(f'"{date}" is not a date such as 2026-03-14', param_hint="--date") from None


def _inputs(setup: Setup, readings: Path) -> list[Path]:
    from pathlib import Path

    return [*(Path(name) for name in setup.inputs_sha256), readings]


def _write(fit: CalibrationFit, target: Path, setup: Setup, readings: Path, quiet: bool) -> None:
    from lightdose.files.calibration_file import calibration_toml
    from lightdose.files.writing import write_atomically

    written = write_atomically(target, calibration_toml(fit.calibration), inputs=_inputs(setup, readings))
    count = len(fit.calibration.earlier)
    kept = f", {count} earlier calibration{'s' if count > 1 else ''} kept in it" if count else ""
    say(f"wrote {written}{kept}", quiet=quiet)
    say(f'next: calibration = "{target.name}" above the first table of {setup.path}', quiet=quiet)


def _write_figures(fit: CalibrationFit, folder: str, inputs: list[Path], quiet: bool) -> None:
    from lightdose.cli.written import save_drawings
    from lightdose.present.figures.calibration import calibration_drawings

    save_drawings(calibration_drawings(fit), folder, inputs, quiet)


def _print_result(fit: CalibrationFit, *, as_json: bool, no_color: bool) -> None:
    from lightdose.judge.basis import measured_sentence

    basis = measured_sentence(fit.calibration)
    if as_json:
        from lightdose.files.readings_json import calibrate_json
        from lightdose.files.results_json import dump

        click.echo(dump(calibrate_json(fit)))
    elif is_terminal():
        from lightdose.present.calibration_text import show_calibration

        show_calibration(fit, basis, sys.stdout, colour=wants_colour(no_color))
    else:
        from lightdose.present.calibration_text import calibrate_lines

        for line in calibrate_lines(fit, basis):
            click.echo(line)
