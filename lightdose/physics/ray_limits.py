"""How many rays a tank takes, and the refusal of one that would compute for minutes.

A large, low panel over a narrow tank is seen from every place through hundreds of mirror images.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final

import numpy as np

from lightdose.errors import Problem, SetupError
from lightdose.model.fixture import Fixture
from lightdose.model.setup import Tank
from lightdose.physics.light_paths import Route
from lightdose.physics.pane_guides import cost_in_rays

RAYS_AT_MOST: Final = 25_000_000
"""Rays for places, or for a map: 5 to 12 s by measurement. Our choice."""

FLOOR_RAYS_AT_MOST: Final = 12_000_000
"""Rays for the floor of a tank, which come first: about 6 s by measurement. Our choice."""

SKIN_RAYS_AT_MOST: Final = 17_000_000
"""Rays for the light on rock and floor, which come on top of that: about 8 s by measurement. Our choice."""

SKINS_OVER_PLACES: Final = 1.6
"""So many times what all places may take is allowed for rock and floor in all changes that are tried: among
solids rays are counted by an upper limit. Our choice."""

RANGE_RAYS_AT_MOST: Final = 32_000_000
"""Rays for the ranges of all places: 20,000 under two lamps of 40 x 20 cm take 15 million, about 10 s."""

MAP_RAYS_AT_MOST: Final = 600_000_000
"""Rays for a map whose cells were asked for: a million points under the two lamps of the first tank, minutes
with a progress bar. Our choice."""

HANG_HIGHER: Final = (
    "check the units of tank and aperture; else hang the fixture higher, describe a smaller aperture, "
    "or part its places among several setups"
)

FEWER_OR_HIGHER: Final = (
    "check the units of tank and aperture; else hang the fixture higher, describe a smaller aperture, "
    "or leave fixtures or solids out that matter little"
)

ABSORPTIONS_A_RAY: Final = 60
"""At so many absorptions, times lobes, light by a ray costs as much as the ray; by measurement."""

RAYS_FINELY: Final = 8_000_000
"""From so many rays on the ranges of places are taken with larger cells of the lamps. Our choice."""

RIM_COST: Final = 2.0
"""What a ray costs where two panes of a rim may stand in its way, over one without; by measurement."""

FEW_LEGS, MANY_LEGS_COST = 3.0, 2.0
"""From so many legs on a ray costs more, by the panes that it meets, and how much more; by measurement."""

USUAL_LEGS: Final = 4.0
"""Legs of a ray for which the cost of what stands in its way was measured."""

RAYS_A_PLACE_AT_MOST: Final = 1_000_000
"""Rays to one place, which are computed at once. Our choice: about 1 s and 0.5 GB by measurement."""

_SAMPLES: Final = np.array([(0.5, 0.5, 1.0), (0.2, 0.3, 0.5), (0.9, 0.6, 0.8)])
"""Places at which rays are counted, in lengths, widths and depths of the tank."""


def possible_rays(paths: Iterable[Route]) -> int:
    """Pairs of a cell and a mirror image, seen or not: an upper limit of the mirrored rays to a place.

    Parameters
    ----------
    paths : iterable of Route
    """
    return sum(r.cells.x_m.size * r.images_x.number.size * r.images_y.number.size for r in paths)


def rays_in_all(lamps: Iterable[Sequence[Route]], tank: Tank, places: float) -> float:
    """Rays to so many places, as ``refuse_too_many_rays`` counts them, or the first number that is too large.

    Parameters
    ----------
    lamps : iterable of sequence of Route
        The ways of each lamp to a place.
    tank : Tank
    places : float
    """
    ways = list(lamps)
    most = sum(map(_at_most, ways)) * places
    return most if most <= RAYS_FINELY else places * sum(_counted(paths, tank) for paths in ways)


def refuse_too_many_rays(
    lamps: Sequence[tuple[Fixture, Sequence[Route]]],
    tank: Tank,
    places: float,
    what: str,
    absorptions: int = 1,
    most: int = RAYS_AT_MOST,
    cure: str = HANG_HIGHER,
) -> None:
    """Refuse what would take too long; costs nothing where it is far from that.

    Parameters
    ----------
    lamps : sequence of (Fixture, sequence of Route)
        Each with its ways to a place.
    tank : Tank
    places : float
        How many times light at a place is computed.
    what : str
        What for, in words.
    absorptions : int
        At how many light is computed, times lobes.
    most : int
        Rays in all.
    cure : str
        What to do about it.

    Raises
    ------
    SetupError
        If there are more than ``RAYS_A_PLACE_AT_MOST`` to a place, or more than ``most`` in all.

    Source
    ------
    Counted at three places of the tank.
    """
    places *= 1 + absorptions / ABSORPTIONS_A_RAY
    if sum(map(_at_most, (paths for _, paths in lamps))) * max(places, 10.0) <= most / 40:
        return
    counted = [_counted(paths, tank) for _, paths in lamps]
    worst = int(np.argmax(counted))
    rays, in_all = counted[worst], sum(counted) * places
    if rays <= RAYS_A_PLACE_AT_MOST and in_all <= most:
        return
    fixture = lamps[worst][0]
    aperture, size = fixture.type.aperture, (tank.length_m, tank.width_m, tank.water_depth_m)
    raise SetupError(
        Problem(
            f"light of fixture {fixture.name!r}, {100 * aperture.length_m:.4g} x "
            f"{100 * aperture.width_m:.4g} cm, {100 * fixture.height_m:.3g} cm above a tank of "
            f"{' x '.join(f'{100 * side:.4g}' for side in size)} cm takes about {rays:.2g} rays to a place"
            + (f", and {in_all:.2g} in all for {what}" if in_all > most else ""),
            f"at most {RAYS_A_PLACE_AT_MOST:,} to a place, {most:,} in all",
            cure,
            fixture.type.aperture_place,
        )
    )


def _at_most(paths: Sequence[Route]) -> float:
    return possible_rays(paths) * max((_shading(route) for route in paths), default=1.0)


def _shading(route: Route) -> float:
    """What a ray costs where something may stand in its way, over one where nothing can.

    Each leg from pane to pane is looked along; many images are many legs.
    """
    legs = 1.0 + sum(
        float(np.abs(i.number).mean()) for i in (route.images_x, route.images_y) if i.number.size
    )
    panes = RIM_COST if route.tank.rim_m > 0 else 1.0
    panes *= min(MANY_LEGS_COST, max(1.0, legs / FEW_LEGS))
    return panes if route.shade is None else panes - 1 + route.shade.cost * max(1.0, legs / USUAL_LEGS)


def _counted(paths: Sequence[Route], tank: Tank) -> float:
    """The most rays to one of a few places, or the first number of them that is too large."""
    if (possible := possible_rays(paths)) > 50 * RAYS_A_PLACE_AT_MOST:
        return possible
    most = 0.0
    for point_m in _SAMPLES * (tank.length_m, tank.width_m, tank.water_depth_m):
        most = max(most, sum(_shading(route) * cost_in_rays(route, point_m) for route in paths))
        if most > RAYS_A_PLACE_AT_MOST:
            break
    return most
