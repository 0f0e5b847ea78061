"""Corals to the places of a tank, or to a grid all over it: the plan that `place` reports."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from lightdose.errors import Place, Problem, SetupError
from lightdose.fit.placement_names import check_wishes
from lightdose.fit.placement_search import Choice, best_choice
from lightdose.fit.placement_task import Light, PlaceTask, place_task
from lightdose.model.coral import Site
from lightdose.model.placement import Grid, PlacementPlan, PlaceWishes, Spot
from lightdose.model.results import Analysis
from lightdose.model.setup import Setup
from lightdose.model.tank import Tank

MOST_PLACES = 20_000
"""As many as a setup may have sites."""
MOST_PAIRS = 5_000_000
"""Of a coral and a place; each takes about 100 bytes. Our choice."""


def plan_placement(setup: Setup, before: Analysis, wishes: PlaceWishes, light: Light) -> PlacementPlan:
    """Which coral goes where.

    First the doses come as near to their bands as can be, then to the bands' geometric middles, then moves
    are short (with ``prefer`` "stay" the last two change places).

    Parameters
    ----------
    setup : Setup
        With all its sites.
    before : Analysis
        Of today's places; its verdicts hold the bands.
    wishes : PlaceWishes
    light : callable
        PPFD of every channel at full output under open sky, at points (n, 3). [umol m-2 s-1]

    Returns
    -------
    PlacementPlan

    Raises
    ------
    SetupError
        If there are no corals, no places or no light, a name is unknown, or pins contradict one another.

    Source
    ------
    Our choice of order; see ``best_choice`` for the search.
    """
    pins = check_wishes(setup, wishes)
    today = standing_today(setup)
    at_site = {s.name: s for s in setup_spots(setup)}
    fixed = {c.name: at_site[pins[c.name]] for c in setup.corals if c.name in pins}
    movable = [c for c in setup.corals if c.name not in pins]
    spots = _spots(setup, wishes.grid, fixed)
    if movable and not spots:
        raise SetupError(
            Problem(
                "no place is left for any coral that may move",
                cure="add a [[site]] or a [[rack]], or name a grid: --grid 5cm --depth 20cm",
                place=Place(setup.path),
            )
        )
    if len(movable) * len(spots) > MOST_PAIRS:
        raise SetupError(
            Problem(
                f"{len(movable):,} corals on {len(spots):,} places are too many to try",
                f"up to {MOST_PAIRS:,} pairs of a coral and a place",
                "take a wider grid, or pin corals that may stay",
                Place(setup.path),
            )
        )
    bands, skies = {v.coral: v.band_dli for v in before.verdicts}, own_skies(setup)
    task = place_task(
        movable,
        [skies[c.name] for c in movable],
        [today[c.name] for c in movable],
        [bands[c.name] for c in movable],
        [(c, fixed[c.name]) for c in setup.corals if c.name in fixed],
        spots,
        wishes,
        light,
        before.day_curve,
    )
    if any(bands[c.name] for c in movable) and not np.any(task.dli[task.allowed] > 0):
        raise SetupError(
            Problem(
                "no place gets any light, so none is better than another",
                cure="mend fixtures, programmes or open_sky first: see `lightdose dose` for each place",
                place=Place(setup.path),
            )
        )
    choice = best_choice(task) if movable else Choice((), (), True)
    chosen = {c.name: task.spots[p] if p >= 0 else None for c, p in zip(movable, choice.spots, strict=True)}
    return PlacementPlan(
        spots={c.name: fixed.get(c.name) or chosen[c.name] for c in setup.corals},
        pinned=frozenset(fixed),
        free_dli=_nearest(task),
        proven_optimal=choice.proven_optimal,
        cost=task.cost(choice.spots),
        bound=task.cost(choice.bound),
        places=sum(s.room for s in spots),
        has_rules=task.has_rules,
    )


def with_places(setup: Setup, spots: Mapping[str, Spot | None]) -> Setup:
    """The setup with every coral at its spot; those without one, and sites without corals, are left out.

    Parameters
    ----------
    setup : Setup
    spots : coral -> Spot, or None

    Returns
    -------
    Setup

    Source
    ------
    Definition. A spot that is no site of the setup becomes one, named by its place.
    """
    sites, skies = {s.name: s for s in setup.sites}, own_skies(setup)
    used: dict[str, Site] = {}
    corals = []
    for coral in setup.corals:
        spot = spots[coral.name]
        if spot is None:
            continue
        known = spot.site is not None and not spot.implicit
        used[spot.name] = (
            sites[spot.name]
            if known
            else Site(spot.name, spot.x_m, spot.y_m, spot.depth_m, spot.open_sky, implicit=True)
        )
        corals.append(replace(coral, site=spot.name, open_sky=skies[coral.name]))
    return replace(setup, sites=tuple(used.values()), corals=tuple(corals))


def setup_spots(setup: Setup) -> list[Spot]:
    """Every site as a spot with its room: a site that several corals share today may hold as many again.

    Parameters
    ----------
    setup : Setup

    Returns
    -------
    list of Spot
        A spot of a coral's own has open sky: what dims it there goes with the coral.

    Source
    ------
    Our choice.
    """
    stood = Counter(c.site for c in setup.corals)
    return [
        Spot(
            s.name,
            s.x_m,
            s.y_m,
            s.depth_m,
            1.0 if s.implicit else s.open_sky,
            s.name,
            s.implicit,
            max(1, stood[s.name]),
        )
        for s in setup.sites
    ]


def own_skies(setup: Setup) -> dict[str, float]:
    """The open sky that goes with each coral wherever it stands.

    Parameters
    ----------
    setup : Setup

    Returns
    -------
    dict
        Coral -> 0-1; that of its own spot, where it has one.

    Source
    ------
    Definition: a coral's open_sky multiplies its site's.
    """
    of_spot = {s.name: s.open_sky if s.implicit else 1.0 for s in setup.sites}
    return {c.name: c.open_sky * of_spot[c.site] for c in setup.corals}


def standing_today(setup: Setup) -> dict[str, Spot]:
    """Where every coral stands now.

    Parameters
    ----------
    setup : Setup

    Returns
    -------
    coral -> Spot

    Source
    ------
    Definition.
    """
    at_site = {s.name: s for s in setup_spots(setup)}
    return {c.name: at_site[c.site] for c in setup.corals}


def grid_spots(tank: Tank, grid: Grid) -> list[Spot]:
    """Points in squares of the grid's spacing, as far from the left pane as from the right, on every depth.

    Parameters
    ----------
    tank : Tank
    grid : Grid

    Returns
    -------
    list of Spot
        Named by x, y and depth in cm; at least one a depth.

    Raises
    ------
    SetupError
        If there are too many.

    Source
    ------
    Our choice; no point is nearer to a pane than half the spacing.
    """
    along, across = (_centres(span, grid.spacing_m) for span in (tank.length_m, tank.width_m))
    count = along.size * across.size * len(grid.depths_m)
    if count > MOST_PLACES:
        raise SetupError(
            Problem(
                f"the grid has {count:,} places",
                f"up to {MOST_PLACES:,}",
                "name a wider --grid, or fewer depths",
            )
        )
    return [
        Spot(f"x{_cm(x)} y{_cm(y)} d{_cm(depth)}", float(x), float(y), depth)
        for depth in grid.depths_m
        for y in across
        for x in along
    ]


def _centres(span: float, spacing: float) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    count = max(1, int(span / spacing * (1 + 1e-12)))
    # Whole tenths of a millimetre, so that a table in centimetres holds them exactly.
    return np.round(0.5 * span + spacing * (np.arange(count) - 0.5 * (count - 1)), 4)


def _cm(metres: float) -> str:
    return f"{round(100 * metres, 1):g}"


def _spots(setup: Setup, grid: Grid | None, fixed: Mapping[str, Spot]) -> list[Spot]:
    """Places with room beside the pinned corals."""
    if grid is not None:
        near = 0.5 * grid.spacing_m - 1e-9
        return [
            s
            for s in grid_spots(setup.tank, grid)
            if all(np.hypot(s.x_m - f.x_m, s.y_m - f.y_m) >= near for f in fixed.values())
        ]
    taken = Counter(s.name for s in fixed.values())
    return [
        Spot(s.name, s.x_m, s.y_m, s.depth_m, s.open_sky, s.site, s.implicit, s.room - taken[s.name])
        for s in setup_spots(setup)
        if s.room > taken[s.name]
    ]


def _nearest(task: PlaceTask) -> dict[str, tuple[Spot, float]]:
    """The spot where each coral would be nearest to its band and its middle, were it alone."""
    found = {}
    for i, coral in enumerate(task.corals):
        order: Sequence[int] = np.lexsort((task.middle[i], task.outside[i])).tolist()
        best = next((p for p in order if task.allowed[i, p]), None)
        if best is not None:
            found[coral.name] = (task.spots[best], float(task.dli[i, best]))
    return found
