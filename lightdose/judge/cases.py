"""Plausible changes of a tank: which ones are tried, and the setup that each makes."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from lightdose.errors import SetupError
from lightdose.model.fixture import Fixture
from lightdose.model.schedule import ChannelProgramme, Programme
from lightdose.model.sensitivity import Case, Change, ChangeKind
from lightdose.model.setup import Setup
from lightdose.model.spectrum import SpectralTable
from lightdose.model.tank import Cover, Wall, WallKind
from lightdose.physics.aperture import source_cells

YELLOWINGS: Final = ((0.0, "clear"), (0.1, "slight"), (0.5, "visible"), (1.0, "strong"))
CARBON_FROM_PER_M = (0.5, 1.0)
SALT_FILM, AGEING = 0.9, (0.9, 0.8)
HEIGHT_M, LEVEL_M = 0.05, 0.03
GROWN_OVER = 0.5
POINTS = 0.10
"""Sizes of the changes: our choice, no published source."""


def standard_cases(setup: Setup) -> tuple[Case, ...]:
    """The changes that every setup is tried with.

    Parameters
    ----------
    setup : Setup

    Returns
    -------
    tuple of Case

    Source
    ------
    Which changes and how large: our choice. Words for yellowing: our choice, no published value for aquarium
    water.
    """
    cases = [
        Case(
            f"water yellowing {per_m:g} per m ({words})",
            (Change("yellowing", per_m),),
            "water yellowing",
            f"{per_m:g}/m",
        )
        for per_m, words in YELLOWINGS
    ]
    cases += _carbon(setup)
    cases += [_output("salt film on the lens", SALT_FILM), *(_output("ageing", left) for left in AGEING)]
    cases += [
        Case(
            f"fixtures {100 * shift:+g} cm",
            (Change("height", shift, relative=True),),
            "fixture height",
            f"{100 * shift:+g} cm",
        )
        for shift in (HEIGHT_M, -HEIGHT_M)
    ]
    cases += [
        Case(
            f"water level {100 * shift:+g} cm",
            (Change("level", shift),),
            "water level",
            f"{100 * shift:+g} cm",
        )
        for shift in (LEVEL_M, -LEVEL_M)
    ]
    half = Change("open_sky", GROWN_OVER)
    cases += [Case("a neighbour grown over half its sky", (half,), "neighbour grown over", "half the sky")]
    cases += _pane_cases(setup)
    return (*cases, *_channel_cases(setup))


def _carbon(setup: Setup) -> list[Case]:
    """Fresh carbon clears today's yellowing, and what water may be yellowed to."""
    today = setup.water.yellowing_440_per_m
    cases = []
    for stated in dict.fromkeys((today, *CARBON_FROM_PER_M)):
        if stated >= today and stated > 0:
            words = f"{stated:g} to 0 per m"
            start = () if stated == today else (Change("yellowing", stated),)
            clear = (Change("yellowing", 0.0),)
            row = "fresh carbon overnight"
            cases.append(
                Case(
                    f"{row}, yellowing {words}",
                    clear,
                    row,
                    f"from {stated:g}/m",
                    baseline=start,
                    overnight=True,
                )
            )
    return cases


def _output(what: str, left: float) -> Case:
    words = f"{100 * (left - 1):+.0f} %"
    return Case(f"{what}, output {words}", (Change("output", left),), what, words)


def _pane_cases(setup: Setup) -> list[Case]:
    back = setup.tank.walls["back"]
    # Paint stays on a pane whose inside is cleaned; only growth inside goes.
    cleaned: WallKind = "clean" if back.kind == "dark" else back.kind
    kinds: tuple[tuple[str, WallKind], ...] = (("cleaned", cleaned), ("overgrown", "dark"))
    cases = []
    for what, kind in kinds:
        change = () if kind == back.kind else (Change("wall", wall="back", wall_kind=kind),)
        cases.append(Case(f"back pane {what}", change, "back pane", what))
    return cases


def _channel_cases(setup: Setup) -> list[Case]:
    cases = []
    for fixture in setup.lit_fixtures:
        for channel, programme in fixture.programme.channels.items():
            if not programme.level.max() > 0:
                continue
            name = f"{fixture.name} / {channel}"
            off = Change("channel_off", fixture=fixture.name, channel=channel)
            cases.append(Case(f"channel failed: {name}", (off,), f"failed: {name}", "off"))
            for points in (POINTS, -POINTS):
                words = f"{100 * points:+.0f} points"
                more = Change("channel_points", points, fixture=fixture.name, channel=channel)
                cases.append(Case(f"{name} {words}", (more,), name, words))
    return cases


def changed_setup(setup: Setup, changes: Sequence[Change]) -> Setup:
    """The setup with every change made.

    Parameters
    ----------
    setup : Setup
    changes : sequence of Change

    Returns
    -------
    Setup

    Raises
    ------
    SetupError
        If a change leads out of what a tank or fixture may be.

    Source
    ------
    Geometry: a higher water level brings the lamp nearer and the corals deeper, by the same length.
    """
    for change in changes:
        setup = _CHANGES[change.kind](setup, change)
    return setup


def _yellowing(setup: Setup, change: Change) -> Setup:
    today = setup.water.yellowing_440_per_m if change.relative else 0.0
    return replace(setup, water=replace(setup.water, yellowing_440_per_m=today + change.amount))


def _output_scale(setup: Setup, change: Change) -> Setup:
    return _each(setup, change, lambda f: replace(f, output_scale=f.output_scale * change.amount))


def _height(setup: Setup, change: Change) -> Setup:
    return _each(
        setup,
        change,
        lambda f: replace(f, height_m=change.amount + (f.height_m if change.relative else 0.0)),
    )


def _level(setup: Setup, change: Change) -> Setup:
    rise, tank = change.amount, setup.tank
    return replace(
        setup,
        tank=replace(tank, water_depth_m=tank.water_depth_m + rise, rim_m=max(tank.rim_m - rise, 0.0)),
        fixtures=tuple(replace(f, height_m=f.height_m - rise) for f in setup.fixtures),
        sites=tuple(replace(s, depth_m=s.depth_m + rise) for s in setup.sites),
    )


def _open_sky(setup: Setup, change: Change) -> Setup:
    return replace(setup, sites=tuple(replace(s, open_sky=s.open_sky * change.amount) for s in setup.sites))


def _wall(setup: Setup, change: Change) -> Setup:
    assert change.wall is not None
    assert change.wall_kind is not None
    reflectance = change.amount if change.wall_kind == "reflectance" else None
    walls = {**setup.tank.walls, change.wall: Wall(change.wall_kind, reflectance)}
    return replace(setup, tank=replace(setup.tank, walls=walls))


def _floor(setup: Setup, change: Change) -> Setup:
    return replace(setup, tank=replace(setup.tank, floor_reflectance=change.amount))


def _cover(setup: Setup, change: Change) -> Setup:
    today = setup.cover.transmittance
    if isinstance(today, SpectralTable):
        return replace(setup, cover=Cover(replace(today, values=today.values * change.amount)))
    return replace(setup, cover=Cover(today * change.amount))


def _channel_off(setup: Setup, change: Change) -> Setup:
    return _each_channel(setup, change, lambda _: None)


def _channel_points(setup: Setup, change: Change) -> Setup:
    """The whole curve scaled, so that its highest level moves by so many points; capped at 0 and 100."""

    def moved(programme: ChannelProgramme) -> ChannelProgramme:
        highest = float(programme.level.max())
        if not highest > 0:
            return programme
        aim = min(max(highest + change.amount, 0.0), 1.0)
        return replace(programme, level=np.minimum(programme.level * (aim / highest), 1.0))

    return _each_channel(setup, change, moved)


_CHANGES: Final[Mapping[ChangeKind, Callable[[Setup, Change], Setup]]] = {
    "yellowing": _yellowing,
    "output": _output_scale,
    "height": _height,
    "level": _level,
    "open_sky": _open_sky,
    "wall": _wall,
    "floor": _floor,
    "cover": _cover,
    "channel_off": _channel_off,
    "channel_points": _channel_points,
}


def _each(setup: Setup, change: Change, make: Callable[[Fixture], Fixture]) -> Setup:
    fixtures = tuple(make(f) if change.fixture in (None, f.name) else f for f in setup.fixtures)
    return replace(setup, fixtures=fixtures)


def _each_channel(
    setup: Setup, change: Change, make: Callable[[ChannelProgramme], ChannelProgramme | None]
) -> Setup:
    def with_programme(fixture: Fixture) -> Fixture:
        channels = dict(fixture.programme.channels)
        if change.channel is None or change.channel not in channels:
            return fixture
        made = make(channels.pop(change.channel))
        if made is not None:
            channels[change.channel] = made
        return replace(fixture, programme=Programme(channels))

    return _each(setup, change, with_programme)


def must_be_possible(setup: Setup, case: Case) -> str:
    """Why a case cannot be, in words, or "".

    Parameters
    ----------
    setup : Setup
    case : Case

    Returns
    -------
    str

    Source
    ------
    The limits of tanks, fixtures and their apertures.
    """
    try:
        for fixture in changed_setup(setup, case.changes).lit_fixtures:
            source_cells(fixture)  # a low, large panel may need more cells than are reckoned with
    except SetupError as trouble:
        return f"{case.name}: {trouble.problems[0].found}"
    return ""
