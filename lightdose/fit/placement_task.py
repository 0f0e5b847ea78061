"""What `place` has to solve: corals, spots, doses, what keeps them apart, and what the keeper wishes."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Collection, Sequence

import numpy as np

from lightdose.errors import Place, Problem, SetupError
from lightdose.model.light import DayCurve
from lightdose.model.paths import looks_at
from lightdose.model.places import Choice, PlacementCost, PlaceWishes, Spot
from lightdose.model.record import FloatArray, dataclass
from lightdose.model.setup import Coral, Setup, Site
from lightdose.model.solids import Face
from lightdose.near_names import did_you_mean
from lightdose.physics.dose import daily_light_integral

PENALTY_STEP, MOVED_STEP_M = 0.005, 0.01
"""Costs are whole numbers of these, so that "first, then" is exact. Our choice."""

UNPLACED_PENALTY = 3.0
"""A coral without a place counts for more than one far off. Our choice."""

FEW_MOVES = 3
"""So many moves may be asked for of any tank: they are the default. Our choice."""

CHOICES = 3
"""Best places that are named for a coral."""

LARGEST_EXACT = 2.0**52
POINTS_A_BLOCK = 20_000

Penalty = Callable[[Sequence[str], FloatArray], FloatArray]
"""Expected penalty of corals by name at calculated doses (n_coral, n_place), of the same shape."""

Light = Callable[[FloatArray, FloatArray | None], FloatArray]
"""PPFD of every channel at full output under open sky at points (n, 3) that look along normals (n, 3), or up
for None: (n, channel). [umol m-2 s-1]"""


@dataclass(frozen=True, eq=False)
class PlaceTask:
    """Corals that may move and the spots they may take.

    Attributes
    ----------
    spots : a spot with room for several corals stands here as often
    dli : array, shape (n_coral, n_spot). [mol m-2 d-1]
    penalty, moves, moved : array, shape (n_coral, n_spot), whole numbers of the steps above
    allowed : array, shape (n_coral, n_spot)
    apart_m : array, shape (n_coral, n_coral); least level distance of two corals, 0 where there is none
    most_moves : None for as many as there are
    stands : whether each coral has a place today, which it does not lose; none does where this is empty
    home : array, shape (n_coral, n_spot); where a coral may stay though rules of the setup forbid it
    """

    corals: tuple[Coral, ...]
    spots: tuple[Spot, ...]
    dli: FloatArray
    penalty: FloatArray
    moves: FloatArray
    moved: FloatArray
    allowed: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]
    apart_m: FloatArray
    most_moves: int | None = None
    stands: tuple[bool, ...] = ()
    home: np.ndarray[tuple[int, ...], np.dtype[np.bool_]] | None = None

    @property
    def places_m(self) -> FloatArray:
        """x and y of the spots, shape (n_spot, 2). [m]"""
        return np.array([(s.x_m, s.y_m) for s in self.spots], dtype=np.float64).reshape(-1, 2)

    @property
    def has_rules(self) -> bool:
        """Whether any two of these corals must keep apart."""
        return bool(np.any(self.apart_m > 0))

    @property
    def lost(self) -> FloatArray:
        """1 for a coral that has a place today and would have none, in the last column; else 0."""
        none = np.zeros((len(self.corals), len(self.spots)))
        return np.column_stack((none, np.array(self.stands or np.zeros(len(self.corals)), dtype=np.float64)))

    @property
    def stages(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Costs in the order in which they count after lost places, without a place in the last column."""
        penalty = _with_unplaced(self.penalty, UNPLACED_PENALTY / PENALTY_STEP)
        return penalty, _with_unplaced(self.moves, 0.0), _with_unplaced(self.moved, 0.0)

    def key(self) -> FloatArray:
        """One whole number a coral and spot (infinite where forbidden), whose sums compare stage by stage.

        The last column is "no place": for a coral that has one today it costs more than all else can. Steps
        of the later stages grow where the numbers would not be exact.
        """
        first, *later = self.stages
        allowed = np.column_stack((self.allowed, np.ones(len(self.corals), dtype=bool)))
        steps = [1.0, 1.0]
        while True:
            second, third = (np.round(c / s) for c, s in zip(later, steps, strict=True))
            above_third = 1.0 + _most(third, allowed)
            above_second = 1.0 + _most(second, allowed)
            above_all = (1 + _most(first, allowed)) * above_second * above_third
            if above_all < LARGEST_EXACT:
                break
            steps = [steps[0] * 1.5, steps[1] * 2]
        key = (first * above_second + second) * above_third + third + self.lost * above_all
        return np.where(allowed, key, np.inf)

    def cost(self, choice: Sequence[int]) -> PlacementCost:
        """Sums over corals of a choice of spots, -1 for none."""
        taken = [(i, p) for i, p in enumerate(choice) if p >= 0]
        rows, columns = [i for i, _ in taken], [p for _, p in taken]
        unplaced = len(self.corals) - len(taken)
        return PlacementCost(
            penalty=float(self.penalty[rows, columns].sum()) * PENALTY_STEP + unplaced * UNPLACED_PENALTY,
            moves=int(self.moves[rows, columns].sum()),
            moved_m=float(self.moved[rows, columns].sum()) * MOVED_STEP_M,
            unplaced=unplaced,
        )

    def best_of(self, coral: int) -> tuple[Choice, ...]:
        """The spots where one coral's penalty is least, were it alone."""
        order = np.lexsort((self.moved[coral], self.penalty[coral]))
        found: dict[str, Choice] = {}
        for p in order[self.allowed[coral][order]].tolist():
            penalty = float(self.penalty[coral, p]) * PENALTY_STEP
            found.setdefault(self.spots[p].name, Choice(self.spots[p], float(self.dli[coral, p]), penalty))
            if len(found) == CHOICES:
                break
        return tuple(found.values())


def _with_unplaced(cost: FloatArray, unplaced: float) -> FloatArray:
    return np.column_stack((cost, np.full(len(cost), unplaced)))


def _most(cost: FloatArray, allowed: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]) -> float:
    return float(np.where(allowed, cost, 0.0).max(axis=1, initial=0.0).sum())


def place_task(
    corals: Sequence[Coral],
    own_sky: Sequence[float],
    today: Sequence[Spot | None],
    fixed: Sequence[tuple[Coral, Spot]],
    spots: Sequence[Spot],
    wishes: PlaceWishes,
    light: Light,
    penalty: Penalty,
    curve: DayCurve,
) -> PlaceTask:
    """Doses and costs of every coral at every spot.

    Parameters
    ----------
    corals, own_sky, today : sequence, n_coral long
        Those that may move; their own open sky, and where they stand, if anywhere.
    fixed : sequence of (Coral, Spot)
        Pinned corals; the others keep their distance from them.
    spots : sequence of Spot
        With room left.
    wishes : PlaceWishes
    light : Light
        [umol m-2 s-1]
    penalty : Penalty
    curve : DayCurve

    Source
    ------
    Costs: penalty, whether it moves, and distance from today's place. Our choice.
    """
    columns = tuple(s for s in spots for _ in range(s.room))
    dli = _doses(corals, own_sky, columns, light, curve)
    at = np.array([(s.x_m, s.y_m) for s in columns]).reshape(-1, 2)
    depth = np.array([s.depth_m for s in columns])
    heights = np.array([c.height_m for c in corals])
    moved = np.zeros_like(dli)
    for i, spot in enumerate(today):
        if spot is not None:  # straight up or down is a move too
            level = np.hypot(at[:, 0] - spot.x_m, at[:, 1] - spot.y_m)
            moved[i] = np.hypot(level, spot.depth_m - depth)
    allowed = depth[None, :] >= heights[:, None] - 1e-9
    forbidden = {(coral, site) for coral, site in wishes.not_at}
    for i, coral in enumerate(corals):
        if coral.on is not None:
            fits = np.array([s.on in (None, coral.on) for s in columns], dtype=bool)
            allowed[i] &= fits | np.array([_same(s, today[i]) for s in columns], dtype=bool)
        if any(name == coral.name for name, _ in forbidden):
            allowed[i] &= np.array([(coral.name, s.name) not in forbidden for s in columns], dtype=bool)
        for other, spot in fixed:
            least = wishes.least_apart_m(coral, other)
            if least > 0:
                allowed[i] &= np.hypot(at[:, 0] - spot.x_m, at[:, 1] - spot.y_m) >= least - 1e-9
    return PlaceTask(
        corals=tuple(corals),
        spots=columns,
        dli=dli,
        penalty=np.round(penalty([c.name for c in corals], dli) / PENALTY_STEP),
        moves=(moved > 1e-9).astype(np.float64),
        moved=np.round(moved / MOVED_STEP_M),
        allowed=allowed,
        apart_m=_apart(corals, wishes),
        most_moves=wishes.moves,
        stands=tuple(spot is not None for spot in today),
        home=None if wishes.apart_m or wishes.not_beside else _home(corals, today, columns, forbidden),
    )


def _home(
    corals: Sequence[Coral],
    today: Sequence[Spot | None],
    spots: Sequence[Spot],
    forbidden: Collection[tuple[str, str]],
) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
    """Where every coral stands today, unless it must not stand there any more."""
    rows = [
        [_same(spot, stood) and (coral.name, spot.name) not in forbidden for spot in spots]
        for coral, stood in zip(corals, today, strict=True)
    ]
    return np.array(rows, dtype=bool).reshape(len(corals), len(spots))


def _same(spot: Spot, stood: Spot | None) -> bool:
    """Whether a spot, perhaps with less room left, is where a coral stands."""
    return stood is not None and (spot.name, spot.site) == (stood.name, stood.site)


def _doses(
    corals: Sequence[Coral], own_sky: Sequence[float], spots: Sequence[Spot], light: Light, curve: DayCurve
) -> FloatArray:
    """Dose of every coral at its top at every spot; the field is evaluated once a height and face."""
    places = np.array([(s.x_m, s.y_m, s.depth_m) for s in spots]).reshape(-1, 3)
    sky = np.array([s.open_sky for s in spots])
    alike: dict[tuple[float, Face | None], FloatArray] = {}
    for height, face in dict.fromkeys((c.height_m, c.face) for c in corals):
        looks = looks_at(spots, face)
        tops = places - np.array([0.0, 0.0, height])
        fits = tops[:, 2] >= -1e-9
        tops[:, 2] = np.maximum(tops[:, 2], 0.0)
        dose = np.zeros(len(spots))
        inside = np.flatnonzero(fits)
        for first in range(0, inside.size, POINTS_A_BLOCK):
            part = inside[first : first + POINTS_A_BLOCK]
            look = None if looks is None else looks[part]
            dose[part] = daily_light_integral(light(tops[part], look), curve)
        alike[height, face] = dose * sky
    rows = [alike[c.height_m, c.face] * own for c, own in zip(corals, own_sky, strict=True)]
    return np.array(rows).reshape(len(corals), len(spots))


def _apart(corals: Sequence[Coral], wishes: PlaceWishes) -> FloatArray:
    reach = np.maximum(np.array([c.keep_apart_m for c in corals], dtype=np.float64), wishes.apart_m)
    apart: FloatArray = np.maximum(reach[:, None], reach[None, :]) if corals else np.zeros((0, 0))
    index = {c.name: i for i, c in enumerate(corals)}
    for a, b in wishes.not_beside:
        if a in index and b in index:
            i, j = index[a], index[b]
            apart[i, j] = apart[j, i] = max(apart[i, j], wishes.beside_m)
    np.fill_diagonal(apart, 0.0)
    return apart


def unknown_name(what: str, name: str, known: list[str], path: str) -> Problem:
    """The problem of a name that the setup lacks.

    Parameters
    ----------
    what : str
        "coral" or "site".
    name : str
    known : list of str
    path : str
        Of the setup.
    """
    shown = ", ".join(known[:12]) + (f" and {len(known) - 12} more" if len(known) > 12 else "")
    hint = did_you_mean(name, known)
    return Problem(f"the setup has no {what} {name!r}", shown or "none", hint, Place(path))


def check_wishes(setup: Setup, wishes: PlaceWishes) -> dict[str, str]:
    """Every pinned coral and its site, from the setup and from the wishes.

    Raises
    ------
    SetupError
        If there are no corals, a name is unknown, or pins contradict one another; with every problem.

    Source
    ------
    Our choice.
    """
    if not setup.corals and not setup.unplaced:
        raise SetupError(
            Problem(
                "the setup has no corals, so there is nothing to place",
                cure="add a [[coral]] with its group and site",
                place=Place(setup.path),
            )
        )
    problems = _unknown(setup, wishes)
    corals = len(setup.corals) + len(setup.unplaced)
    if (wishes.moves or 0) > max(corals, FEW_MOVES):
        found = f"{wishes.moves} corals to move are more than the setup has"
        problems.append(Problem(found, f"up to {corals}", "ask for fewer --moves, or for --all"))
    pins = {c.name: c.site for c in setup.corals if c.pinned}
    for coral, site in wishes.pins.items():
        if pins.get(coral, site) != site:
            problems.append(
                Problem(
                    f"{coral!r} is pinned twice: at {pins[coral]!r} by pinned = true in the setup, and at "
                    f"{site!r} by --pin",
                    "one place for a pinned coral",
                    "take out one of the two",
                )
            )
        pins.setdefault(coral, site)
    if not problems:
        problems = _contradictions(setup, wishes, pins)
    if problems:
        raise SetupError(*problems)
    return pins


def _unknown(setup: Setup, wishes: PlaceWishes) -> list[Problem]:
    corals = [c.name for c in (*setup.corals, *setup.unplaced)]
    sites = [s.name for s in setup.sites]
    named = [
        *wishes.corals,
        *wishes.pins,
        *(c for c, _ in wishes.not_at),
        *(c for pair in wishes.not_beside for c in pair),
    ]
    at = [*wishes.pins.values(), *(s for _, s in wishes.not_at)]
    found = [
        unknown_name("coral", n, corals, setup.path) for n in dict.fromkeys(named) if n not in set(corals)
    ]
    found += [unknown_name("site", n, sites, setup.path) for n in dict.fromkeys(at) if n not in set(sites)]
    found += [
        Problem(f"{a!r} is to keep apart from itself", cure="name two corals")
        for a, b in wishes.not_beside
        if a == b
    ]
    return found


def _contradictions(setup: Setup, wishes: PlaceWishes, pins: dict[str, str]) -> list[Problem]:
    """Pins that cannot hold together, or not at all."""
    corals = {c.name: c for c in (*setup.corals, *setup.unplaced)}
    sites = {s.name: s for s in setup.sites}
    stood = Counter(c.site for c in setup.corals)
    found = [
        Problem(
            f"{name!r} is pinned, so no place is looked for", cure="take out pinned, or name another coral"
        )
        for name in wishes.corals
        if name in pins and name not in wishes.pins
    ]
    for site, count in Counter(pins.values()).items():
        if count > max(1, stood[site]):
            names = " and ".join(repr(c) for c, s in pins.items() if s == site)
            found.append(
                Problem(f"{names} are pinned to one place, {site!r}", "one coral a place", "free one of them")
            )
    for name, site in pins.items():
        if (name, site) in wishes.not_at:
            found.append(Problem(f"{name!r} is pinned at {site!r} and must not stand there", cure="drop one"))
        if corals[name].height_m > sites[site].depth_m + 1e-9:
            found.append(_too_tall(corals[name], sites[site]))
    pinned = list(pins)
    for i, name in enumerate(pinned):
        for other in pinned[i + 1 :]:
            found += _too_near(corals[name], corals[other], sites[pins[name]], sites[pins[other]], wishes)
    return found


def _too_tall(coral: Coral, site: Site) -> Problem:
    return Problem(
        f"{coral.name!r} is pinned at {site.name!r} and would leave the water: it is "
        f"{100 * coral.height_m:g} cm tall",
        f"up to {100 * site.depth_m:g} cm, the depth there",
    )


def _too_near(one: Coral, other: Coral, here: Site, there: Site, wishes: PlaceWishes) -> list[Problem]:
    least = wishes.least_apart_m(one, other)
    distance = math.dist((here.x_m, here.y_m), (there.x_m, there.y_m))
    if distance >= least - 1e-9:
        return []
    return [
        Problem(
            f"{one.name!r} and {other.name!r} are pinned {100 * distance:.1f} cm apart, at {here.name!r} and "
            f"{there.name!r}",
            f"at least {100 * least:g} cm, to keep them apart",
            "free one of them, or lower its keep_apart",
        )
    ]
