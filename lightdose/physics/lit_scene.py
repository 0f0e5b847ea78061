"""The lit tank of a scene, and the scene with nothing in its water; the last ones are kept."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np

from lightdose.model.fixture import Fixture
from lightdose.model.light import Scene
from lightdose.model.record import FloatArray
from lightdose.model.setup import Standing, Tank
from lightdose.model.solids import Brace
from lightdose.physics.lit_tank import LitTank, lit_tank


def without_solids(scene: Scene) -> Scene:
    """The scene with nothing in its water; what stands over the rim stays.

    Parameters
    ----------
    scene : Scene
    """
    braces = scene.standing.braces if scene.standing else ()
    return replace(scene, standing=Standing((), braces) if braces else None)


FEW_POINTS = 400
"""For up to so many the lit tank is the same, and the last ones are kept: a page asks again and again."""


def lit_scene(scene: Scene, nodes_per_m: FloatArray, *, for_points: int) -> LitTank:
    """The lit tank of a scene, with all that stands in it.

    Parameters
    ----------
    scene : Scene
    nodes_per_m : array, shape (n_node,)
        Absorptions at which light is computed. [m-1]
    for_points : int
        How many points will be asked for.

    Raises
    ------
    SetupError
        If an aperture needs too many cells, or a tank too many rays.

    Source
    ------
    ``lit_tank``, ``solid_light.with_solids``.
    """
    index = scene.water.refractive_index
    hung = (scene.fixtures, scene.tank, index, scene.standing)
    if 0 < for_points <= FEW_POINTS:
        return _for_few(*hung, tuple(nodes_per_m.tolist()))
    return _lit_anew(*hung, nodes_per_m, for_points)


@lru_cache(maxsize=2)
def _for_few(
    fixtures: tuple[Fixture, ...],
    tank: Tank,
    index: float,
    standing: Standing | None,
    nodes_per_m: tuple[float, ...],
) -> LitTank:
    return _lit_anew(fixtures, tank, index, standing, np.array(nodes_per_m), FEW_POINTS)


def _lit_anew(
    fixtures: tuple[Fixture, ...],
    tank: Tank,
    index: float,
    standing: Standing | None,
    nodes_per_m: FloatArray,
    for_points: int,
) -> LitTank:
    braces = standing.braces if standing else ()
    solids = standing.solids if standing else ()
    if for_points == FEW_POINTS:
        lit = _clear_for_few(fixtures, tank, index, braces, tuple(nodes_per_m.tolist()))
    else:
        lit = _clear(fixtures, tank, index, braces, nodes_per_m, for_points)
    if not solids:
        return lit
    from lightdose.physics.solid_light import behind_solids, with_solids

    lit = behind_solids(lit, fixtures, solids, braces)
    if not lit.lamps or for_points == 0 or index == 1:
        return lit
    return with_solids(lit, fixtures, solids, for_points=for_points)


@lru_cache(maxsize=2)
def _clear_for_few(
    fixtures: tuple[Fixture, ...],
    tank: Tank,
    index: float,
    braces: tuple[Brace, ...],
    nodes_per_m: tuple[float, ...],
) -> LitTank:
    """The tank with nothing in its water: it stays the same while colonies grow and move."""
    return _clear(fixtures, tank, index, braces, np.array(nodes_per_m), FEW_POINTS)


def _clear(
    fixtures: tuple[Fixture, ...],
    tank: Tank,
    index: float,
    braces: tuple[Brace, ...],
    nodes_per_m: FloatArray,
    for_points: int,
) -> LitTank:
    shade = None
    if braces:
        from lightdose.physics.shade import shade_of

        shade = shade_of((), braces)
    return lit_tank(fixtures, tank, index, nodes_per_m, for_points=for_points, shade=shade)
