"""`lightdose compare`: two setups, or one and a variation of it, beside one another."""

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
    strict_option,
    takes_setup_as,
    wants_colour,
)

if TYPE_CHECKING:
    from lightdose.model.comparison import Comparison

HELP = """\b
Example:
  lightdose compare my-tank/setup.toml other/setup.toml
  lightdose compare my-tank/setup.toml --fixture-height "25 cm" --figures figures

What changes from one setup to another for every site and coral, and why.

Without B, B is A with --schedule, --fixture-height or --swap-fixture; with B they change B only. Sites and
corals are matched by name. The change of a dose is split into brighter and longer, exactly."""


@click.command(help=HELP)
@click.argument("first", metavar="A", type=click.Path())
@takes_setup_as("[B]", required=False)
@click.option(
    "--site", "sites", multiple=True, metavar="NAME", help="Show this site in the figures; repeatable."
)
@json_option
@csv_option
@dialect_option
@figures_option
@quiet_option
@no_color_option
@strict_option
def command(
    request: SetupRequest,
    *,
    first: str,
    sites: tuple[str, ...],
    as_json: bool,
    csv_file: str | None,
    csv_dialect: Literal["plain", "excel-eu"],
    figures: str | None,
    quiet: bool,
    no_color: bool,
    strict: bool,
) -> int:
    """What changes from one setup to another for every site and coral, and why."""
    if sites and not figures:
        raise click.UsageError("--site chooses what --figures shows: add --figures DIR")
    found = _compute(first, request)
    if csv_file:
        _write_csv(found, csv_file, csv_dialect, quiet)
    if figures:
        _write_figures(found, figures, sites, quiet)
    _print_result(found, as_json=as_json, no_color=no_color)
    off = any(v.dli_state not in ("within", "not_judged") for v in found.after.verdicts)
    return 3 if strict and off else 0


def _compute(first: str, request: SetupRequest) -> Comparison:
    from dataclasses import replace

    from lightdose.workflows.compare import compare

    varied = request.variation
    if request.path:
        return compare(SetupRequest(first).read(), request.read())
    if not varied:
        raise click.UsageError(
            "there is nothing to compare with: name B, or vary A with --schedule, --fixture-height or "
            "--swap-fixture"
        )
    a = SetupRequest(first).read()
    return compare(a, replace(request, path=first).read(), names=(a.title, f"the same with {varied}"))


def _print_result(found: Comparison, *, as_json: bool, no_color: bool) -> None:
    if as_json:
        from lightdose.files.comparison_json import compare_json
        from lightdose.files.results_json import dump

        click.echo(dump(compare_json(found)))
    elif is_terminal():
        from lightdose.present.comparison_text import show_comparison

        show_comparison(found, sys.stdout, colour=wants_colour(no_color))
    else:
        from lightdose.present.comparison_text import compare_lines

        for line in compare_lines(found):
            click.echo(line)


def _write_csv(found: Comparison, target: str, dialect: Literal["plain", "excel-eu"], quiet: bool) -> None:
    from lightdose.cli.written import inputs_of, save_table
    from lightdose.files.comparison_csv import compare_csv, compare_schema
    from lightdose.files.writing import output_target

    path, inputs = output_target(target, "comparison.csv"), inputs_of(found.before.setup, found.after.setup)
    rows = len(found.sites) + len(found.corals)
    save_table(path, compare_csv(found, dialect), compare_schema(dialect), rows, inputs, quiet)


def _write_figures(found: Comparison, folder: str, sites: tuple[str, ...], quiet: bool) -> None:
    from lightdose.analysis import site_days, site_spectra
    from lightdose.cli.written import inputs_of, save_drawings
    from lightdose.present.figures.comparison import comparison_drawings, shown_sites

    shown = shown_sites(found, sites)
    rows = [[getattr(s, side) for s in shown] for side in ("a", "b")]
    sides = tuple(zip((found.before, found.after), rows, strict=True))
    days = [site_days(analysis, own) for analysis, own in sides]
    spectra = [site_spectra(analysis, own) for analysis, own in sides]
    drawings = comparison_drawings(found, shown, (days[0], days[1]), (spectra[0], spectra[1]))
    save_drawings(drawings, folder, inputs_of(found.before.setup, found.after.setup), quiet)
