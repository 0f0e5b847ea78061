"""`lightdose report`: one page that answers in words, with every number, figure and source behind it."""

from __future__ import annotations

import functools
from dataclasses import replace
from typing import TYPE_CHECKING

import click

from lightdose.cli.options import (
    ManySetups,
    SetupRequest,
    imperial_option,
    jobs_option,
    json_option,
    quiet_option,
    say,
    stands_for_many,
    takes_setup_as,
    tell,
)
from lightdose.cli.printed import paper_option

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from lightdose.cli.many import Answer, OneOfMany
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
  lightdose report shop --also customer -o reports

One page to read, print and hand on: the answer in words, tables, maps, figures, sources.

With OTHER the page sets it beside SETUP; --schedule, --fixture-height and --swap-fixture then change OTHER
only, as in compare. The page is one file that asks for nothing; --handout adds one sheet for a customer.

A folder without a setup.toml of its own stands for every setup.toml below it, and --also adds further setups:
each gets a page named after its folder, in the folder of -o (reports), and a line that says how it stands."""

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
@click.option(
    "--also", type=click.Path(), multiple=True, metavar="SETUP", help="A page for this setup too; repeatable."
)
@jobs_option
@paper_option
@json_option
@imperial_option
@quiet_option
@click.pass_context
def command(
    ctx: click.Context,
    request: SetupRequest,
    *,
    first: str,
    also: tuple[str, ...],
    jobs: int | None,
    output: str,
    handout: str | None,
    paper: Paper | None,
    as_json: bool,
    imperial: bool,
    quiet: bool,
) -> None:
    """One page to read, print and hand on: the answer in words, tables, maps, figures, sources."""
    if paper and not handout:
        raise click.UsageError("--paper chooses the sheet of --handout: add --handout FILE")
    if stands_for_many((first, *also)):
        if request.path:
            raise click.UsageError(
                "a comparison takes two setups: leave out OTHER, or --also and folders of setups"
            )
        many = ManySetups((first, *also), replace(request, path=first), jobs)
        named = ctx.get_parameter_source("output") is click.core.ParameterSource.COMMANDLINE
        folders: dict[str, str | None] = {"-o": output if named else "reports", "--handout": handout}
        ctx.exit(_run_many(many, folders, paper=paper, as_json=as_json, imperial=imperial, quiet=quiet))
    analysis, comparison = _analyses(first, request)
    variation = "" if request.path else request.variation
    written = _write(analysis, comparison, variation, output, handout, paper, imperial, quiet)
    _print_result(analysis, comparison, written, as_json=as_json)


def _run_many(
    many: ManySetups,
    folders: Mapping[str, str | None],
    *,
    paper: Paper | None,
    as_json: bool,
    imperial: bool,
    quiet: bool,
) -> int:
    from lightdose.cli.many import Wanted, check_folders, run_many

    check_folders(folders)
    each = functools.partial(
        _one_of_many,
        folder=folders["-o"] or "reports",
        handouts=folders["--handout"],
        paper=paper,
        as_json=as_json,
        imperial=imperial,
        quiet=quiet,
    )
    heads = ("within", "off", "undecided", "worst coral")
    wanted = Wanted("lightdose-report-many/1", heads, as_json=as_json, quiet=quiet)
    return run_many(many, each, wanted)


def _one_of_many(
    one: OneOfMany,
    *,
    folder: str,
    handouts: str | None,
    paper: Paper | None,
    as_json: bool,
    imperial: bool,
    quiet: bool,
) -> Answer:
    from pathlib import Path

    from lightdose.cli.many import Answer
    from lightdose.files.report_json import report_json
    from lightdose.present.overview import dose_overview

    page = str(Path(folder) / f"{one.name}.html")
    sheet = str(Path(handouts) / f"{one.name}.pdf") if handouts else None
    analysis, comparison = _analyses(one.file, replace(one.request, path=""))
    written = _write(analysis, comparison, one.request.variation, page, sheet, paper, imperial, quiet)
    return Answer(
        dose_overview(analysis, one.file, one.label),
        result=report_json(analysis, comparison, written) if as_json else None,
    )


def _write(
    analysis: Analysis,
    comparison: Comparison | None,
    variation: str,
    output: str,
    handout: str | None,
    paper: Paper | None,
    imperial: bool,
    quiet: bool,
) -> dict[str, Path]:
    """Write the page, and the sheet where one is asked for; gives their paths."""
    from lightdose.cli.printed import save_handout
    from lightdose.cli.written import inputs_of
    from lightdose.files.writing import output_target, write_atomically
    from lightdose.present.report import report_page

    other = comparison.after if comparison else None
    unit: LengthUnit = "in" if imperial else analysis.setup.length_unit
    inputs = inputs_of(analysis.setup, *([other.setup] if other else []))
    report = _report(analysis, comparison, unit, variation)
    written = {"report": output_target(output, "report.html")}
    say(f"wrote {write_atomically(written['report'], report_page(report), inputs=inputs)}", quiet=quiet)
    if handout:
        written["handout"] = save_handout(handout, paper, analysis, other, inputs, quiet)
    return written


def _analyses(first: str, request: SetupRequest) -> tuple[Analysis, Comparison | None]:
    """SETUP, and where there is another, both beside one another."""
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
    from lightdose.present.figures.day import shown_receivers
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
    from lightdose.present.figures.comparison import shown_sites
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
    for line in (found.headline, *(f"{label}: {text}" for label, text in found.parts)):
        tell(line)
