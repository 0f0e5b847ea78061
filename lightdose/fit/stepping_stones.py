"""The way of one coral to another site in the fewest steps, each under the rise that a step allows."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from lightdose.errors import InfeasibleError, Place, Problem, SetupError
from lightdose.fit.placement import own_skies
from lightdose.fit.placement_names import unknown_name
from lightdose.fit.placement_task import Light
from lightdose.model.arrays import FloatArray
from lightdose.model.coral import Coral, Site
from lightdose.model.placement import MoveWishes
from lightdose.model.record import dataclass
from lightdose.model.results import Analysis
from lightdose.model.setup import Setup
from lightdose.physics.dose import daily_light_integral

_ROUNDING = 1e-9


@dataclass(frozen=True, eq=False)
class MovePlan:
    """Sites on the way after today's, and the coral's dose at each. [mol m-2 d-1]"""

    start_dli: float
    sites: tuple[Site, ...]
    dli: tuple[float, ...]


def plan_move(setup: Setup, before: Analysis, wishes: MoveWishes, light: Light) -> MovePlan:
    """The stepping stones from today's site to another.

    Parameters
    ----------
    setup : Setup
        With all its sites.
    before : Analysis
        Of today's places.
    wishes : MoveWishes
    light : callable
        PPFD of every channel at full output under open sky, at points (n, 3). [umol m-2 s-1]

    Returns
    -------
    MovePlan

    Raises
    ------
    SetupError
        If a name is unknown, the site is taken or too shallow, or either place is dark.
    InfeasibleError
        If no path of free sites leads there; it names the nearest that one leads to.

    Source
    ------
    Weekly rise: common practice, no published rule per week. Shortest path by breadth first.
    """
    coral, target = _named(setup, wishes)
    start = next(v for v in before.verdicts if v.coral == coral.name)
    free = free_sites(setup, coral)
    _check_target(setup, coral, target, free)
    dli = _doses(setup, coral, free, light, before)
    end = [s.name for s in free].index(target.name)
    if start.band_dli is None:
        return MovePlan(start.dli_mol_m2_d, (target,), (float(dli[end]),))
    if not start.dli_mol_m2_d > 0:
        raise SetupError(
            Problem(
                f"{coral.name!r} gets no light where it stands, so no rise can be reckoned from there",
                cure="run `lightdose acclimate` with --previous for it",
                place=Place(setup.path),
            )
        )
    if not dli[end] > 0:
        raise SetupError(
            Problem(
                f"{target.name!r} gets no light, so {coral.name!r} would stand in the dark",
                cure="choose another site, or light this one first",
                place=Place(setup.path),
            )
        )
    today, floor = start.dli_mol_m2_d, start.floor_dli or 0.0
    ways = fewest_steps(today, dli, wishes.growth, floor)
    path = ways[end]
    if path is None:
        raise InfeasibleError(_no_path(setup, today, free, dli, ways, end, wishes, floor))
    return MovePlan(today, tuple(free[p] for p in path), tuple(float(dli[p]) for p in path))


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
    ways: list[tuple[int, ...] | None] = [None] * dli.size
    open_ = np.ones(dli.size, dtype=bool)
    reached: list[tuple[float, tuple[int, ...], float]] = [(start, (), -math.inf)]
    while reached:
        layer: dict[int, tuple[float, tuple[int, ...]]] = {}
        for dose, path, rise in reached:
            allowed = open_ & (dli <= dose * growth * (1 + _ROUNDING)) & ((dli >= floor) | (dli >= dose))
            for p in np.flatnonzero(allowed).tolist():
                largest = max(rise, math.log(lit[p] / dose))
                if p not in layer or largest < layer[p][0]:
                    layer[p] = (largest, (*path, p))
        reached = []
        for p, (largest, path) in layer.items():
            open_[p], ways[p] = False, path
            reached.append((float(lit[p]), path, largest))
    return ways


def free_sites(setup: Setup, coral: Coral) -> list[Site]:
    """Named sites without a coral, deep enough and far enough from every other coral's sting reach.

    Parameters
    ----------
    setup : Setup
    coral : Coral

    Returns
    -------
    list of Site

    Source
    ------
    Definition.
    """
    places = {s.name: s for s in setup.sites}
    others = [(c, places[c.site]) for c in setup.corals if c.name != coral.name]
    taken = {c.site for c in setup.corals}
    return [
        s
        for s in setup.sites
        if not s.implicit
        and s.name not in taken
        and s.depth_m >= coral.height_m - _ROUNDING
        and not _too_near(coral, s, others)
    ]


def _too_near(coral: Coral, site: Site, others: Sequence[tuple[Coral, Site]]) -> list[str]:
    return [
        other.name
        for other, at in others
        if math.dist((site.x_m, site.y_m), (at.x_m, at.y_m))
        < max(other.keep_apart_m, coral.keep_apart_m) - _ROUNDING
    ]


def _named(setup: Setup, wishes: MoveWishes) -> tuple[Coral, Site]:
    problems = []
    if not setup.corals:
        raise SetupError(
            Problem("the setup has no corals, so there is none to move", place=Place(setup.path))
        )
    corals, sites = {c.name: c for c in setup.corals}, {s.name: s for s in setup.sites}
    if wishes.coral not in corals:
        problems.append(unknown_name("coral", wishes.coral, list(corals), setup.path))
    if wishes.to not in sites:
        problems.append(unknown_name("site", wishes.to, list(sites), setup.path))
    if problems:
        raise SetupError(*problems)
    return corals[wishes.coral], sites[wishes.to]


def _check_target(setup: Setup, coral: Coral, target: Site, free: Sequence[Site]) -> None:
    """Why a coral cannot stand at a site at all."""
    if target.name in {s.name for s in free}:
        return
    where = Place(setup.path)
    if coral.site == target.name:
        raise SetupError(Problem(f"{coral.name!r} stands at {target.name!r} already", place=where))
    there = [repr(c.name) for c in setup.corals if c.site == target.name]
    if there:
        raise SetupError(
            Problem(
                f"the site {target.name!r} is taken by {', '.join(there)}",
                "a free site",
                "move that one first, or let `lightdose place` find a place for both",
                where,
            )
        )
    if target.depth_m < coral.height_m:
        raise SetupError(
            Problem(
                f"{coral.name!r} would leave the water at {target.name!r}: {100 * coral.height_m:g} cm tall",
                f"up to {100 * target.depth_m:g} cm, the depth there",
                place=where,
            )
        )
    places = {s.name: s for s in setup.sites}
    others = [(c, places[c.site]) for c in setup.corals if c.name != coral.name]
    near = ", ".join(repr(n) for n in _too_near(coral, target, others))
    raise SetupError(
        Problem(
            f"{target.name!r} is within sting reach of {near}",
            "as far as the longer keep_apart of the two",
            "choose another site, or move the other one first",
            where,
        )
    )


def _doses(setup: Setup, coral: Coral, sites: Sequence[Site], light: Light, before: Analysis) -> FloatArray:
    tops = np.array([(s.x_m, s.y_m, max(0.0, s.depth_m - coral.height_m)) for s in sites]).reshape(-1, 3)
    sky = np.array([s.open_sky for s in sites]) * own_skies(setup)[coral.name]
    return sky * daily_light_integral(light(tops), before.day_curve)


def _no_path(
    setup: Setup,
    start: float,
    free: Sequence[Site],
    dli: FloatArray,
    ways: Sequence[tuple[int, ...] | None],
    end: int,
    wishes: MoveWishes,
    floor: float,
) -> Problem:
    """What stands in the way, how near a path comes, and what else leads there."""
    goal = float(dli[end])
    week = f"{100 * wishes.rise_per_week:g} % a week"
    coral = wishes.coral
    if goal < start:
        return Problem(
            f"{wishes.to!r} gives {coral!r} {goal:.2f} mol/m2/day, below the floor {floor:g} of its group",
            "steps down to the floor",
            "choose a brighter site",
            Place(setup.path),
        )
    stones = [p for p, way in enumerate(ways) if way is not None and dli[p] > start]
    here = next(c.site for c in setup.corals if c.name == coral)
    best = max(stones, key=lambda p: float(dli[p])) if stones else None
    dose = start if best is None else float(dli[best])
    reached = (
        f"it comes no further than {here!r}, where it stands"
        if best is None
        else f"the nearest it comes is {free[best].name!r} with {dose:.2f}, in {len(ways[best] or ())} "
        f"step{'s' if len(ways[best] or ()) != 1 else ''}"
    )
    return Problem(
        f"no path of free sites leads {coral!r} from {here!r} ({start:.2f} mol/m2/day) to {wishes.to!r} "
        f"({goal:.2f}) at {week}: {reached}",
        f"a free site between {dose:.2f} and {dose * wishes.growth:.2f} mol/m2/day as the next stone",
        f"free such a site, or put {coral!r} at {wishes.to!r} in a copy of the setup and dim the tank for "
        "it: `lightdose acclimate FROM TO`",
        Place(setup.path),
    )
