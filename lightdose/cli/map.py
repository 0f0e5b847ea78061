"""`lightdose map`: slices through the tank, as figures, CSV, JSON or words."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Literal

import click

from lightdose.cli.options import (
    SetupRequest,
    csv_option,
    dialect_option,
    imperial_option,
    json_option,
    no_color_option,
    quiet_option,
    say,
    takes_setup,
)

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from lightdose.model.coral import CoralGroup
    from lightdose.model.maps import LightMap, MapQuantity, Plane, PlaneKind
    from lightdose.model.setup import LengthUnit, Setup

CELLS_AT_MOST = 400_000
POINTS_AT_MOST = 4_000_000

HELP = """\b
Example:
  lightdose map my-tank/setup.toml --depth "20 cm" -o maps
  lightdose map my-tank/setup.toml --depth "20 cm" --csv light.csv

The light all over the tank, in level and upright slices."""


@click.command(help=HELP)
@takes_setup
@click.option("--depth", "depths", multiple=True, metavar="LENGTH", help="A level slice here; repeatable.")
@click.option(
    "--from-front", multiple=True, metavar="LENGTH", help="An upright slice so far behind the front pane."
)
@click.option(
    "--from-left", multiple=True, metavar="LENGTH", help="An upright slice so far from the left pane."
)
@click.option(
    "--show",
    "quantity",
    type=click.Choice(["dli", "peak", "full-output"]),
    default="dli",
    show_default=True,
    help="Photons of the day, the programme's highest PPFD, or PPFD with every channel at full output.",
)
@click.option("--group", "groups", multiple=True, metavar="KEY", help="Outline this coral group; repeatable.")
@click.option("--cell", metavar="LENGTH", help="Spacing of the cells; by default by the tank's size.")
@click.option(
    "--samples",
    type=click.IntRange(1, 32),
    default=1,
    show_default=True,
    help="Points along each side of a cell whose mean is its value; 1 is the point at its centre.",
)
@json_option
@csv_option
@dialect_option
@imperial_option
@quiet_option
@no_color_option
def command(
    request: SetupRequest,
    *,
    depths: tuple[str, ...],
    from_front: tuple[str, ...],
    from_left: tuple[str, ...],
    quantity: str,
    groups: tuple[str, ...],
    cell: str | None,
    samples: int,
    as_json: bool,
    csv_file: str | None,
    csv_dialect: Literal["plain", "excel-eu"],
    imperial: bool,
    quiet: bool,
    no_color: bool,
) -> None:
    """The light all over the tank, in level and upright slices."""
    setup = request.read()
    unit: LengthUnit = "in" if imperial else setup.length_unit
    shown: MapQuantity = "full_output" if quantity == "full-output" else quantity  # type: ignore[assignment]
    planes, cell_m = _planes(setup, depths, from_front, from_left), _cell_m(setup, cell)
    light = _compute(setup, planes, groups, cell_m, samples, quiet)
    if csv_file:
        _write_csv(light, csv_file, csv_dialect, quiet)
    _print_result(light, shown, unit, as_json=as_json)


def _length(text: str, option: str) -> float:
    from lightdose.files.units import UnitProblem, parse_length

    try:
        return parse_length(text)
    except UnitProblem as trouble:
        raise click.BadParameter(str(trouble.problem), param_hint=option) from None


def _planes(
    setup: Setup, depths: Sequence[str], from_front: Sequence[str], from_left: Sequence[str]
) -> list[Plane]:
    from lightdose.errors import Problem, SetupError
    from lightdose.files.units import format_length
    from lightdose.model.maps import Plane

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
    return list(dict.fromkeys(planes))


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
    setup: Setup, planes: list[Plane], keys: Sequence[str], cell_m: float, samples: int, quiet: bool
) -> LightMap:
    from lightdose.analysis import light_map
    from lightdose.errors import Problem, SetupError
    from lightdose.judge.map_choice import cell_count, default_depths

    notes = []
    if not planes:
        chosen, words = default_depths(setup)
        planes = list(chosen)
        notes.append(words)
    groups, words = _groups(setup, keys)
    notes += [words] if words else []
    cells = cell_count(setup, planes, cell_m)
    if cells > CELLS_AT_MOST or cells * samples**2 > POINTS_AT_MOST:
        raise SetupError(
            Problem(
                f"these slices need {cells} cells with {samples**2} points each",
                f"at most {CELLS_AT_MOST} cells, and {POINTS_AT_MOST} points in all",
                "choose a larger --cell, fewer slices, or fewer --samples",
            )
        )
    with click.progressbar(
        length=cells * samples**2, label="light", file=sys.stderr, hidden=quiet or not sys.stderr.isatty()
    ) as bar:
        return light_map(
            setup, planes, groups, cell_m=cell_m, samples=samples, notes=notes, advance=bar.update
        )


def _print_result(light: LightMap, quantity: MapQuantity, unit: LengthUnit, *, as_json: bool) -> None:
    if as_json:
        from lightdose.files.map_json import map_json
        from lightdose.files.results_json import dump

        click.echo(dump(map_json(light)))
        return
    from lightdose.present.map_table import map_lines

    for line in map_lines(light, quantity, unit):
        click.echo(line)


def _write_csv(light: LightMap, target: str, dialect: Literal["plain", "excel-eu"], quiet: bool) -> None:
    from lightdose.files.map_csv import map_csv, map_schema
    from lightdose.files.writing import output_target, write_atomically

    path = output_target(target, "map.csv")
    inputs = _inputs(light.setup)
    rows = sum(part.dli.size for part in light.slices)
    say(f"wrote {write_atomically(path, map_csv(light, dialect), inputs=inputs)}, {rows} rows", quiet=quiet)
    if path.is_file():
        beside = path.with_suffix(".schema.json")
        say(f"wrote {write_atomically(beside, map_schema(dialect), inputs=inputs)}", quiet=quiet)


def _inputs(setup: Setup) -> list[Path]:
    from pathlib import Path

    return [Path(name) for name in setup.inputs_sha256]
