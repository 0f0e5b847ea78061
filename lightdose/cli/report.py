"""`lightdose report`: one page that answers in words, with every number, figure and source behind it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from lightdose.cli.options import (
    SetupRequest,
    imperial_option,
    json_option,
    quiet_option,
    say,
    takes_setup_as,
)
from lightdose.cli.printed import paper_option

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from lightdose.model.comparison import Comparison
    from lightdose.model.maps import LightMap
    from lightdose.model.results import Analysis
    from lightdose.model.setup import LengthUnit, Setup
    from lightdose.present.paper import Paper
    from lightdose.present.report_comparison import Compared
    from lightdose.present.report_record import Report

HELP = """\b
Example:
  lightdose report my-tank/setup.toml -o report.html
  lightdose report my-tank/setup.toml other/setup.toml --handout handout.pdf

One page to read, print and hand on: the answer in words, tables, maps, figures, sources.

With OTHER the page sets it beside SETUP; --schedule, --fixture-height and --swap-fixture then change OTHER
only, as in compare. The page is one file that asks for nothing; --handout adds one sheet for a customer."""

CELLS_ALONG = 45
"""Cells of a map along the longest side of the tank: fine enough for a page, quick to draw. Our choice."""


@click.command(help=HELP)
@click.argument("first", metavar="SETUP", type=click.Path())
@takes_setup_as("[OTHER]", required=False)
@click.option(
    "-o",
    "--output",
    default="report.html",
    show_default=True,
    metavar="FILE",
    help="Where to write the page: a file, or a folder for report.html.",
)
@click.option("--handout", metavar="FILE", help="Write one printable sheet for a customer too, as PDF.")
@paper_option
@json_option
@imperial_option
@quiet_option
def command(
    request: SetupRequest,
    *,
    first: str,
    output: str,
    handout: str | None,
    paper: Paper | None,
    as_json: bool,
    imperial: bool,
    quiet: bool,
) -> None:
    """One page to read, print and hand on: the answer in words, tables, maps, figures, sources."""
    from lightdose.cli.printed import save_handout
    from lightdose.cli.written import inputs_of
    from lightdose.files.writing import output_target, write_atomically
    from lightdose.present.report import report_page

    if paper and not handout:
        raise click.UsageError("--paper chooses the sheet of --handout: add --handout FILE")
    analysis, comparison = _analyses(first, request)
    other = comparison.after if comparison else None
    unit: LengthUnit = "in" if imperial else analysis.setup.length_unit
    inputs = inputs_of(analysis.setup, *([other.setup] if other else []))
    report = _report(analysis, comparison, unit, "" if request.path else request.variation)
    written = {"report": output_target(output, "report.html")}
    say(f"wrote {write_atomically(written['report'], report_page(report), inputs=inputs)}", quiet=quiet)
    if handout:
        written["handout"] = save_handout(handout, paper, analysis, other, inputs, quiet)
    _print_result(analysis, comparison, written, as_json=as_json)


def _analyses(first: str, request: SetupRequest) -> tuple[Analysis, Comparison | None]:
    """SETUP, and where there is another, both beside one another."""
    from dataclasses import replace

    from lightdose.analysis import analyse
    from lightdose.physics.weightings import TRISTIMULUS_WEIGHTINGS

    if not request.path:
        return analyse(replace(request, path=first).read(), also=TRISTIMULUS_WEIGHTINGS), None
    from lightdose.comparing import compare

    comparison = compare(SetupRequest(first).read(), request.read())
    return comparison.before, comparison


def _report(analysis: Analysis, comparison: Comparison | None, unit: LengthUnit, variation: str) -> Report:
    from lightdose.analysis import site_days, site_spectra
    from lightdose.comparing import looks_and_gets
    from lightdose.explaining import colour_or_intensity, diminishing_return
    from lightdose.present.figures import shown_receivers
    from lightdose.present.report_record import Report
    from lightdose.trying import try_change

    shown = shown_receivers(analysis)
    return Report(
        analysis=analysis,
        unit=unit,
        days=site_days(analysis, shown),
        spectra=site_spectra(analysis, shown[:1]),
        light=_light(analysis.setup),
        looks=looks_and_gets(analysis),
        more_light=diminishing_return(analysis),
        colour=colour_or_intensity(analysis),
        change=try_change(analysis),
        compared=_compared(comparison) if comparison else None,
        variation=variation,
    )


def _compared(comparison: Comparison) -> Compared:
    from lightdose.analysis import site_days, site_spectra
    from lightdose.present.comparison_figure import shown_sites
    from lightdose.present.report_comparison import Compared

    a, b, shown = comparison.before, comparison.after, shown_sites(comparison)
    here, there = [s.a for s in shown], [s.b for s in shown]
    return Compared(
        comparison,
        shown,
        (site_days(a, here), site_days(b, there)),
        (site_spectra(a, here), site_spectra(b, there)),
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
    return light_map(setup, [levels[len(levels) // 2], side], cell_m=cell_m, shares=False)


def _print_result(
    analysis: Analysis, comparison: Comparison | None, written: Mapping[str, Path], *, as_json: bool
) -> None:
    if as_json:
        from lightdose.files.report_json import report_json
        from lightdose.files.results_json import dump

        click.echo(dump(report_json(analysis, comparison, written)))
        return
    from lightdose.present.report_answer import answer

    found = answer(analysis)
    click.echo(found.headline)
    for label, text in found.parts:
        click.echo(f"{label}: {text}")
