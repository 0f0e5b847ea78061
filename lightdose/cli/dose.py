"""`lightdose dose`: the day's light of a setup, and what it means for its corals."""

from __future__ import annotations

import functools
import sys
from typing import TYPE_CHECKING, Any, Literal

import click

from lightdose.cli.options import (
    ManySetups,
    SetupRequest,
    csv_option,
    dialect_option,
    figures_option,
    imperial_option,
    is_terminal,
    json_option,
    no_color_option,
    quiet_option,
    strict_option,
    takes_setups,
    wants_colour,
)

if TYPE_CHECKING:
    from lightdose.cli.many import Answer, OneOfMany
    from lightdose.model.explaining import ColourOrIntensity
    from lightdose.model.results import Analysis
    from lightdose.model.setup import LengthUnit, Setup

HELP = """\b
Example:
  lightdose dose my-tank/setup.toml
  lightdose dose my-tank/setup.toml --fixture-height "25 cm" --figures figures
  lightdose dose shop customer --csv doses.csv

The photons each coral gets in a day, against what is usual for its group.

Several setups, or a folder without a setup.toml of its own, which stands for every setup.toml below it, give
one line each, those with corals furthest off first; --json and --csv hold everything. A setup that cannot be
read does not stop the others: its problems are told, and the exit code is 2."""


@click.command(help=HELP)
@takes_setups
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
@click.option(
    "--colour-or-intensity",
    "weigh_colour",
    is_flag=True,
    help="Add what these fixtures can change more at the brightest coral: the colour or the dose.",
)
@imperial_option
@quiet_option
@no_color_option
@strict_option
def command(
    request: SetupRequest,
    many: ManySetups | None,
    *,
    as_json: bool,
    csv_file: str | None,
    csv_dialect: Literal["plain", "excel-eu"],
    csv_schedule: str | None,
    figures: str | None,
    sites: tuple[str, ...],
    weigh_colour: bool,
    imperial: bool,
    quiet: bool,
    no_color: bool,
    strict: bool,
) -> int:
    """The photons each coral gets in a day, against what is usual for its group."""
    from lightdose.analysis import analyse

    if sites and not figures:
        raise click.UsageError("--site chooses what --figures shows: add --figures DIR")
    if many:
        return _run_many(
            many,
            as_json=as_json,
            csv_file=csv_file,
            csv_dialect=csv_dialect,
            csv_schedule=csv_schedule,
            figures=figures,
            sites=sites,
            weigh_colour=weigh_colour,
            imperial=imperial,
            quiet=quiet,
            no_color=no_color,
            strict=strict,
        )
    setup = request.read()
    analysis = analyse(setup)
    unit: LengthUnit = "in" if imperial else setup.length_unit
    if csv_file:
        _write_csv(analysis, csv_file, csv_dialect, quiet)
    if csv_schedule:
        _write_schedules(setup, csv_schedule, csv_dialect, quiet)
    weighed = _weigh(analysis) if weigh_colour else None
    if figures:
        _write_figures(analysis, figures, sites, unit, weighed, quiet)
    _print_result(analysis, unit, weigh_colour, weighed, as_json=as_json, no_color=no_color)
    return 3 if strict and _misses(analysis) else 0


def _misses(analysis: Analysis) -> bool:
    """Whether a coral gets another dose than is usual for its group, by the stated values."""
    return any(v.dli_state not in ("within", "not_judged") for v in analysis.verdicts)


def _run_many(
    many: ManySetups,
    *,
    as_json: bool,
    csv_file: str | None,
    csv_dialect: Literal["plain", "excel-eu"],
    csv_schedule: str | None,
    figures: str | None,
    weigh_colour: bool,
    quiet: bool,
    no_color: bool,
    strict: bool,
    **shown: Any,
) -> int:
    from lightdose.cli.many import Wanted, run_many, table_of_many
    from lightdose.files.results_csv import COLUMNS, dose_schema

    if weigh_colour and not (as_json or figures):
        raise click.UsageError("--colour-or-intensity needs --json or --figures where there are many setups")
    each = functools.partial(
        _one_of_many,
        as_json=as_json,
        dialect=csv_dialect,
        with_table=csv_file is not None,
        csv_schedule=csv_schedule,
        figures=figures,
        weigh_colour=weigh_colour,
        quiet=quiet,
        **shown,
    )
    wanted = Wanted(
        "lightdose-dose-many/1",
        ("within", "off", "undecided", "worst coral"),
        as_json=as_json,
        table=table_of_many(csv_file, "doses.csv", COLUMNS, csv_dialect, dose_schema(csv_dialect, many=True)),
        folders={"--csv-schedule": csv_schedule, "--figures": figures},
        worth_a_process=1 if figures else 5,
        strict=strict,
        quiet=quiet,
        no_color=no_color,
    )
    return run_many(many, each, wanted)


def _one_of_many(
    one: OneOfMany,
    *,
    as_json: bool,
    dialect: Literal["plain", "excel-eu"],
    with_table: bool,
    csv_schedule: str | None,
    figures: str | None,
    sites: tuple[str, ...],
    weigh_colour: bool,
    imperial: bool,
    quiet: bool,
) -> Answer:
    from lightdose.analysis import analyse
    from lightdose.cli.many import Answer
    from lightdose.files.results_csv import dose_csv
    from lightdose.present.overview import dose_overview

    setup = one.request.read()
    analysis = analyse(setup)
    if csv_schedule:
        _write_schedules(setup, one.folder_in(csv_schedule), dialect, quiet)
    weighed = _weigh(analysis) if weigh_colour else None
    if figures:
        unit: LengthUnit = "in" if imperial else setup.length_unit
        _write_figures(analysis, one.folder_in(figures), sites, unit, weighed, quiet)
    return Answer(
        dose_overview(analysis, one.file, one.label),
        result=_result(analysis, weigh_colour, weighed) if as_json else None,
        table=dose_csv(analysis, dialect, one.file) if with_table else "",
        inputs=tuple(setup.inputs_sha256),
        missed=_misses(analysis),
    )


def _weigh(analysis: Analysis) -> ColourOrIntensity | None:
    from lightdose.explaining import colour_or_intensity

    return colour_or_intensity(analysis)


def _print_result(
    analysis: Analysis,
    unit: LengthUnit,
    weigh_colour: bool,
    weighed: ColourOrIntensity | None,
    *,
    as_json: bool,
    no_color: bool,
) -> None:
    if as_json:
        from lightdose.files.results_json import dump

        click.echo(dump(_result(analysis, weigh_colour, weighed)))
        return
    explained: list[str] = []
    if weigh_colour:
        from lightdose.present.colour_words import colour_sentences

        explained = colour_sentences(weighed)
    if is_terminal():
        from lightdose.present.tables import show_dose

        show_dose(analysis, unit, sys.stdout, colour=wants_colour(no_color), explained=explained)
    else:
        from lightdose.present.plain import dose_lines

        for line in dose_lines(analysis, unit, explained):
            click.echo(line)


def _result(analysis: Analysis, weigh_colour: bool, weighed: ColourOrIntensity | None) -> dict[str, Any]:
    from lightdose.files.results_json import dose_json

    result = dose_json(analysis)
    if weigh_colour:
        from lightdose.files.explaining_json import colour_json

        result["colour_or_intensity"] = colour_json(weighed)
    return result


def _write_csv(analysis: Analysis, target: str, dialect: Literal["plain", "excel-eu"], quiet: bool) -> None:
    from lightdose.cli.written import inputs_of, save_table
    from lightdose.files.results_csv import dose_csv, dose_schema
    from lightdose.files.writing import output_target

    path, text = output_target(target, "doses.csv"), dose_csv(analysis, dialect)
    rows = len(analysis.rows())
    save_table(path, text, dose_schema(dialect), rows, inputs_of(analysis.setup), quiet)


def _write_schedules(setup: Setup, target: str, dialect: Literal["plain", "excel-eu"], quiet: bool) -> None:
    from lightdose.cli.written import inputs_of, save_schedules
    from lightdose.files.file_names import file_names
    from lightdose.files.writing import output_target

    names = file_names([f.name for f in setup.fixtures], ".csv")
    paths = [output_target(target, name) for name in names]
    if len(set(paths)) < len(paths):
        raise click.UsageError(
            f"--csv-schedule {target} is one file, and there are {len(paths)} fixtures: name a folder"
        )
    targets = {f.name: path for f, path in zip(setup.fixtures, paths, strict=True)}
    programmes = {f.name: f.programme for f in setup.fixtures}
    save_schedules(targets, programmes, setup.fixtures, dialect, inputs_of(setup), quiet)


def _write_figures(
    analysis: Analysis,
    target: str,
    sites: tuple[str, ...],
    unit: LengthUnit,
    weighed: ColourOrIntensity | None,
    quiet: bool,
) -> None:
    from lightdose.analysis import site_days, site_spectra
    from lightdose.cli.written import inputs_of, save_drawings
    from lightdose.explaining import diminishing_return
    from lightdose.present.figures.day import day_drawing, shown_receivers, spectrum_drawing
    from lightdose.present.figures.diminishing import diminishing_drawing
    from lightdose.present.figures.dose import dose_drawings

    drawings = dose_drawings(analysis)
    if shown := shown_receivers(analysis, sites):
        drawings.append(day_drawing(analysis, site_days(analysis, shown), unit))
        drawings.append(spectrum_drawing(analysis, site_spectra(analysis, shown), unit))
    more_light = diminishing_drawing(diminishing_return(analysis), sites)
    if more_light is not None:
        drawings.append(more_light)
    if weighed is not None:
        from lightdose.present.figures.colour import colour_drawing

        drawings.append(colour_drawing(weighed))
    save_drawings(drawings, target, inputs_of(analysis.setup), quiet)
