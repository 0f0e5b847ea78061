"""Readings that could be made: sites and spots in the air, single channels and the whole programme."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from lightdose.model.arrays import FloatArray
from lightdose.model.fixture import CosineLobe, Fixture
from lightdose.model.record import dataclass
from lightdose.model.setup import Setup
from lightdose.model.survey import LevelSet, Spot
from lightdose.physics.day_curve import day_curve, full_output_hours, output_at

SITES_AT_MOST = 120
SITES_FOR_SINGLES = 30
AIR_FIXTURES_AT_MOST = 8
AIR_HEIGHT_M = 0.05
"""Height of the sensor above the water for readings in the air, or half the lamp's height where that is less:
our choice, clear of splashes."""

ASIDE_OF_HALF_WIDTH = 0.8
"""Spots beside a lamp lie at this share of the half width of its beam: our choice, where a width shows."""

PLATEAU_SHARE = 0.999
LEAST_SHARE = 0.03
"""Channels with a smaller share of the day's photons are not read alone: our choice, they matter little."""


@dataclass(frozen=True, eq=False)
class Candidates:
    """Spots and level sets, and which of their pairs are thought of.

    Attributes
    ----------
    output : array, shape (n_set, n_channel); 0-1
    pairs : (spot, set)
    """

    spots: tuple[Spot, ...]
    sets: tuple[LevelSet, ...]
    output: FloatArray
    pairs: tuple[tuple[int, int], ...]


def candidates(setup: Setup, nominal_umol_s: FloatArray) -> Candidates:
    """Every reading that is thought of.

    Parameters
    ----------
    setup : Setup
    nominal_umol_s : array, shape (n_channel,); photons of the lit channels at full output

    Returns
    -------
    Candidates

    Source
    ------
    Which readings a keeper can make in an hour: our choice.
    """
    sites = _thinned(setup, SITES_AT_MOST)
    spots = [*sites, *_air_spots(setup)]
    sets, output = _level_sets(setup, nominal_umol_s)
    single = set(_evenly(len(sites), SITES_FOR_SINGLES)) | set(range(len(sites), len(spots)))
    pairs = [
        (spot, which)
        for spot in range(len(spots))
        for which, level_set in enumerate(sets)
        if level_set.time_h is not None or spot in single
    ]
    return Candidates(tuple(spots), tuple(sets), output, tuple(pairs))


def _thinned(setup: Setup, most: int) -> list[Spot]:
    """Sites under water that have any sky, those with corals first, evenly thinned to a number."""
    stocked = {c.site for c in setup.corals}
    open_ = [s for s in setup.sites if s.open_sky > 0 and s.depth_m >= 0]
    ranked = sorted(open_, key=lambda s: s.name not in stocked)
    kept = {ranked[i].name for i in _evenly(len(ranked), most)}
    return [Spot(s.name, s.x_m, s.y_m, s.depth_m, s.name) for s in open_ if s.name in kept]


def _evenly(count: int, most: int) -> list[int]:
    if count <= most:
        return list(range(count))
    return sorted({round(i * (count - 1) / (most - 1)) for i in range(most)})


def _air_spots(setup: Setup) -> list[Spot]:
    """Under each lamp and beside it, above the water and within the opening."""
    spots = []
    for fixture in setup.lit_fixtures[:AIR_FIXTURES_AT_MOST]:
        height = min(AIR_HEIGHT_M, 0.5 * fixture.height_m)
        place = _inside(setup, fixture.x_m, fixture.y_m)
        spots.append(Spot(f"in the air under {fixture.name}", *place, -height))
        aside = (fixture.height_m - height) * math.tan(ASIDE_OF_HALF_WIDTH * _half_width_rad(fixture))
        turn = math.radians(fixture.rotation_deg)
        across = (-math.sin(turn), math.cos(turn))
        for sign, word in ((-1, "before"), (1, "behind")):
            x, y = fixture.x_m + sign * aside * across[0], fixture.y_m + sign * aside * across[1]
            beside = _inside(setup, x, y)
            if math.dist(beside, place) > 0.03:
                name = f"in the air beside {fixture.name}, {_side(across, sign, word)}"
                spots.append(Spot(name, *beside, -height))
    return spots


def _side(across: tuple[float, float], sign: int, word: str) -> str:
    """Which way a spot beside a lamp lies, as seen from the front."""
    if abs(across[0]) > abs(across[1]):
        return "right of it" if sign * across[0] > 0 else "left of it"
    return f"{word} it" if across[1] > 0 else ("behind it" if sign < 0 else "before it")


def _inside(setup: Setup, x_m: float, y_m: float) -> tuple[float, float]:
    """A place within the opening, 3 cm off the panes, to the half centimetre: a spot one can find again."""
    tank = setup.tank
    return tuple(  # type: ignore[return-value]
        min(max(round(at / 0.005) * 0.005, 0.03), span - 0.03) if span > 0.06 else span / 2
        for at, span in ((x_m, tank.length_m), (y_m, tank.width_m))
    )


def _half_width_rad(fixture: Fixture) -> float:
    widths = [c.beam.fwhm_deg for c in fixture.type.channels if isinstance(c.beam, CosineLobe)]
    return math.radians(min(0.5 * float(np.median(widths)), 60.0)) if widths else math.radians(45.0)


def _level_sets(setup: Setup, nominal_umol_s: FloatArray) -> tuple[list[LevelSet], FloatArray]:
    """The programme at its plateau, then each channel that matters alone at 100 %; all if it is dark."""
    channels = [(f.name, c) for f in setup.lit_fixtures for c in f.type.channels]
    curve = day_curve(setup.lit_fixtures)
    time_h = plateau_h(setup, nominal_umol_s)
    sets, rows = [], []
    if time_h is not None:
        sets.append(LevelSet(time_h=time_h))
        rows.append(output_at(curve, time_h)[0])
    photons = full_output_hours(curve) * nominal_umol_s
    matters = photons >= LEAST_SHARE * photons.sum()
    singles = np.flatnonzero(matters).tolist()
    for n in singles:
        fixture, channel = channels[n]
        sets.append(LevelSet(levels={(fixture, channel.name): 1.0}))
        rows.append(np.eye(len(channels))[n])
    return sets, np.array(rows).reshape(len(rows), len(channels))


def plateau_h(setup: Setup, nominal_umol_s: FloatArray) -> float | None:
    """A time in the middle of the longest stretch at the programme's highest output, to the minute.

    Parameters
    ----------
    setup : Setup
    nominal_umol_s : array, shape (n_channel,)

    Returns
    -------
    float or None
        None where nothing runs. [h]

    Source
    ------
    Our choice: away from ramps, a clock that is some minutes off does no harm.
    """
    curve = day_curve(setup.lit_fixtures)
    start, end = curve.output_start @ nominal_umol_s, curve.output_end @ nominal_umol_s
    highest = max(float(start.max(initial=0.0)), float(end.max(initial=0.0)))
    if not highest > 0:
        return None
    flat = (np.minimum(start, end) >= PLATEAU_SHARE * highest).tolist()
    if not any(flat):
        at = (
            curve.edge_h[:-1][int(np.argmax(start))]
            if start.max() >= end.max()
            else curve.edge_h[1:][int(np.argmax(end))]
        )
        return float(round(at * 60) / 60 % 24)
    runs: list[tuple[float, float]] = []
    for on, left, right in zip(flat, curve.edge_h[:-1], curve.edge_h[1:], strict=True):
        if on and runs and runs[-1][1] == left:
            runs[-1] = (runs[-1][0], float(right))
        elif on:
            runs.append((float(left), float(right)))
    low, high = max(runs, key=lambda r: r[1] - r[0])
    return float(round(0.5 * (low + high) * 60) / 60 % 24)


def spot_points_m(spots: Sequence[Spot]) -> FloatArray:
    """x, y, depth of spots, shape (n, 3).

    Parameters
    ----------
    spots : sequence of Spot

    Returns
    -------
    array, shape (n, 3). [m]

    Source
    ------
    Bookkeeping.
    """
    return np.array([(s.x_m, s.y_m, s.depth_m) for s in spots], dtype=np.float64).reshape(-1, 3)
