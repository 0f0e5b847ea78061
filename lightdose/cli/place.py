"""`lightdose place`: which coral goes where."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Literal

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
from lightdose.cli.written import inputs_of, save_drawings, save_table

if TYPE_CHECKING:
    from lightdose.files.dialect import Dialect
    from lightdose.model.placement import Placement, PlaceWishes
    from lightdose.model.setup import LengthUnit, Setup
    from lightdose.present.figures.canvas import Drawing

HELP = """\b
Example:
  lightdose place my-tank/setup.toml --figures pictures
  lightdose place my-tank/setup.toml --prefer stay --pin "plating cap=shelf" --csv placed.csv
  lightdose place my-tank/setup.toml --grid "5 cm" --depth "20 cm" --apart "8 cm"

Which coral goes where, so that each gets the usual light of its group.

First doses come as near to their ranges as can be, then to the middles of the ranges, then moves are short;
--prefer stay sets short moves before middles. Corals with pinned = true stay, keep_apart is kept (level
distance), and every coral counts with its own height and open_sky at the new place."""


@click.command(help=HELP)
@takes_setup
@click.option("--grid", metavar="LENGTH", help="A grid with this spacing instead of the setup's sites.")
@click.option("--depth", "depths", multiple=True, metavar="LENGTH", help="Of the grid; repeatable.")
@click.option("--pin", multiple=True, metavar="CORAL=SITE", help="This coral stands there; repeatable.")
@click.option("--not-at", multiple=True, metavar="CORAL=SITE", help="This coral not there; repeatable.")
@click.option(
    "--not-beside", multiple=True, metavar="CORAL=CORAL", help="These two not side by side; repeatable."
)
@click.option(
    "--beside",
    metavar="LENGTH",
    default="15 cm",
    show_default=True,
    help="Nearer than this is side by side; our choice.",
)
@click.option("--apart", metavar="LENGTH", help="Any two corals at least this far apart.")
@click.option(
    "--prefer",
    type=click.Choice(["middle", "stay"]),
    default="middle",
    show_default=True,
    help="Once in range: the middles of the ranges, or few and short moves.",
)
@click.option("-o", "--output", metavar="FILE", help="Write the corals at their places as a corals.csv.")
@csv_option
@dialect_option
@figures_option
@imperial_option
@json_option
@quiet_option
@no_color_option
@strict_option
def command(
    request: SetupRequest,
    *,
    output: str | None,
    csv_file: str | None,
    csv_dialect: Literal["plain", "excel-eu"],
    figures: str | None,
    imperial: bool,
    as_json: bool,
    quiet: bool,
    no_color: bool,
    strict: bool,
    **asked: Any,
) -> int:
    """Which coral goes where, so that each gets the usual light of its group."""
    from lightdose.workflows.plans import place

    setup = request.read()
    placement = place(setup, _wishes(setup, asked))
    unit: LengthUnit = "in" if imperial else setup.length_unit
    if csv_file:
        _write_table(placement, setup, csv_file, csv_dialect, quiet)
    if output:
        _write_corals(placement, setup, output, csv_dialect, quiet)
    if figures:
        save_drawings(_drawings(setup, placement, unit), figures, inputs_of(setup), quiet)
    _print_result(placement, unit, as_json=as_json, no_color=no_color)
    if not output:
        say("next: -o FILE writes the corals at their places; `lightdose move` takes one there", quiet=quiet)
    missed = placement.unplaced or placement.out_of_band
    return 3 if strict and missed else 0


def _wishes(setup: Setup, asked: dict[str, Any]) -> PlaceWishes:
    from lightdose.model.placement import Grid, PlaceWishes

    corals, sites = [c.name for c in setup.corals], [s.name for s in setup.sites]
    pins: dict[str, str] = {}
    for coral, site in (_pair(word, corals, sites, "--pin") for word in asked["pin"]):
        if pins.setdefault(coral, site) != site:
            raise click.BadParameter(
                f'"{coral}" is pinned twice: at "{pins[coral]}" and at "{site}"', param_hint="--pin"
            )
    grid = None
    if asked["grid"] is not None:
        if not asked["depths"]:
            raise click.UsageError('--grid needs a depth, such as --depth "20 cm"')
        grid = Grid(_positive(asked["grid"], "--grid"), _depths(setup, asked["depths"]))
    elif asked["depths"]:
        raise click.UsageError('--depth is that of a grid: add --grid "5 cm"')
    return PlaceWishes(
        pins=pins,
        not_at=tuple(_pair(w, corals, sites, "--not-at") for w in asked["not_at"]),
        not_beside=tuple(_pair(w, corals, corals, "--not-beside") for w in asked["not_beside"]),
        beside_m=_positive(asked["beside"], "--beside"),
        apart_m=_positive(asked["apart"], "--apart") if asked["apart"] is not None else 0.0,
        grid=grid,
        prefer=asked["prefer"],
    )


def _pair(word: str, left: Sequence[str], right: Sequence[str], option: str) -> tuple[str, str]:
    """Two names; as a name may hold "=" itself, the first split into two known names counts."""
    splits = [(word[:i].strip(), word[i + 1 :].strip()) for i, c in enumerate(word) if c == "="]
    for one, other in splits:
        if one in left and other in right:
            return one, other
    if not splits or not all(splits[-1]):
        form = "CORAL=CORAL" if option == "--not-beside" else "CORAL=SITE"
        raise click.BadParameter(f'"{word}" is not {form}', param_hint=option)
    return splits[-1]


def _positive(text: str, option: str) -> float:
    metres = _length(text, option)
    if not metres > 0:
        raise click.BadParameter(f'"{text}" is not above 0', param_hint=option)
    return metres


def _length(text: str, option: str) -> float:
    from lightdose.files.units import UnitProblem, parse_length

    try:
        return parse_length(text)
    except UnitProblem as trouble:
        raise click.BadParameter(str(trouble.problem), param_hint=option) from None


def _depths(setup: Setup, words: Sequence[str]) -> tuple[float, ...]:
    from lightdose.errors import Problem, SetupError
    from lightdose.files.units import format_length

    most = setup.tank.water_depth_m
    depths = [_length(word, "--depth") for word in words]
    problems = [
        Problem(
            f'--depth "{word}" is outside the water',
            f"0 to {format_length(most, setup.length_unit)} (tank.water_depth)",
        )
        for word, depth in zip(words, depths, strict=True)
        if not 0 <= depth <= most * (1 + 1e-12)
    ]
    if problems:
        raise SetupError(*problems)
    return tuple(dict.fromkeys(min(d, most) for d in depths))


def _write_table(placement: Placement, setup: Setup, target: str, dialect: Dialect, quiet: bool) -> None:
    from lightdose.files.placement_csv import placement_csv, placement_schema
    from lightdose.files.writing import output_target

    path, text = output_target(target, "placement.csv"), placement_csv(placement, dialect)
    save_table(path, text, placement_schema(dialect), len(placement.corals), inputs_of(setup), quiet)


def _write_corals(placement: Placement, setup: Setup, target: str, dialect: Dialect, quiet: bool) -> None:
    from lightdose.files.placement_csv import corals_csv
    from lightdose.files.writing import output_target, write_atomically

    text = corals_csv(placement, dialect)
    path = output_target(target, "corals.csv")
    rows = sum(c.after is not None for c in placement.corals)
    say(f"wrote {write_atomically(path, text, inputs=inputs_of(setup))}, {rows} rows", quiet=quiet)
    say(
        'next: set corals = "FILE" in the setup instead of its [[coral]] tables; such a file holds group, '
        "place, open_sky and height, so corals with pinned, keep_apart, dli_band, peak_max or previous "
        "keep their [[coral]] with the new site",
        quiet=quiet,
    )


def _drawings(setup: Setup, placement: Placement, unit: LengthUnit) -> list[Drawing]:
    from lightdose.judge.map_choice import default_cell_m
    from lightdose.present.figures.placement import placement_drawing, planes_for
    from lightdose.workflows.maps import light_map

    planes = planes_for(placement)
    return [placement_drawing(placement, light_map(setup, planes, cell_m=default_cell_m(setup)), unit)]


def _print_result(placement: Placement, unit: LengthUnit, *, as_json: bool, no_color: bool) -> None:
    if as_json:
        from lightdose.files.placement_json import place_json
        from lightdose.files.results_json import dump

        click.echo(dump(place_json(placement)))
    elif is_terminal():
        from lightdose.present.placement_text import show_placement

        show_placement(placement, unit, sys.stdout, colour=wants_colour(no_color))
    else:
        from lightdose.present.placement_text import place_lines

        for line in place_lines(placement, unit):
            click.echo(line)
