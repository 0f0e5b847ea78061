"""Which readings to make: a greedy D-optimal choice over sites, spots in the air and what is on.

The unknowns, their priors and the model of a reading are those of `calibrate`: factors on each fixture and
channel, beams, heights, the open sky of shaded sites, the errors that all readings of the meter share. A
reading is worth the drop of ln det of the covariance of all but the meter's errors, and besides the drop of
ln sd of the daily dose of every coral, by how open its verdict is. What a dose keeps whatever is read (where
exactly the coral stands, the model, the driver at mid level) is part of what is promised.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from lightdose.errors import Place, Problem, ReadingsError
from lightdose.fit.calibration_problem import DIMMING_SD, CalibrationRequest, CalibrationUnknowns
from lightdose.fit.explanations import solve
from lightdose.fit.gain_problem import model_ln
from lightdose.fit.observations import (
    LN_LARGEST,
    MODEL_FRACTION,
    Observations,
    position_spread,
    scaled_fixture,
    source_photons,
)
from lightdose.model.fixture import CosineLobe, Fixture
from lightdose.model.plans import LevelSet, Narrowing, PlannedReading, Spot, Survey
from lightdose.model.record import FloatArray, dataclass
from lightdose.model.results import Verdict
from lightdose.model.setup import Receiver, Setup
from lightdose.model.spectrum import Meter, Reading, ReferenceTables, SpectralDistribution
from lightdose.physics.day_curve import day_curve, full_output_hours, output_at
from lightdose.physics.dimming_error import tent_hours
from lightdose.physics.emission import channel_emission
from lightdose.physics.meters import immersion_factor, sensor_row
from lightdose.quantities import HOURS_PER_DAY, Z_95

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

    Returns
    -------
    array, shape (n, 3). [m]
    """
    return np.array([(s.x_m, s.y_m, s.depth_m) for s in spots], dtype=np.float64).reshape(-1, 3)


FEWEST, MOST = 6, 10
LEAST_WORTH = 0.25
"""Beyond the fewest, a reading must be worth so many nats: our choice."""

LEAST_SHOWN: Mapping[str, float] = {"umol": 3.0, "lux": 50.0}
"""Readings expected below this are not planned, the last digit is too coarse: our choice."""

ASIDE_M = 0.05
"""A spot in the air farther from the middle of a lamp tells of its beam: our choice of words."""

TRIALS = 5
"""Tanks that are simulated to tell what `calibrate` will state: our choice; the middle one is promised."""

BESIDE_CORAL = 0.8
"""What a reading is worth beside a coral, of what it is worth at a free place: our choice, since the sensor
cannot stand where the coral does."""

OPEN_SHARE = 2 / 3
"""A verdict is open when no state has this probability: our choice, as in `dose`."""

UNTOLD = Meter("", "umol", "ideal", "A", "unknown", 0.10)
"""A meter of which nothing is known: our choice, as for readings without a meter."""


def plan_survey(
    setup: Setup,
    meter: Meter | None,
    verdicts: Sequence[Verdict] | None,
    tables: ReferenceTables,
    sources: Mapping[str, SpectralDistribution],
    *,
    count: int | None = None,
    version: str = "",
) -> Survey:
    """The readings that narrow most.

    Parameters
    ----------
    setup : without its calibration, as `calibrate` starts
    meter : with which the readings will be made; None where the setup describes none
    verdicts : with their certainty; None where the light of the setup is not known at all
    tables : ReferenceTables
    sources : calibration light by name, all but "A"
    count : how many readings; by default 6 to 10 by their worth

    Raises
    ------
    ReadingsError
        If no light reaches any place.

    Source
    ------
    D-optimal design, greedy (Wynn 1970, Ann. Math. Statist. 41:1655, from memory).
    """
    plan = _Plan(setup, meter or UNTOLD, verdicts, tables, sources)
    return plan.survey(count, described=meter is not None, version=version)


class _Plan:
    """Every reading that could be made, as a linear problem around the priors."""

    def __init__(
        self,
        setup: Setup,
        meter: Meter,
        verdicts: Sequence[Verdict] | None,
        tables: ReferenceTables,
        sources: Mapping[str, SpectralDistribution],
    ) -> None:
        self.setup, self.meter, self.tables = setup, meter, tables
        if not setup.lit_fixtures:
            raise ReadingsError("there is no enabled fixture: nothing gives light that could be read")
        bare = self._bare(sources)
        self.pool = candidates(setup, bare.nominal_umol_s)
        self.openness = _openness(setup, verdicts)
        observed, self.pairs = self._observations(bare)
        self.problem = CalibrationUnknowns(setup, observed, tables, CalibrationRequest(date="2000-01-01"))
        shape = self.problem.problem_with(np.zeros((len(observed.readings), 0)), [])
        ln, slopes, _ = model_ln(shape, shape.mean)
        count = len(self.pairs)
        self.ln_expected = ln[:count] - np.log(observed.immersion[:count])
        self.rows = slopes[:count] / shape.sd[:count, None]
        self.prior = shape.prior
        self.sd = shape.sd[:count]
        at = shape.layout.slices()
        self.of_meter = np.r_[at.common, at.tilt]
        self.doses = slopes[count:].copy()
        self.doses[:, self.of_meter] = 0.0
        of_corals = [r.site for r in observed.readings[count:]]
        self.kept, dimming = self._kept(bare, observed.points_m()[count:], of_corals)
        for column, driver in enumerate(self.problem.drivers, at.tilt.start + self.problem.meter_tilts):
            self.doses[:, column] = dimming[:, driver]
        dimming[:, self.problem.drivers] = 0.0
        self.kept += (dimming * dimming).sum(axis=1)
        self.shape = shape
        stocked = {c.site for c in setup.corals}
        self.ease = np.array(
            [BESIDE_CORAL if self.pool.spots[s].site in stocked else 1.0 for s, _ in self.pairs]
        )

    # ---- what could be read -----------------------------------------------------------------------------

    def _bare(self, sources: Mapping[str, SpectralDistribution]) -> Observations:
        """Fixtures and sensor without any reading."""
        fixtures = tuple(scaled_fixture(f) for f in self.setup.lit_fixtures)
        emission = np.array([channel_emission(c, self.tables) for f in fixtures for c in f.type.channels])
        row = sensor_row(self.meter, source_photons(self.meter, sources), self.tables)
        empty = np.zeros(0)
        return Observations(
            readings=(),
            fixtures=fixtures,
            emission=emission,
            nominal_umol_s=emission.sum(axis=1),
            output=np.zeros((0, len(emission))),
            ln_reading=empty,
            position_sd=empty,
            meters=(self.meter,),
            meter_of=(),
            rows=(row,),
            immersion=empty,
            immersion_sd=empty,
        )

    def _observations(self, bare: Observations) -> tuple[Observations, list[tuple[int, int]]]:
        """All readings that would show enough, and after them each coral's day as one more."""
        pool = self.pool
        points = spot_points_m(pool.spots)
        sites = [s.site for s in pool.spots]
        open_shown, place_sd = position_spread(
            self.setup, bare, points, pool.output, self.tables, sites=sites
        )
        sky = self._skies(pool.spots)
        wet = np.array([not s.in_air for s in pool.spots])
        factor, spread = immersion_factor(self.meter) if wet.any() else (1.0, 0.0)
        shown = open_shown * sky[:, None] / np.where(wet, factor, 1.0)[:, None]
        unscaled = bare.nominal_umol_s.size and all(
            c.flux is None for f in self.setup.lit_fixtures for c in f.type.channels
        )
        least = 0.0 if unscaled else LEAST_SHOWN[self.meter.reads]
        pairs = [(s, k) for s, k in pool.pairs if shown[s, k] > least]
        if not pairs:
            raise ReadingsError(
                Problem(
                    "no light worth reading reaches any place of this setup",
                    cure="look at fixtures, schedules and open_sky: `lightdose dose` shows where light falls",
                )
            )
        spots, sets = (np.array(p) for p in zip(*pairs, strict=True))
        hours = full_output_hours(day_curve(bare.fixtures)) / HOURS_PER_DAY
        if not hours.any():  # a dark programme: no dose to narrow
            self.openness = {}
        corals = self._coral_readings()
        readings = [self._reading(pool.spots[s], pool.sets[k], shown[s, k]) for s, k in pairs]
        n_coral = len(corals)
        observed = replace(
            bare,
            readings=(*readings, *corals),
            output=np.concatenate([pool.output[sets], np.tile(hours, (n_coral, 1))]),
            ln_reading=np.zeros(len(pairs) + n_coral),
            position_sd=np.concatenate([place_sd[spots, sets], np.zeros(n_coral)]),
            meter_of=(0,) * (len(pairs) + n_coral),
            immersion=np.concatenate([np.where(wet, factor, 1.0)[spots], np.ones(n_coral)]),
            immersion_sd=np.concatenate([np.where(wet, spread, 0.0)[spots], np.zeros(n_coral)]),
        )
        return observed, pairs

    def _kept(
        self, bare: Observations, points_m: FloatArray, sites: Sequence[str | None]
    ) -> tuple[FloatArray, FloatArray]:
        """What no reading of the lamps takes away of each coral's ln dose: its variance by place and model,
        shape (n_coral,), and a standard error of each fixture's dimming, (n_coral, n_fixture)."""
        if not len(points_m):
            return np.zeros(0), np.zeros((0, len(bare.fixtures)))
        known = self.setup.uncertainty
        of_fixture = np.repeat(
            np.eye(len(bare.fixtures)), [len(f.type.channels) for f in bare.fixtures], axis=1
        )
        hours = full_output_hours(day_curve(bare.fixtures))
        output = np.concatenate((hours[None], of_fixture * tent_hours(bare.fixtures)))
        light, place = position_spread(self.setup, bare, points_m, output, self.tables, sites=sites)
        dimming = known.get("dimming_points", 100 * DIMMING_SD) / 100
        off = dimming * light[:, 1:] / np.maximum(light[:, :1], 1e-12)  # each fixture dims in its own way
        model = known.get("model_fraction", MODEL_FRACTION)
        return np.asarray(place[:, 0] ** 2 + model**2), off

    def _skies(self, spots: Sequence[Spot]) -> FloatArray:
        skies = {s.name: s.open_sky for s in self.setup.sites}
        return np.array([1.0 if s.site is None else skies[s.site] for s in spots])

    def _reading(self, spot: Spot, on: LevelSet, shown: float) -> Reading:
        at = (spot.site, spot.x_m, spot.y_m, spot.depth_m)
        return Reading(Place(""), max(float(shown), 1.0), self.meter.reads, *at, on.time_h, on.levels)

    def _coral_readings(self) -> list[Reading]:
        """The place of each coral that counts, as if its day were one reading."""
        receivers = {r.coral: r for r in self.setup.receivers if r.coral is not None}
        sites = {r.site: r for r in self.setup.receivers if r.coral is None}
        places: list[Receiver] = [
            receivers.get(c.name, sites[c.site]) for c in self.setup.corals if c.name in self.openness
        ]
        return [Reading(Place(""), 1e9, "umol", r.site, r.x_m, r.y_m, r.depth_m, 0.0) for r in places]

    # ---- which are chosen -------------------------------------------------------------------------------

    def survey(self, count: int | None, *, described: bool, version: str) -> Survey:
        """The plan."""
        chosen = self._choose(count)
        after = self._promised(chosen)
        ranked = [self._planned(n, rank) for rank, n in enumerate(chosen, start=1)]
        order = sorted(ranked, key=self._effort)
        numbered = tuple(replace(r, number=n) for n, r in enumerate(order, start=1))
        return Survey(
            setup=self.setup,
            meter=self.meter,
            described=described,
            readings=numbered,
            open_corals=tuple(c for c, weight in self.openness.items() if weight >= 1),
            gains=self._gains(after),
            doses=self._doses(after),
            unread=self._unread(chosen),
            version=version,
        )

    def _promised(self, chosen: Sequence[int]) -> FloatArray:
        """Covariances that `calibrate` would state, (trial, p, p), for readings of tanks as they may be.

        Source
        ------
        Simulation: unknowns from their priors, readings with the errors that are counted on; seeded.
        """
        problem, own = self.shape.among(chosen), self.shape.parameters_of(chosen)
        value, vector = np.linalg.eigh(problem.prior)
        root = vector * np.sqrt(np.maximum(value, 0.0))
        random, unit, found = np.random.default_rng(1), np.eye(len(value)), []
        for _ in range(TRIALS):
            truth = problem.mean + root @ random.standard_normal(len(value))
            shown = model_ln(problem, truth)[0] + problem.sd * random.standard_normal(len(chosen))
            told = self.prior.copy()
            told[np.ix_(own, own)] = solve(problem, shown).spread(unit)
            found.append(told)
        return np.array(found)

    def _choose(self, count: int | None) -> list[int]:
        """Indices of the chosen readings, the most telling first."""
        covariance = self.prior.copy()
        weight = np.array(list(self.openness.values()))
        fewest, most = (FEWEST, MOST) if count is None else (count, count)
        free = np.ones(len(self.pairs), dtype=bool)
        chosen: list[int] = []
        while len(chosen) < min(most, len(self.pairs)):
            worth = self._worth(covariance, weight)
            worth[~free] = -np.inf
            # Ties, such as between twin sites, go to the first: the plan is the same each time.
            best = int(np.argmax(np.round(worth * self.ease, 9)))
            if len(chosen) >= fewest and worth[best] < LEAST_WORTH:
                break
            chosen.append(best)
            free[best] = False
            covariance = _updated(covariance, self.rows[best])
        return chosen

    def _worth(self, covariance: FloatArray, weight: FloatArray) -> FloatArray:
        """Nats that each reading is worth, shape (n,)."""
        spread = covariance @ self.rows.T
        seen = 1.0 + np.einsum("np,pn->n", self.rows, spread)
        own = np.diagonal(self.prior) > 0
        own[self.of_meter] = False
        inside = spread[own]
        solved = np.linalg.solve(covariance[np.ix_(own, own)], inside)
        explained = np.clip(np.einsum("pn,pn->n", inside, solved) / seen, 0.0, 1 - 1e-12)
        worth = -0.5 * np.log1p(-explained)
        if len(self.doses):
            variance = _variances(self.doses, covariance)
            share = (self.doses @ spread) ** 2 / seen / variance[:, None]
            worth = worth - 0.5 * weight @ np.log1p(-np.clip(share, 0.0, 1 - 1e-12))
        return np.asarray(worth)

    # ---- in words ---------------------------------------------------------------------------------------

    def _planned(self, index: int, rank: int) -> PlannedReading:
        spot, on = (self.pool.spots[self.pairs[index][0]], self.pool.sets[self.pairs[index][1]])
        row = self.rows[index] * self.sd[index]
        spread = math.sqrt(float(row @ self.prior @ row) + self.sd[index] ** 2)
        middle = float(self.ln_expected[index])
        low, high = (math.exp(min(middle + z * spread, LN_LARGEST)) for z in (-Z_95, Z_95))
        return PlannedReading(0, rank, spot, on, (low, high), self._tells(index))

    def _tells(self, index: int) -> str:
        """What a reading is about: the channel alone, the beam, a shaded site, or the whole."""
        spot, on = (self.pool.spots[self.pairs[index][0]], self.pool.sets[self.pairs[index][1]])
        if on.levels is not None:
            ((fixture, channel),) = on.levels
            what = self.channel_words(fixture, channel)
            own = next(f for f in self.setup.lit_fixtures if f.name == fixture)
            aside = math.dist((spot.x_m, spot.y_m), (own.x_m, own.y_m)) > ASIDE_M
            return f"beam of {fixture}, by {what}" if spot.in_air and aside else f"output of {what}"
        if spot.in_air:
            return "beam and output of the whole" if " beside " in spot.name else "output of the whole"
        shaded = spot.site in self.problem.sky_sites
        return "the day's light and open sky here" if shaded else "the day's light here"

    def channel_words(self, fixture: str, channel: str) -> str:
        """A channel's name, with its fixture's where there are several."""
        return channel if len(self.setup.lit_fixtures) == 1 else f"{fixture}/{channel}"

    @staticmethod
    def _effort(reading: PlannedReading) -> tuple[bool, str, bool, float, float]:
        """Dry before wet; then what is on, then place by place, so that little is moved and switched."""
        on = "" if reading.on.levels is None else "/".join(next(iter(reading.on.levels)))
        spot = reading.spot
        return (not spot.in_air, on, spot.site is None, spot.x_m, spot.y_m)

    def _gains(self, after: FloatArray) -> tuple[Narrowing, ...]:
        """How well the output of each channel in use is known before and after."""
        layout = self.shape.layout
        at = layout.slices()
        used = self.pool.output.max(axis=0) > 0
        rows = []
        for n, key in enumerate(self.problem.keys):
            if used[n]:
                row = np.zeros(layout.size)
                row[at.fixture.start + int(self.problem.fixture_of[n])] = row[at.channel.start + n] = 1.0
                rows.append((self.channel_words(*key), row))
        return self._narrowed([what for what, _ in rows], np.array([row for _, row in rows]), after)

    def _doses(self, after: FloatArray) -> tuple[Narrowing, ...]:
        return self._narrowed(list(self.openness), self.doses, after, self.kept)

    def _narrowed(
        self, whats: Sequence[str], rows: FloatArray, after: FloatArray, kept: FloatArray | float = 0.0
    ) -> tuple[Narrowing, ...]:
        """Factors of 95 % before and after, of what rows (n, p) of the parameters make up."""
        if not whats:
            return ()
        told = np.median([_variances(rows, one) for one in after], axis=0)
        factors = [
            np.exp(np.minimum(Z_95 * np.sqrt(variance + kept), LN_LARGEST)).tolist()
            for variance in (_variances(rows, self.prior), told)
        ]
        return tuple(map(Narrowing, whats, *factors))

    def _unread(self, chosen: Sequence[int]) -> tuple[str, ...]:
        """Channels of the programme that no reading sees alone."""
        alone = {key for n in chosen if (levels := self.pool.sets[self.pairs[n][1]].levels) for key in levels}
        used = self.pool.output.max(axis=0) > 0
        keys = [key for key, on in zip(self.problem.keys, used, strict=True) if on and key not in alone]
        return tuple(self.channel_words(*key) for key in keys)


def _variances(rows: FloatArray, covariance: FloatArray) -> FloatArray:
    """Of what rows (n, p) make of parameters with a covariance, shape (n,)."""
    return np.asarray(np.einsum("np,np->n", rows @ covariance, rows))


def _updated(covariance: FloatArray, row: FloatArray) -> FloatArray:
    """The covariance after one more reading."""
    spread = covariance @ row
    narrowed = covariance - np.outer(spread, spread) / (1.0 + float(row @ spread))
    return np.asarray(0.5 * (narrowed + narrowed.T))


def _openness(setup: Setup, verdicts: Sequence[Verdict] | None) -> dict[str, float]:
    """How open each coral's verdict is: 1 where no state has a probability of 2/3, 0 where one is certain."""
    judged = [c.name for c in setup.corals if setup.groups[c.group].band_dli is not None or c.band_dli]
    if verdicts is None:
        return dict.fromkeys(judged, 1.0)
    chance = {v.coral: max(v.certainty.probability.values()) for v in verdicts if v.certainty is not None}
    left = 1 - OPEN_SHARE
    return {name: min(1.0, (1 - chance.get(name, OPEN_SHARE)) / left) for name in judged}
