"""`lightdose report`: one page that answers in words, with every number, figure and source behind it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from lightdose.cli.options import (
    SetupRequest,
    imperial_option,
    json_option,
    quiet_option,
    say,
    takes_setup,
)

if TYPE_CHECKING:
    from pathlib import Path

    from lightdose.model.maps import LightMap
    from lightdose.model.results import Analysis
    from lightdose.model.setup import LengthUnit, Setup
    from lightdose.present.report import Report

HELP = """\b
Example:
  lightdose report my-tank/setup.toml -o report.html
  lightdose report my-tank/setup.toml other/setup.toml -o report.html

One page to read, print and hand on: the answer in words, tables, maps, figures, sources."""

CELLS_ALONG = 45
"""Cells of a map along the longest side of the tank: fine enough for a page, quick to draw. Our choice."""


@click.command(help=HELP)
@takes_setup
@click.option(
    "-o",
    "--output",
    default="report.html",
    show_default=True,
    metavar="FILE",
    help="Where to write the page: a file, or a folder for report.html.",
)
@json_option
@imperial_option
@quiet_option
def command(request: SetupRequest, *, output: str, as_json: bool, imperial: bool, quiet: bool) -> None:
    """One page to read, print and hand on: the answer in words, tables, maps, figures, sources."""
    from lightdose.cli.written import inputs_of
    from lightdose.files.writing import output_target, write_atomically
    from lightdose.present.report import report_page

    setup = request.read()
    unit: LengthUnit = "in" if imperial else setup.length_unit
    report = _report(request, setup, unit)
    path = output_target(output, "report.html")
    written = write_atomically(path, report_page(report), inputs=inputs_of(setup))
    say(f"wrote {written}", quiet=quiet)
    _print_result(report.analysis, path, as_json=as_json)


def _report(request: SetupRequest, setup: Setup, unit: LengthUnit) -> Report:
    from lightdose.analysis import analyse, site_days, site_spectra
    from lightdose.comparing import looks_and_gets
    from lightdose.explaining import colour_or_intensity, diminishing_return
    from lightdose.physics.weightings import TRISTIMULUS_WEIGHTINGS
    from lightdose.present.figures import shown_receivers
    from lightdose.present.report import Report
    from lightdose.trying import try_change

    analysis = analyse(setup, also=TRISTIMULUS_WEIGHTINGS)
    shown = shown_receivers(analysis)
    return Report(
        analysis=analysis,
        unit=unit,
        days=site_days(analysis, shown),
        spectra=site_spectra(analysis, shown),
        light=_light(setup),
        looks=looks_and_gets(analysis),
        more_light=diminishing_return(analysis),
        colour=colour_or_intensity(analysis),
        change=try_change(analysis),
        variation=_variation(request),
    )


def _light(setup: Setup) -> LightMap | None:
    """The plan at the depth of the middle coral, and a view from the front; none without a lit fixture."""
    from lightdose.judge.map_choice import default_depths, default_side_view
    from lightdose.mapping import light_map

    if not setup.lit_fixtures:
        return None
    tank = setup.tank
    levels, _ = default_depths(setup)
    side, _ = default_side_view(setup)
    cell_m = max(tank.length_m, tank.width_m, tank.water_depth_m) / CELLS_ALONG
    return light_map(setup, [levels[len(levels) // 2], side], cell_m=cell_m)


def _variation(request: SetupRequest) -> str:
    """What the command line changed."""
    named: list[tuple[str, Any]] = [
        ("all fixtures at", request.fixture_height),
        ("all fixtures as", request.swap_fixture),
        ("all programmes from", request.schedule),
    ]
    return ", ".join(f"{words} {value}" for words, value in named if value)


def _print_result(analysis: Analysis, path: Path, *, as_json: bool) -> None:
    from lightdose.present.report_answer import answer

    if not as_json:
        found = answer(analysis)
        click.echo(found.headline)
        for label, text in found.parts:
            click.echo(f"{label}: {text}")
        return
    from lightdose.files.report_json import report_json
    from lightdose.files.results_json import dump

    click.echo(dump(report_json(analysis, {"report": path})))
