"""`lightdose map`: slices through the tank, as figures, CSV, JSON or words."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any, cast

import click

from lightdose.cli.asking import Ask, inputs_of, length_option, metres, metres_above_0
from lightdose.cli.frame import answers

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from lightdose.answers.answer import Answer
    from lightdose.model.places import LightMap, MapQuantity, Plane, PlaneKind, SkinView
    from lightdose.model.setup import CoralGroup, Receiver, Setup

CELLS_AT_MOST = 250_000
POINTS_AT_MOST = 1_000_000
VALUES_AT_MOST = 40_000_000
"""Points times channels: some 300 MB."""

POINTS_WORTH_A_BAR = 20_000
"""Fewer points than this take less than about a second."""

SIDES: Mapping[PlaneKind, str] = {"depth": "water_depth", "from_front": "width", "from_left": "length"}
"""Measure of the tank that ends the slices of a kind."""


def _place_m(
    _: click.Context, param: click.Parameter, value: Sequence[str] | None
) -> tuple[float, ...] | None:
    """The lengths of a place. [m]"""
    from lightdose.files.units import UnitProblem, typed_place

    try:
        return None if value is None else typed_place(value)
    except UnitProblem as trouble:
        raise click.BadParameter(str(trouble.problem), param=param) from None


@answers(csv="map.csv", imperial=True, folds=False)
@length_option("--depth", multiple=True, type=metres, help="A level slice here; repeatable.")
@length_option(
    "--from-front",
    multiple=True,
    type=metres,
    help="An upright slice so far behind the front pane; repeatable.",
)
@length_option(
    "--from-left",
    multiple=True,
    type=metres,
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
    help="Outline where this group or genus would find its usual light; repeatable; else those kept here.",
)
@length_option(
    "--cell", "cell_m", type=metres_above_0, help="Spacing of the cells; by default by the tank's size."
)
@click.option(
    "--samples",
    type=click.IntRange(1, 32),
    default=1,
    show_default=True,
    help="Points along each side of a cell whose mean is its value; 1 is the point at its centre.",
)
@click.option("--skins", is_flag=True, help="Also the light on the skins of rock and colonies, as they face.")
@click.option("-o", "--output", metavar="DIR", help="Write the maps as SVG and PNG into this folder.")
@click.option(
    "--explain", metavar="SITE", help="Say why this site, or this coral's place, gets the light it gets."
)
@click.option(
    "--explain-at",
    nargs=3,
    callback=_place_m,
    metavar="X Y DEPTH",
    help="The same for any place: --explain-at 70 4 38; bare numbers are cm.",
)
def command(
    ask: Ask,
    quantity: str,
    groups: tuple[str, ...],
    cell_m: float | None,
    samples: int,
    skins: bool,
    output: str | None,
    explain: str | None,
    explain_at: tuple[float, float, float] | None,
    **planes: tuple[float, ...],
) -> Answer:
    """The light all over the tank, in level and upright slices.

    \b
    Example:
      lightdose map my-tank/setup.toml --depth "20 cm" -o maps
      lightdose map my-tank/setup.toml --depth "20 cm" --csv light.csv
      lightdose map my-tank/setup.toml --skins -o maps
      lightdose map my-tank/setup.toml --explain "sand left"

    Without --depth, --from-front or --from-left the slices lie at the depths of the corals, and figures get a
    side view too. Every value is the light at the centre of its cell, as dose gives it for a site there;
    --samples takes means over the cell instead, which is fairer near the sharp edges that a small lamp draws.

    \b
    What is computed, and what is not:
      Light on a flat, level receiver that looks up (planar PPFD), under open sky.
      Refraction, glass walls that mirror, lamps as areas, the floor's bounce.
      A flat surface: no ripples, no random effects of weather.
      Clear water: it absorbs, but no particles scatter.
      Shade by rock, colonies and braces that the setup tells; dose also knows a site's open_sky.
      The displayed water only: no rear chambers, no curved panes.
      Places above the water get the direct beam alone.
      One programme a day.
    """
    from lightdose.answers.map import map_answer
    from lightdose.judge.map_choice import default_cell_m
    from lightdose.present.figures.map import map_drawings

    if explain or explain_at:
        if output or ask.csv_file or any(planes.values()) or (explain and explain_at):
            raise click.UsageError("--explain and --explain-at stand alone: one place, in words or --json")
        return _explanation(ask, explain, explain_at)
    if output and not _is_folder(output):
        raise click.UsageError(f"-o {output} names a file, and each slice is two files: name a folder")
    setup = ask.setup()
    unit, shown = ask.unit(setup), cast("MapQuantity", quantity.replace("-", "_"))
    slices, notes = _planes(setup, planes, side_view=bool(output))
    kept, told = _groups(setup, groups)
    size_m, asked = cell_m or default_cell_m(setup), cell_m is not None or samples > 1
    light = _light(ask, setup, slices, kept, size_m, samples=samples, notes=[*notes, *told], asked=asked)
    if skins:
        light = replace(light, skins=_skins(setup))
    if output:
        drawn = map_drawings(light, shown, unit)
        replace(ask, figures=output).save_drawings(drawn, inputs_of(setup))
    return map_answer(light, shown, unit)


def _skins(setup: Setup) -> tuple[SkinView, ...]:
    """Light on skins from above and from the front."""
    from lightdose.errors import Place, Problem, SetupError
    from lightdose.workflows.plans import skin_views

    found = skin_views(setup)
    if not found:
        cure = "add a [[rock]], or a diameter to a [[coral]]"
        raise SetupError(Problem("the setup has no rock and no colony", "", cure, Place(setup.path)))
    return found


def _is_folder(path: str) -> bool:
    from lightdose.files.writing import output_target

    return output_target(path, "map.svg").name == "map.svg" and not path.endswith("map.svg")


def _must_be_in_water(setup: Setup, asked: Iterable[tuple[str, float, str]]) -> None:
    """Refuse, in one message, every option whose length leads out of the water along a side of the tank."""
    from lightdose.errors import Problem, SetupError
    from lightdose.files.units import format_length

    problems = []
    for option, at_m, side in asked:
        span_m = getattr(setup.tank, f"{side}_m")
        if not 0 <= at_m <= span_m * (1 + 1e-12):
            at, most = (format_length(metres, setup.length_unit) for metres in (at_m, span_m))
            problems.append(Problem(f"{option} {at} is outside the water", f"0 to {most} (tank.{side})"))
    if problems:
        raise SetupError(*problems)


def _planes(
    setup: Setup, asked: Mapping[str, Sequence[float]], *, side_view: bool
) -> tuple[list[Plane], list[str]]:
    """The slices asked for, or sensible ones with the sentences that say how they were chosen."""
    from lightdose.judge.map_choice import default_depths, default_side_view
    from lightdose.model.places import Plane

    named = [(kind, at_m, side) for kind, side in SIDES.items() for at_m in asked[kind]]
    _must_be_in_water(setup, ((f"--{kind.replace('_', '-')}", at_m, side) for kind, at_m, side in named))
    if named:
        planes = (Plane(kind, min(at_m, getattr(setup.tank, f"{side}_m"))) for kind, at_m, side in named)
        return list(dict.fromkeys(planes)), []
    level, told = default_depths(setup)
    if not side_view:
        return list(level), [told]
    side_plane, told_too = default_side_view(setup)
    return [*level, side_plane], [told, told_too]


def _groups(setup: Setup, keys: Sequence[str]) -> tuple[tuple[CoralGroup, ...], list[str]]:
    """The groups asked for, each once, or those kept here with what must be said of that."""
    from lightdose.errors import LightdoseError, Problem, SetupError
    from lightdose.files.coral_names import group_named
    from lightdose.judge.map_choice import default_groups

    if not keys:
        chosen, note = default_groups(setup)
        return chosen, [note] if note else []
    told: list[str] = []
    groups: dict[str, CoralGroup] = {}
    problems: list[Problem] = []
    for key in keys:
        try:
            named = group_named(key, setup.groups)
        except LightdoseError as trouble:
            problems += trouble.problems
            continue
        group = groups[named.group.key] = named.group
        told += [named.said] if named.said else []
        if group.band_dli is None:
            problems.append(Problem(f"--group {key!r} has no usual range: light does not judge it"))
    if problems:
        raise SetupError(*problems)
    return tuple(groups.values()), told


def _light(
    ask: Ask, setup: Setup, planes: Sequence[Plane], groups: Sequence[CoralGroup], cell_m: float, **more: Any
) -> LightMap:
    """The map, with a progress bar where it takes a while; ``more`` are samples and notes."""
    from lightdose.errors import Problem, SetupError
    from lightdose.judge.map_choice import cell_count
    from lightdose.workflows.plans import light_map

    cells = cell_count(setup, planes, cell_m)
    points = cells * more["samples"] ** 2
    channels = sum(len(f.type.channels) for f in setup.lit_fixtures)
    most = min(POINTS_AT_MOST, VALUES_AT_MOST // max(channels, 1))
    if cells > CELLS_AT_MOST or points > most:
        found = f"these slices need {cells} cells, {points} points in all"
        allowed = f"at most {CELLS_AT_MOST} cells, and {most} points for {channels} channels"
        raise SetupError(Problem(found, allowed, "choose a larger --cell, fewer slices, or fewer --samples"))
    with ask.progress("light", points, worth=points >= POINTS_WORTH_A_BAR) as bar:
        return light_map(setup, planes, groups, cell_m=cell_m, advance=bar.update, **more)


def _explanation(ask: Ask, name: str | None, at: tuple[float, float, float] | None) -> Answer:
    """Why a site, a coral's place or any place gets the light it gets."""
    from lightdose.answers.explain import explain_answer
    from lightdose.workflows.plans import explain_light

    setup = ask.setup()
    receiver = _receiver(setup, name) if at is None else _place(setup, at)
    return explain_answer(explain_light(setup, receiver), ask.unit(setup))


def _receiver(setup: Setup, name: str | None) -> Receiver:
    """The site of that name, or the place at which the coral of that name is judged."""
    from lightdose.errors import Problem, SetupError
    from lightdose.files.toml_tables import show, suggestion

    tops = {r.coral: r for r in setup.receivers if r.coral is not None and r.face is None}
    sites = {r.name: r for r in setup.receivers if r.coral is None}
    places = {**{c.name: tops.get(c.name, sites[c.site]) for c in setup.corals}, **sites}
    if name not in places:
        cure = suggestion(str(name), places) or "or name any place with --explain-at X Y DEPTH"
        found = f"--explain {show(name)} is no site and no coral"
        raise SetupError(Problem(found, ", ".join(map(repr, list(places)[:20])), cure))
    return places[name]


def _place(setup: Setup, at_m: tuple[float, float, float]) -> Receiver:
    from lightdose.model.setup import Receiver

    sides = zip(("x", "y", "depth"), at_m, ("length", "width", "water_depth"), strict=True)
    _must_be_in_water(setup, ((f"--explain-at: {axis}", m, side) for axis, m, side in sides))
    return Receiver("this place", "", *at_m, 1.0)
