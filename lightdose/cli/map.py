"""`lightdose map`: slices through the tank, as figures, CSV, JSON or words."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Literal

import click

from lightdose.cli.asking import (
    SetupRequest,
    csv_option,
    dialect_option,
    imperial_option,
    is_terminal,
    json_option,
    quiet_option,
    takes_setup,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightdose.model.places import LightMap, MapQuantity, Plane, PlaneKind
    from lightdose.model.setup import CoralGroup, LengthUnit, Receiver, Setup

CELLS_AT_MOST = 250_000
POINTS_AT_MOST = 1_000_000
VALUES_AT_MOST = 40_000_000
"""Points times channels: some 300 MB."""

POINTS_WORTH_A_BAR = 20_000
"""Fewer points than this take less than about a second."""

HELP = """\b
Example:
  lightdose map my-tank/setup.toml --depth "20 cm" -o maps
  lightdose map my-tank/setup.toml --depth "20 cm" --csv light.csv
  lightdose map my-tank/setup.toml --explain "sand left"

The light all over the tank, in level and upright slices.

Without --depth, --from-front or --from-left the slices lie at the depths of the corals, and figures get a
side view too. Every value is the light at the centre of its cell, as dose gives it for a site there;
--samples takes means over the cell instead, which is fairer near the sharp edges that a small lamp draws.

\b
What is computed, and what is not:
  Light on a flat, level receiver that looks up (planar PPFD), under open sky.
  Refraction, glass walls that mirror, lamps as areas, the floor's bounce.
  A flat surface: no ripples, no random effects of weather.
  Clear water: it absorbs, but no particles scatter.
  No shading by rocks or corals; dose knows it through a site's open_sky.
  The displayed water only: no rear chambers, no curved panes, no braces.
  Places above the water get the direct beam alone.
  One programme a day."""


@click.command(help=HELP)
@takes_setup
@click.option("--depth", "depths", multiple=True, metavar="LENGTH", help="A level slice here; repeatable.")
@click.option(
    "--from-front",
    multiple=True,
    metavar="LENGTH",
    help="An upright slice so far behind the front pane; repeatable.",
)
@click.option(
    "--from-left",
    multiple=True,
    metavar="LENGTH",
    help="An upright slice so far from the left pane; repeatable.",
)
@click.option(
    "--show",
    "quantity",
    type=click.Choice(["dli", "peak", "full-output"]),
    default="dli",
    show_default=True,
    help="Photons of the day, the programme's highest PPFD, or PPFD with every channel at full output.",
)
@click.option(
    "--group",
    "groups",
    multiple=True,
    metavar="KEY",
    help="Outline where this coral group would be within its usual light; repeatable; else those kept here.",
)
@click.option("--cell", metavar="LENGTH", help="Spacing of the cells; by default by the tank's size.")
@click.option(
    "--samples",
    type=click.IntRange(1, 32),
    default=1,
    show_default=True,
    help="Points along each side of a cell whose mean is its value; 1 is the point at its centre.",
)
@click.option("-o", "--output", metavar="DIR", help="Write the maps as SVG and PNG into this folder.")
@click.option(
    "--explain", metavar="SITE", help="Say why this site, or this coral's place, gets the light it gets."
)
@click.option(
    "--explain-at",
    nargs=3,
    metavar="X Y DEPTH",
    help='The same for any place: --explain-at "70 cm" "4 cm" "38 cm".',
)
@json_option
@csv_option
@dialect_option
@imperial_option
@quiet_option
@click.option("--no-color", is_flag=True, expose_value=False, help="No colour; there is none here.")
def command(
    request: SetupRequest,
    *,
    depths: tuple[str, ...],
    from_front: tuple[str, ...],
    from_left: tuple[str, ...],
    quantity: Literal["dli", "peak", "full-output"],
    groups: tuple[str, ...],
    cell: str | None,
    samples: int,
    output: str | None,
    explain: str | None,
    explain_at: tuple[str, str, str] | None,
    as_json: bool,
    csv_file: str | None,
    csv_dialect: Literal["plain", "excel-eu"],
    imperial: bool,
    quiet: bool,
) -> None:
    """The light all over the tank, in level and upright slices."""
    if explain or explain_at:
        if output or csv_file or depths or from_front or from_left or (explain and explain_at):
            raise click.UsageError("--explain and --explain-at stand alone: one place, in words or --json")
        _explain(request, explain, explain_at, imperial=imperial, as_json=as_json)
        return
    if output and not _is_folder(output):
        raise click.UsageError(f"-o {output} names a file, and each slice is two files: name a folder")
    setup = request.read()
    unit: LengthUnit = "in" if imperial else setup.length_unit
    shown: MapQuantity = "full_output" if quantity == "full-output" else quantity
    planes, notes = _planes(setup, depths, from_front, from_left, side_view=bool(output))
    chosen, words = _groups(setup, groups)
    notes += [words] if words else []
    light = _compute(setup, planes, chosen, _cell_m(setup, cell), samples, notes, quiet)
    if csv_file:
        _write_csv(light, csv_file, csv_dialect, quiet)
    if output:
        _write_figures(light, shown, unit, output, quiet)
    _print_result(light, shown, unit, as_json=as_json)


def _is_folder(path: str) -> bool:
    from lightdose.files.writing import output_target

    return output_target(path, "map.svg").name == "map.svg" and not path.endswith("map.svg")


def _length(text: str, option: str) -> float:
    from lightdose.files.units import UnitProblem, parse_length

    try:
        return parse_length(text)
    except UnitProblem as trouble:
        raise click.BadParameter(str(trouble.problem), param_hint=option) from None


def _planes(
    setup: Setup,
    depths: Sequence[str],
    from_front: Sequence[str],
    from_left: Sequence[str],
    *,
    side_view: bool,
) -> tuple[list[Plane], list[str]]:
    """The slices asked for, or sensible ones with the sentences that say how they were chosen."""
    from lightdose.errors import Problem, SetupError
    from lightdose.files.units import format_length
    from lightdose.judge.map_choice import default_depths, default_side_view
    from lightdose.model.places import Plane

    tank, planes, problems = setup.tank, [], []
    asked: list[tuple[PlaneKind, str, Sequence[str], float, str]] = [
        ("depth", "--depth", depths, tank.water_depth_m, "tank.water_depth"),
        ("from_front", "--from-front", from_front, tank.width_m, "tank.width"),
        ("from_left", "--from-left", from_left, tank.length_m, "tank.length"),
    ]
    for kind, option, words, span, key in asked:
        for word in words:
            at = _length(word, option)
            if not 0 <= at <= span * (1 + 1e-12):
                most = format_length(span, setup.length_unit)
                problems.append(Problem(f'{option} "{word}" is outside the water', f"0 to {most} ({key})"))
            planes.append(Plane(kind, min(at, span)))
    if problems:
        raise SetupError(*problems)
    if planes:
        return list(dict.fromkeys(planes)), []
    level, notes = default_depths(setup)
    if not side_view:
        return list(level), [notes]
    side, words_ = default_side_view(setup)
    return [*level, side], [notes, words_]


def _cell_m(setup: Setup, cell: str | None) -> float:
    from lightdose.judge.map_choice import default_cell_m

    if cell is None:
        return default_cell_m(setup)
    size = _length(cell, "--cell")
    if not size > 0:
        raise click.BadParameter(f'"{cell}" is not above 0', param_hint="--cell")
    return size


def _groups(setup: Setup, keys: Sequence[str]) -> tuple[tuple[CoralGroup, ...], str]:
    from difflib import get_close_matches

    from lightdose.errors import Problem, SetupError
    from lightdose.judge.map_choice import default_groups

    if not keys:
        return default_groups(setup)
    problems = []
    for key in keys:
        if key not in setup.groups:
            near = get_close_matches(key, setup.groups, 1)
            cure = f"did you mean {near[0]!r}?" if near else "`lightdose groups` lists them"
            problems.append(Problem(f"--group {key!r} is no coral group", ", ".join(setup.groups), cure))
        elif setup.groups[key].band_dli is None:
            problems.append(Problem(f"--group {key!r} has no usual range: light does not judge it"))
    if problems:
        raise SetupError(*problems)
    return tuple(setup.groups[key] for key in dict.fromkeys(keys)), ""


def _compute(
    setup: Setup,
    planes: Sequence[Plane],
    groups: Sequence[CoralGroup],
    cell_m: float,
    samples: int,
    notes: Sequence[str],
    quiet: bool,
) -> LightMap:
    from lightdose.errors import Problem, SetupError
    from lightdose.judge.map_choice import cell_count
    from lightdose.workflows.maps import light_map

    cells = cell_count(setup, planes, cell_m)
    points = cells * samples**2
    channels = sum(len(f.type.channels) for f in setup.lit_fixtures)
    most = min(POINTS_AT_MOST, VALUES_AT_MOST // max(channels, 1))
    if cells > CELLS_AT_MOST or points > most:
        raise SetupError(
            Problem(
                f"these slices need {cells} cells, {points} points in all",
                f"at most {CELLS_AT_MOST} cells, and {most} points for {channels} channels",
                "choose a larger --cell, fewer slices, or fewer --samples",
            )
        )
    hidden = quiet or points < POINTS_WORTH_A_BAR or not sys.stderr.isatty()
    with click.progressbar(length=points, label="light", file=sys.stderr, hidden=hidden) as bar:
        return light_map(
            setup, planes, groups, cell_m=cell_m, samples=samples, notes=notes, advance=bar.update
        )


def _explain(
    request: SetupRequest,
    site: str | None,
    place: tuple[str, str, str] | None,
    *,
    imperial: bool,
    as_json: bool,
) -> None:
    from lightdose.workflows.maps import explain_light

    setup = request.read()
    why = explain_light(setup, _receiver(setup, site) if site else _place(setup, place or ("", "", "")))
    if as_json:
        from lightdose.files.explanation_json import explanation_json
        from lightdose.files.results_json import dump

        click.echo(dump(explanation_json(why)))
        return
    from shutil import get_terminal_size

    from lightdose.present.explanation import explanation_lines

    width = get_terminal_size((80, 24)).columns if is_terminal() else None
    for line in explanation_lines(why, "in" if imperial else setup.length_unit, width):
        click.echo(line)


def _receiver(setup: Setup, name: str) -> Receiver:
    """The site of that name, or the place at which the coral of that name is judged."""
    from difflib import get_close_matches

    from lightdose.errors import Problem, SetupError

    tops = {r.coral: r for r in setup.receivers if r.coral is not None}
    sites = {r.name: r for r in setup.receivers if r.coral is None}
    places = {**{c.name: tops.get(c.name, sites[c.site]) for c in setup.corals}, **sites}
    if name not in places:
        near = get_close_matches(name, places, 1)
        cure = f"did you mean {near[0]!r}?" if near else "or name any place with --explain-at X Y DEPTH"
        raise SetupError(
            Problem(
                f"--explain {name!r} is no site and no coral", ", ".join(map(repr, list(places)[:20])), cure
            )
        )
    return places[name]


def _place(setup: Setup, words: tuple[str, str, str]) -> Receiver:
    from lightdose.errors import Problem, SetupError
    from lightdose.files.units import format_length
    from lightdose.model.setup import Receiver

    x, y, depth = (_length(word, "--explain-at") for word in words)
    tank, problems = setup.tank, []
    for name, at, span in (
        ("x", x, tank.length_m),
        ("y", y, tank.width_m),
        ("depth", depth, tank.water_depth_m),
    ):
        if not 0 <= at <= span * (1 + 1e-12):
            most = format_length(span, setup.length_unit)
            problems.append(
                Problem(
                    f"--explain-at: {name} {format_length(at, setup.length_unit)} is outside the water",
                    f"0 to {most}",
                )
            )
    if problems:
        raise SetupError(*problems)
    return Receiver("this place", "", x, y, depth, 1.0)


def _print_result(light: LightMap, quantity: MapQuantity, unit: LengthUnit, *, as_json: bool) -> None:
    if as_json:
        from lightdose.files.map_json import map_json
        from lightdose.files.results_json import dump

        click.echo(dump(map_json(light)))
        return
    if is_terminal():
        from shutil import get_terminal_size

        from lightdose.present.map_table import map_blocks

        lines = map_blocks(light, quantity, unit, get_terminal_size((80, 24)).columns)
    else:
        from lightdose.present.map_table import map_lines

        lines = map_lines(light, quantity, unit)
    for line in lines:
        click.echo(line)


def _write_csv(light: LightMap, target: str, dialect: Literal["plain", "excel-eu"], quiet: bool) -> None:
    from lightdose.cli.written import inputs_of, save_table
    from lightdose.files.map_csv import map_csv, map_schema
    from lightdose.files.writing import output_target

    path, rows = output_target(target, "map.csv"), sum(part.dli.size for part in light.slices)
    save_table(path, map_csv(light, dialect), map_schema(dialect), rows, inputs_of(light.setup), quiet)


def _write_figures(
    light: LightMap, quantity: MapQuantity, unit: LengthUnit, folder: str, quiet: bool
) -> None:
    from lightdose.cli.written import inputs_of, save_drawings
    from lightdose.present.figures.map import map_drawings

    save_drawings(map_drawings(light, quantity, unit), folder, inputs_of(light.setup), quiet)
