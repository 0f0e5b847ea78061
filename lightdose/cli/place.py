"""`lightdose place`: which coral goes where."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import click

from lightdose.cli.asking import Ask, inputs_of, length_option, metres, metres_above_0
from lightdose.cli.frame import answers

if TYPE_CHECKING:
    from pathlib import Path

    from lightdose.answers.answer import Answer
    from lightdose.model.places import Placement, PlaceWishes
    from lightdose.model.setup import Setup
    from lightdose.present.figures.canvas import Drawing


ROCK_GRID_M = 0.04
"""Spacing of places on rock. Our choice. [m]"""


@answers(csv="placement.csv", figures=True, imperial=True, strict=True, folds=False)
@click.option(
    "--coral",
    "corals",
    multiple=True,
    metavar="NAME",
    help="Find places for this coral, all others stay; repeatable.",
)
@click.option(
    "--moves", type=click.IntRange(0), metavar="N", help="Re-place at most N corals; 3 if nothing is asked."
)
@click.option("--all", "everyone", is_flag=True, help="Re-place every coral that is not pinned.")
@length_option("--grid", type=metres_above_0, help="A grid with this spacing instead of the setup's sites.")
@length_option("--depth", "depths", multiple=True, help="Of the grid; repeatable.")
@click.option(
    "--on",
    type=click.Choice(["rock"]),
    help="The skins of the setup's rock as places, 4 cm apart or by --grid.",
)
@click.option("--pin", multiple=True, metavar="CORAL=SITE", help="This coral stands there; repeatable.")
@click.option("--not-at", multiple=True, metavar="CORAL=SITE", help="This coral not there; repeatable.")
@click.option(
    "--not-beside", multiple=True, metavar="CORAL=CORAL", help="These two not side by side; repeatable."
)
@length_option(
    "--beside",
    type=metres_above_0,
    default="15 cm",
    show_default=True,
    help="Nearer than this is side by side; our choice.",
)
@length_option("--apart", type=metres_above_0, help="Any two corals at least this far apart.")
@click.option("-o", "--output", metavar="FILE", help="Write the corals at their places as a corals.csv.")
def command(ask: Ask, output: str | None, **asked: Any) -> Answer:
    """Which coral goes where, so that most of the tank gets the usual light of its groups.

    \b
    Example:
      lightdose place my-tank/setup.toml --figures pictures
      lightdose place my-tank/setup.toml --coral "plating cap" --csv placed.csv
      lightdose place my-tank/setup.toml --all --grid "5 cm" --depth "20 cm" --apart "8 cm"
      lightdose place my-tank/setup.toml --on rock

    Corals without a place in the setup get one and all others stay, unless --coral, --moves or --all asks
    for more. The penalty of the tank comes first (0 within, 1 off, 2 far off), then few moves, then short
    ones; nothing moves for no gain. Corals with pinned = true stay, on and keep_apart are kept
    (level distance), and every coral counts with its own height and open_sky at the new place. Colonies with
    a diameter shade one another where they would stand, and places on a face are judged on it. --on rock
    lists the free places on rock too, each with its light on a flat spot, on its face, and from all sides.
    """
    from lightdose.answers.place import place_answer
    from lightdose.workflows.placing import place

    setup = ask.setup()
    placement = place(setup, _wishes(setup, asked))
    written = _write_corals(ask, placement, output) if output else None
    answer = place_answer(placement, ask.unit(setup), written)
    return replace(answer, pictures=lambda: _drawings(ask, setup, placement))


def _wishes(setup: Setup, asked: dict[str, Any]) -> PlaceWishes:
    from lightdose.model.places import Grid, PlaceWishes

    corals = [c.name for c in (*setup.corals, *setup.unplaced)]
    sites = [s.name for s in setup.sites]
    pins: dict[str, str] = {}
    for coral, site in (_pair(word, corals, sites, "--pin") for word in asked["pin"]):
        if pins.setdefault(coral, site) != site:
            raise click.BadParameter(
                f'"{coral}" is pinned twice: at "{pins[coral]}" and at "{site}"', param_hint="--pin"
            )
    grid = None
    if asked["on"]:
        if asked["depths"]:
            raise click.UsageError("--on rock has its own depths: leave out --depth")
        grid = Grid(asked["grid"] or ROCK_GRID_M, on_rock=True)
    elif asked["grid"] is not None:
        if not asked["depths"]:
            raise click.UsageError('--grid needs a depth, such as --depth "20 cm"')
        grid = Grid(asked["grid"], _depths(setup, asked["depths"]))
    elif asked["depths"]:
        raise click.UsageError('--depth is that of a grid: add --grid "5 cm"')
    if bool(asked["corals"]) + (asked["moves"] is not None) + asked["everyone"] > 1:
        raise click.UsageError("--coral, --moves and --all each say who may move: choose one")
    return PlaceWishes(
        corals=asked["corals"],
        moves=asked["moves"],
        everything=asked["everyone"],
        pins=pins,
        not_at=tuple(_pair(w, corals, sites, "--not-at") for w in asked["not_at"]),
        not_beside=tuple(_pair(w, corals, corals, "--not-beside") for w in asked["not_beside"]),
        beside_m=asked["beside"],
        apart_m=asked["apart"] or 0.0,
        grid=grid,
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


def _depths(setup: Setup, words: Sequence[str]) -> tuple[float, ...]:
    from lightdose.errors import Problem, SetupError
    from lightdose.files.units import format_length

    most = setup.tank.water_depth_m
    depths = [metres(word, "--depth") for word in words]
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


def _write_corals(ask: Ask, placement: Placement, target: str) -> Path:
    """Write the corals at their places; gives the file."""
    from lightdose.files.places_csv import corals_csv
    from lightdose.files.writing import output_target

    path, text = output_target(target, "corals.csv"), corals_csv(placement, ask.csv_dialect)
    rows = sum(c.after is not None for c in placement.corals)
    ask.save(path, text, inputs_of(placement.before.setup), f", {rows} rows")
    return path


def _drawings(ask: Ask, setup: Setup, placement: Placement) -> list[Drawing]:
    from lightdose.judge.map_choice import default_cell_m, shown_planes
    from lightdose.present.figures.placement import placement_drawing
    from lightdose.workflows.plans import map_beside

    light = map_beside(setup, shown_planes(placement), default_cell_m(setup))
    return [placement_drawing(placement, light, ask.unit(setup))]
