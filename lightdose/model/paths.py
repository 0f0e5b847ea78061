"""Where else a coral can stand, and how it gets there in steps that it can follow."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from lightdose.model.record import FloatArray
from lightdose.model.setup import Coral, Setup, Site

if TYPE_CHECKING:
    from lightdose.model.places import Spot
    from lightdose.model.solids import Face

ROUNDING = 1e-9


def own_skies(setup: Setup) -> dict[str, float]:
    """The open sky that goes with each coral wherever it stands.

    Returns
    -------
    dict
        Coral -> 0-1; that of its own spot, where it has one.
    """
    of_spot = {s.name: s.open_sky if s.implicit else 1.0 for s in setup.sites} | {"": 1.0}
    return {c.name: c.open_sky * of_spot[c.site] for c in (*setup.corals, *setup.unplaced)}


def looks_at(places: Iterable[Site | Spot], face: Face | None) -> FloatArray | None:
    """Which way a coral looks at each of some places, shape (n, 3); None where it looks up at all of them.

    Parameters
    ----------
    places : iterable of Site or Spot
    face : Face or None
        Its own, which it has wherever it stands.
    """
    faces = [face or place.face for place in places]
    if not any(faces):
        return None
    return np.array([(0.0, 0.0, 1.0) if one is None else one.normal for one in faces])


def free_sites(setup: Setup, coral: Coral) -> list[Site]:
    """Named sites without a coral, deep enough and far enough from every other coral's sting reach."""
    places = {s.name: s for s in setup.sites}
    others = [(c, places[c.site]) for c in setup.corals if c.name != coral.name]
    taken = {c.site for c in setup.corals}
    return [
        s
        for s in setup.sites
        if not s.implicit
        and s.name not in taken
        and s.depth_m >= coral.height_m - ROUNDING
        and not too_near(coral, s, others)
    ]


def too_near(coral: Coral, site: Site, others: Sequence[tuple[Coral, Site]]) -> list[str]:
    """Corals whose sting reach, or that of this one, a site lies within."""
    return [
        other.name
        for other, at in others
        if math.dist((site.x_m, site.y_m), (at.x_m, at.y_m))
        < max(other.keep_apart_m, coral.keep_apart_m) - ROUNDING
    ]


def fewest_steps(start: float, dli: FloatArray, growth: float, floor: float) -> list[tuple[int, ...] | None]:
    """For every site, the stones that lead there, itself the last.

    Parameters
    ----------
    start : float
        Today's dose, above 0. [mol m-2 d-1]
    dli : array, shape (n_site,)
        Doses at the free sites. [mol m-2 d-1]
    growth : float
        Largest ratio of a step's dose to that before it.
    floor : float
        A step down to less than this is not allowed; a step up is. [mol m-2 d-1]

    Returns
    -------
    list of (tuple of int, or None)
        Of all paths with the fewest steps, one whose largest rise is least; None where there is no path.

    Source
    ------
    Breadth-first search; within its layers the least largest ratio (a minimax path).
    """
    lit = np.maximum(dli, 1e-300)
    paths: list[tuple[int, ...] | None] = [None] * dli.size
    open_ = np.ones(dli.size, dtype=bool)
    reached: list[tuple[float, tuple[int, ...], float]] = [(start, (), -math.inf)]
    while reached:
        layer: dict[int, tuple[float, tuple[int, ...]]] = {}
        for dose, path, rise in reached:
            allowed = open_ & (dli <= dose * growth * (1 + ROUNDING)) & ((dli >= floor) | (dli >= dose))
            for p in np.flatnonzero(allowed).tolist():
                largest = max(rise, math.log(lit[p] / dose))
                if p not in layer or largest < layer[p][0]:
                    layer[p] = (largest, (*path, p))
        reached = []
        for p, (largest, path) in layer.items():
            open_[p], paths[p] = False, path
            reached.append((float(lit[p]), path, largest))
    return paths
