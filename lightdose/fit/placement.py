"""Corals to the places of a tank: the plan that `place` reports, and the steps of one coral for `move`."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from lightdose.errors import InfeasibleError, Place, Problem, SetupError
from lightdose.fit.placement_search import Found, best_choice
from lightdose.fit.placement_task import Light, Penalty, check_wishes, place_task, unknown_name
from lightdose.fit.rock_places import free_rock_spots
from lightdose.model.paths import fewest_steps, free_sites, looks_at, own_skies, too_near
from lightdose.model.places import Grid, MoveWishes, PlacementPlan, PlaceWishes, Spot
from lightdose.model.record import FloatArray, dataclass
from lightdose.model.results import Analysis
from lightdose.model.setup import Coral, Setup, Site, Tank
from lightdose.physics.dose import daily_light_integral

MOST_PLACES = 20_000
"""As many as a setup may have sites."""
MOST_PAIRS = 5_000_000
"""Of a coral and a place; each takes about 100 bytes. Our choice."""


def plan_placement(
    setup: Setup,
    before: Analysis,
    wishes: PlaceWishes,
    light: Light,
    penalty: Penalty,
    forbidden: Sequence[tuple[str, str]] = (),
) -> PlacementPlan:
    """Which coral goes where: the least penalty, then the fewest moves, then the shortest.

    Parameters
    ----------
    setup : Setup
        With all its sites, and corals without a place.
    before : Analysis
        Of today's places.
    wishes : PlaceWishes
    light : callable
        PPFD of every channel at full output under open sky, at points (n, 3). [umol m-2 s-1]
    penalty : callable
        Of corals by name at doses.
    forbidden : sequence of (coral, spot)
        That turned out not to go together, besides those of the wishes.

    Raises
    ------
    SetupError
        If there are no corals, no places or no light, a name is unknown, or pins contradict one another.

    Source
    ------
    Our choice of order; see ``best_choice`` for the search.
    """
    pins, movable, fixed, spots = free_to_move(setup, wishes)
    wishes = replace(wishes, not_at=(*wishes.not_at, *forbidden))
    everyone, today = (*setup.corals, *setup.unplaced), standing_today(setup)
    skies = own_skies(setup)
    task = place_task(
        movable,
        [skies[c.name] for c in movable],
        [today.get(c.name) for c in movable],
        [(c, fixed[c.name]) for c in everyone if c.name in fixed],
        spots,
        wishes,
        light,
        penalty,
        before.day_curve,
    )
    judged = [c for c in movable if c.band_dli or setup.groups[c.group].band_dli]
    if judged and task.allowed.any() and not np.any(task.dli[task.allowed] > 0):
        raise SetupError(
            Problem(
                "no place gets any light, so none is better than another",
                cure="mend fixtures, programmes or open_sky first: see `lightdose dose` for each place",
                place=Place(setup.path),
            )
        )
    found = best_choice(task) if movable else Found((), (), True)
    chosen = {c.name: task.spots[p] if p >= 0 else None for c, p in zip(movable, found.spots, strict=True)}
    return PlacementPlan(
        spots={c.name: fixed.get(c.name) or chosen.get(c.name) for c in everyone},
        pinned=frozenset(pins),
        choices={c.name: task.best_of(i) for i, c in enumerate(movable)},
        proven_optimal=found.proven_optimal,
        cost=task.cost(found.spots),
        bound=task.cost(found.bound),
        places=sum(s.room for s in spots),
        has_rules=task.has_rules,
        moved=frozenset(n for n, s in chosen.items() if s and (n not in today or today[n].name != s.name)),
    )


def free_to_move(
    setup: Setup, wishes: PlaceWishes
) -> tuple[dict[str, str], list[Coral], dict[str, Spot], list[Spot]]:
    """The pins; the corals that may move; where others with a place stay, by name; the spots to choose from.

    Raises
    ------
    SetupError
        If there are no corals or no places, more pairs of them than ``MOST_PAIRS``, a name is unknown, or
        pins contradict one another.
    """
    pins = check_wishes(setup, wishes)
    everyone = (*setup.corals, *setup.unplaced)
    today, at_site = standing_today(setup), {s.name: s for s in setup_spots(setup)}
    movable = [c for c in everyone if c.name not in pins and _may_move(c, wishes)]
    names = {c.name for c in movable}
    fixed = {
        c.name: at_site[pins[c.name]] if c.name in pins else today[c.name]
        for c in everyone
        if c.name not in names and (c.name in pins or c.name in today)
    }
    spots = _spots(setup, wishes.grid, fixed)
    if wishes.grid is not None and not wishes.everything:  # who does not move stays off the grid
        spots += [today[c.name] for c in movable if c.name in today]
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
                "take a wider grid, or name fewer corals",
                Place(setup.path),
            )
        )
    return pins, movable, fixed, spots


def _may_move(coral: Coral, wishes: PlaceWishes) -> bool:
    """Whether a coral that is not pinned may be moved, or placed at all."""
    if wishes.corals:
        return coral.name in wishes.corals
    return not coral.site or wishes.everything or wishes.moves is not None


def placed_setup(setup: Setup, spots: Mapping[str, Spot | None]) -> Setup:
    """The setup with corals at new spots; those that stay are untouched, and so are all named sites."""
    today, skies = standing_today(setup), own_skies(setup)
    corals, unplaced, new = [], [], {}
    for coral in (*setup.corals, *setup.unplaced):
        spot, stood = spots[coral.name], today.get(coral.name)
        if spot is None:
            unplaced.append(replace(coral, site="", open_sky=skies[coral.name]))
        elif stood is not None and stood.name == spot.name:
            corals.append(coral)
        else:
            corals.append(replace(coral, site=spot.name, open_sky=skies[coral.name]))
            if spot.site is None:
                new[spot.name] = Site(
                    spot.name, spot.x_m, spot.y_m, spot.depth_m, implicit=True, on=spot.on, face=spot.face
                )
    used = {c.site for c in corals}
    sites = [s for s in setup.sites if not s.implicit or s.name in used]
    return replace(setup, sites=(*sites, *new.values()), corals=tuple(corals), unplaced=tuple(unplaced))


def setup_spots(setup: Setup) -> list[Spot]:
    """Every site as a spot with its room: a site that several corals share today may hold as many again.

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
            s.on,
            s.face,
        )
        for s in setup.sites
    ]


def standing_today(setup: Setup) -> dict[str, Spot]:
    """Where every coral stands now."""
    at_site = {s.name: s for s in setup_spots(setup)}
    return {c.name: at_site[c.site] for c in setup.corals}


def grid_spots(tank: Tank, grid: Grid) -> list[Spot]:
    """Points in squares of the grid's spacing, as far from the left pane as from the right, on every depth.

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
    if grid is not None and grid.on_rock:
        taken = (*fixed.values(), *standing_today(setup).values())
        return [spot for _, spot in free_rock_spots(setup, grid.spacing_m, taken)]
    if grid is not None:
        near = 0.5 * grid.spacing_m - 1e-9
        return [
            s
            for s in grid_spots(setup.tank, grid)
            if all(np.hypot(s.x_m - f.x_m, s.y_m - f.y_m) >= near for f in fixed.values())
        ]
    filled = Counter(s.name for s in fixed.values())
    return [replace(s, room=s.room - filled[s.name]) for s in setup_spots(setup) if s.room > filled[s.name]]


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
                f"{coral.name!r} gets no light where it stands, so no rise can be calculated from there",
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
    paths = fewest_steps(today, dli, wishes.growth, floor)
    path = paths[end]
    if path is None:
        raise InfeasibleError(_no_path(setup, today, free, dli, paths, end, wishes, floor))
    return MovePlan(today, tuple(free[p] for p in path), tuple(float(dli[p]) for p in path))


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
    near = ", ".join(repr(n) for n in too_near(coral, target, others))
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
    return sky * daily_light_integral(light(tops, looks_at(sites, coral.face)), before.day_curve)


def _no_path(
    setup: Setup,
    start: float,
    free: Sequence[Site],
    dli: FloatArray,
    paths: Sequence[tuple[int, ...] | None],
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
    steps = [p for p, path in enumerate(paths) if path is not None and dli[p] > start]
    here = next(c.site for c in setup.corals if c.name == coral)
    best = max(steps, key=lambda p: float(dli[p])) if steps else None
    dose = start if best is None else float(dli[best])
    reached = (
        f"it comes no further than {here!r}, where it stands"
        if best is None
        else f"the nearest it comes is {free[best].name!r} with {dose:.2f}, in {len(paths[best] or ())} "
        f"step{'s' if len(paths[best] or ()) != 1 else ''}"
    )
    return Problem(
        f"no path of free sites leads {coral!r} from {here!r} ({start:.2f} mol/m2/day) to {wishes.to!r} "
        f"({goal:.2f}) at {week}: {reached}",
        f"a free site between {dose:.2f} and {dose * wishes.growth:.2f} mol/m2/day as the next stone",
        f"free such a site, or put {coral!r} at {wishes.to!r} in a copy of the setup and dim the tank for "
        "it: `lightdose acclimate FROM TO`",
        Place(setup.path),
    )
