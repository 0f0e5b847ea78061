"""`lightdose sensitivity`: what plausible changes do to every site and coral."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Literal

import click

from lightdose.cli.options import (
    SetupRequest,
    csv_option,
    dialect_option,
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
    from lightdose.model.sensitivity import Sensitivity
    from lightdose.model.setup import Setup

HELP = """\b
Example:
  lightdose sensitivity my-tank/setup.toml --figures figures
  lightdose sensitivity my-tank/setup.toml --case "height +2 in and yellowing 0.3" --case "channel violet off"

What plausible changes do to the light of every site and coral.

Yellowing water, fresh carbon, salt film, ageing, height, water level, neighbours, failed channels, levels and
the back pane are tried; the sizes are our choice. Forms of an own --case: "height +5 cm", "level -2 cm",
"yellowing 0.3", "output -15 %", "channel NAME off", "channel NAME +10 points", "open sky 0.5", "back pane
dark", "floor 0.5", "cover 0.9"; height, output and channel take a fixture: "height left +5 cm", "channel
left / violet off". "and" joins them; a name may stand before a colon."""


@click.command(help=HELP)
@takes_setup
@click.option("--case", "words", multiple=True, metavar="WORDS", help="A case of your own; repeatable.")
@click.option("--site", "sites", multiple=True, metavar="NAME", help="Every case at this site; repeatable.")
@json_option
@csv_option
@dialect_option
@figures_option
@quiet_option
@no_color_option
def command(
    request: SetupRequest,
    *,
    words: tuple[str, ...],
    sites: tuple[str, ...],
    as_json: bool,
    csv_file: str | None,
    csv_dialect: Literal["plain", "excel-eu"],
    figures: str | None,
    quiet: bool,
    no_color: bool,
) -> None:
    """What plausible changes do to the light of every site and coral."""
    from lightdose.files.readings_csv import check_sites

    setup = request.read()
    check_sites(setup, sites, "--site")
    found = _compute(setup, words, quiet)
    if csv_file:
        _write_csv(found, csv_file, csv_dialect, quiet)
    if figures:
        _write_figures(found, figures, sites, quiet)
    if as_json:
        from lightdose.files.results_json import dump
        from lightdose.files.sensitivity_files import sensitivity_json

        click.echo(dump(sensitivity_json(found)))
    elif is_terminal():
        from lightdose.present.sensitivity_text import show_sensitivity

        show_sensitivity(found, sites, sys.stdout, colour=wants_colour(no_color))
    else:
        from lightdose.present.sensitivity_text import sensitivity_lines

        for line in sensitivity_lines(found):
            click.echo(line)


def _compute(setup: Setup, words: tuple[str, ...], quiet: bool) -> Sensitivity:
    from lightdose.analysis import analyse, fixture_emission
    from lightdose.files.case_words import cases_from_words
    from lightdose.files.library import reference_tables
    from lightdose.judge.cases import standard_cases
    from lightdose.judge.sensitivity import sensitivity

    cases = (*cases_from_words(words, setup), *standard_cases(setup))
    analysis = analyse(setup, certainty=False)
    hidden = quiet or not sys.stderr.isatty()
    with click.progressbar(length=len(cases), label="cases", file=sys.stderr, hidden=hidden) as bar:
        return sensitivity(
            analysis, fixture_emission(setup), reference_tables(), cases, lambda: bar.update(1)
        )


def _write_csv(found: Sensitivity, target: str, dialect: Literal["plain", "excel-eu"], quiet: bool) -> None:
    from lightdose.cli.written import inputs_of, save_table
    from lightdose.files.sensitivity_files import sensitivity_csv, sensitivity_schema
    from lightdose.files.writing import output_target

    path, inputs = output_target(target, "sensitivity.csv"), inputs_of(found.analysis.setup)
    text = sensitivity_csv(found, dialect)
    save_table(path, text, sensitivity_schema(dialect), text.count("\n") - 1, inputs, quiet)


def _write_figures(found: Sensitivity, target: str, sites: tuple[str, ...], quiet: bool) -> None:
    from lightdose.cli.written import inputs_of, save_drawings
    from lightdose.present.figures.sensitivity import tornado_drawings

    drawings = tornado_drawings(found, sites)
    if not drawings:
        say("no figure: no site has light that could change", quiet=quiet)
    save_drawings(drawings, target, inputs_of(found.analysis.setup), quiet)
