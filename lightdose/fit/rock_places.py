"""Free places on the skins of rock, about equally far from one another."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np

from lightdose.errors import Place, Problem, SetupError
from lightdose.model.places import Spot
from lightdose.model.record import FloatArray
from lightdose.model.setup import Setup
from lightdose.model.solids import Face, Solid
from lightdose.physics.skins import skins_of
from lightdose.physics.solid_shapes import holds, shapes_of

LEVEL_DEG: Final = 15.0
"""Skins that lean less are places that look up. Our choice. [deg]"""

OVERHANG_DEG: Final = 100.0
"""Nothing is placed on skins that lean further. Our choice. [deg]"""

ROUND_DEG: Final = 5.0
CLEAR_M: Final = 0.002
FROM_PANE_M: Final = 0.01
"""Places keep so far from panes. Our choice. [m]"""

MOST_SPOTS: Final = 5_000


def free_rock_spots(setup: Setup, spacing_m: float, taken: Sequence[Spot]) -> list[tuple[str, Spot]]:
    """Places on the skins of rock that nothing covers, with the name of their rock.

    Parameters
    ----------
    setup : Setup
    spacing_m : float
        About how far they are apart. [m]
    taken : sequence of Spot
        No place is nearer to them than half the spacing.

    Returns
    -------
    list of (rock, Spot)
        Rock by rock, each from its top down, named by x, y and depth in cm, with the way the skin faces.

    Raises
    ------
    SetupError
        If the setup has no rock, or there are too many places.

    Source
    ------
    Midpoints of equal parts of each closed form; what counts as level, and how far from panes: our choice.
    """
    if not setup.rocks:
        cure = "add a [[rock]] with shape, at and size, or name a grid: --grid 5cm --depth 20cm"
        raise SetupError(Problem("the setup has no rock to place corals on", "", cure, Place(setup.path)))
    near = 0.5 * spacing_m - 1e-9
    return [
        (rock.name, spot)
        for rock, spots in _spots_by_rock(setup, spacing_m)
        for spot in spots
        if all(math.dist(_at_m(spot), _at_m(one)) >= near for one in taken)
    ]


def _at_m(spot: Spot) -> tuple[float, float, float]:
    return spot.x_m, spot.y_m, spot.depth_m


def _spots_by_rock(setup: Setup, spacing_m: float) -> list[tuple[Solid, list[Spot]]]:
    """All places, rock by rock."""
    standing = setup.standing
    everything = shapes_of(standing.solids if standing else ())
    found, count = [], 0
    for rock in setup.rocks:
        skins = skins_of(setup.tank, shapes_of((rock,)), (1, 1), spacing_m)
        centre, normal = skins.centre[1:], skins.normal[1:]
        normal = normal / np.linalg.norm(normal, axis=1, keepdims=True)
        clear = _free(setup, centre, normal) & (
            holds(everything, centre + CLEAR_M * normal, 0.0, colonies=True) < 0
        )
        order = [n for n in np.argsort(-centre[:, 2], kind="stable") if clear[n]]
        count += len(order)
        found.append((rock, [_spot(centre[n], normal[n]) for n in order]))
    if count > MOST_SPOTS:
        problem = Problem(f"rock has {count:,} places", f"up to {MOST_SPOTS:,}", "name a wider --grid")
        raise SetupError(problem)
    return found


def _free(
    setup: Setup, centre: FloatArray, normal: FloatArray
) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
    """Whether places lie in the water, away from panes, and hang over nothing."""
    tank = setup.tank
    inside = (centre[:, 2] <= 0) & (centre[:, 2] >= -tank.water_depth_m)
    for axis, span in enumerate((tank.length_m, tank.width_m)):
        inside &= (centre[:, axis] >= FROM_PANE_M) & (centre[:, axis] <= span - FROM_PANE_M)
    return np.asarray(inside & (normal[:, 2] >= math.cos(math.radians(OVERHANG_DEG))))


def _spot(centre: FloatArray, normal: FloatArray) -> Spot:
    x, y, depth = (round(float(v), 4) for v in centre * (1.0, 1.0, -1.0))
    tilt = math.degrees(math.acos(min(max(float(normal[2]), -1.0), 1.0)))
    face = None
    if tilt >= LEVEL_DEG:
        toward = math.degrees(math.atan2(float(normal[1]), float(normal[0]))) % 360
        face = Face(*(ROUND_DEG * round(angle / ROUND_DEG) for angle in (toward, tilt)))
    name = f"x{_cm(x)} y{_cm(y)} d{_cm(depth)}"
    return Spot(name, x, y, max(depth, 0.0), on="rock", face=face)


def _cm(metres: float) -> str:
    return f"{round(100 * metres, 1):g}"
