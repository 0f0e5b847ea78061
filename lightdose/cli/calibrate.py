"""`lightdose calibrate`: from meter readings to what each channel really gives."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import click

from lightdose.cli.asking import Ask, inputs_of, start_date
from lightdose.cli.frame import answers

if TYPE_CHECKING:
    from lightdose.answers.answer import Answer


@answers(figures=True)
@click.argument("readings", metavar="READINGS", type=click.Path())
@click.option("-o", "--output", metavar="FILE", help="Write calibration.toml; an earlier one is kept in it.")
@click.option("--date", metavar="YYYY-MM-DD", help="Of readings without a date; by default today.")
@click.option(
    "--open-sky", multiple=True, metavar="SITE", help="Fit the open sky of this site too; repeatable."
)
@click.option("--yellowing", is_flag=True, help="Fit the yellowing of the water too.")
@click.option("--height", is_flag=True, help="Fit the height of the fixtures too.")
def command(
    ask: Ask,
    readings: str,
    output: str | None,
    date: str | None,
    open_sky: tuple[str, ...],
    yellowing: bool,
    height: bool,
) -> Answer:
    """Fit what each channel really gives to meter readings.

    \b
    Example:
      lightdose calibrate my-tank/setup.toml my-tank/readings.csv -o my-tank/calibration.toml

    readings.csv has the columns site (or x_cm, y_cm, depth_cm; a negative depth is above the water), reading,
    unit (umol_m2_s or lux), time of the programme (or one column of levels a channel, or all_channels), and
    optionally meter, pair, date, note. Readings as the meter shows them: corrections are made here. Keep your
    face out of the beam.
    """
    import datetime
    import os.path
    from pathlib import Path

    from lightdose.answers.calibrate import calibrate_answer
    from lightdose.answers.words import path_from
    from lightdose.files.calibration_file import calibration_toml, earlier_calibrations
    from lightdose.files.input_files import sha256_of
    from lightdose.files.writing import output_target
    from lightdose.fit.calibration_problem import CalibrationRequest
    from lightdose.judge.cautions import calibration_cautions
    from lightdose.present.figures.calibration import calibration_drawings
    from lightdose.workflows.measuring import basis_measured, calibrated

    # The one place where the clock is read.
    day = start_date(date, "--date") or datetime.date.today().isoformat()
    setup = ask.request.read(uncalibrated=True)
    target = output_target(output, "calibration.toml") if output else None
    earlier = earlier_calibrations(setup, target)
    asked = CalibrationRequest(day, frozenset(open_sky), yellowing, height, earlier)
    fit, understood = calibrated(setup, readings, asked)
    measured = fit.calibration
    for sentence in understood:
        ask.say(sentence)
    if target is not None:
        kept = len(measured.earlier)
        more = f", {kept} earlier calibration{'s' if kept > 1 else ''} kept in it" if kept else ""
        ask.save(target, calibration_toml(measured), [*inputs_of(setup), Path(readings)], more)
        ask.say(f'next: calibration = "{path_from(setup, target)}" above the first table of {setup.path}')
    inputs = {os.path.abspath(readings): sha256_of(readings)}
    cautions = calibration_cautions(measured)
    answer = calibrate_answer(fit, setup, basis_measured(setup, fit), cautions, inputs)
    return replace(answer, pictures=lambda: calibration_drawings(fit))
