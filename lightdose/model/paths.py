"""Where else a coral can stand, and how it gets there in steps that it can follow."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

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
    near = Neighbours(others, coral.keep_apart_m)
    return [
        s
        for s in setup.sites
        if not s.implicit
        and s.name not in taken
        and s.depth_m >= coral.height_m - ROUNDING
        and not too_near(coral, s, near.of(s))
    ]


class Neighbours:
    """Corals by squares of the tank, so that a site meets those that may be too near and no others.

    Parameters
    ----------
    corals : sequence of (Coral, Site)
    reach_m : float
        Sting reach of a coral that is not among them. [m]
    """

    def __init__(self, corals: Sequence[tuple[Coral, Site]], reach_m: float = 0.0) -> None:
        self._side_m = max((coral.keep_apart_m for coral, _ in corals), default=0.0)
        self._side_m = max(self._side_m, reach_m)
        self._squares: dict[tuple[int, int], list[tuple[Coral, Site]]] = {}
        for pair in corals if self._side_m > 0 else ():
            self._squares.setdefault(self._square(pair[1]), []).append(pair)

    def _square(self, site: Site) -> tuple[int, int]:
        return int(site.x_m // self._side_m), int(site.y_m // self._side_m)

    def of(self, site: Site) -> list[tuple[Coral, Site]]:
        """Those in the square of a site and in the eight around it; none where none stings."""
        if not self._squares:
            return []
        x, y = self._square(site)
        around = ((x + i, y + j) for i in (-1, 0, 1) for j in (-1, 0, 1))
        return [pair for square in around for pair in self._squares.get(square, ())]


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
    open_ = np.arange(dli.size)
    doses, rises, stones = np.array([start]), np.array([-math.inf]), [-1]
    while doses.size:
        least, before = np.full(open_.size, math.inf), np.full(open_.size, -1)
        for k in _worth_a_step(doses, rises, floor):
            there, dose = dli[open_], doses[k]
            allowed = (there <= dose * growth * (1 + ROUNDING)) & ((there >= floor) | (there >= dose))
            largest = np.maximum(rises[k], np.log(lit[open_] / dose))
            better = allowed & (largest < least)
            least[better], before[better] = largest[better], stones[k]
        found = np.flatnonzero(np.isfinite(least))
        for p, stone in zip(open_[found].tolist(), before[found].tolist(), strict=True):
            paths[p] = (*(paths[stone] or ()), p) if stone >= 0 else (p,)
        stones = open_[found].tolist()
        doses, rises = lit[open_[found]], least[found]
        open_ = np.delete(open_, found)
    return paths


def _worth_a_step(doses: FloatArray, rises: FloatArray, floor: float) -> list[int]:
    """Stones that no brighter one with a smaller rise outdoes; below the floor all, for some steps up."""
    order = np.lexsort((rises, -doses))
    least = np.minimum.accumulate(np.concatenate(([math.inf], rises[order][:-1])))
    kept: list[int] = np.sort(order[(rises[order] <= least) | (doses[order] < floor)]).tolist()
    return kept


def reachable(start: float, dli: FloatArray, growth: float, floor: float) -> npt.NDArray[np.bool_]:
    """Whether ``fewest_steps`` finds a path to each site, without the paths.

    Parameters
    ----------
    start, dli, growth, floor
        As for ``fewest_steps``.

    Returns
    -------
    array of bool, shape (n_site,)

    Source
    ------
    Only steps up lead further: the brightest dose that is reached decides.
    """
    order = np.argsort(dli)
    rising = order[dli[order] >= start]
    doses = np.concatenate(([start], dli[rising]))
    gap = np.flatnonzero(doses[1:] > doses[:-1] * growth * (1 + ROUNDING))
    reached = rising[: gap[0]] if gap.size else rising
    brightest = doses[reached.size]
    found: npt.NDArray[np.bool_] = (dli >= floor) & (dli <= brightest * growth * (1 + ROUNDING))
    found[reached] = True
    return found
