"""The calibration problem: which numbers are unknown, what is known of them before, and the solved fit."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from lightdose.fit.explanations import solve
from lightdose.fit.gain_problem import Doubt, GainProblem, Layout
from lightdose.fit.observations import (
    BEAM_SD,
    MODEL_FRACTION,
    PLACEMENT_FRACTION,
    RESOLUTION,
    Observations,
    beam_sd,
    flux_priors,
    sensed,
    shown_at_least,
)
from lightdose.fit.response_shape import ResponseShape, response_shape
from lightdose.model.calibration import DoubtKind, EarlierCalibration
from lightdose.model.fixture import CosineLobe, Fixture
from lightdose.model.forms import OPEN_SKY_RANGES
from lightdose.model.record import FloatArray, dataclass
from lightdose.model.setup import Setup
from lightdose.model.spectrum import ReferenceTables
from lightdose.physics.meters import colour_error, scale_error
from lightdose.quantities import Z_95

OPEN_SKY_SD = 0.05
ASKED_SKY_LN_SD = 0.5
HEIGHT_SD_M, ASKED_HEIGHT_SD_M = 0.01, 0.03
DIMMING_SD = 0.02
YELLOWING_SD_PER_M = 0.5
TOGETHER_LN_SD = 0.2
"""Standard uncertainties of what is fitted besides gains and beams: our choice. Open sky that the setup
states below 1 is known to 0.05; what the keeper asks for is hardly known; dimming is that at mid level."""

WILD, WILD_LN_SD = 0.02, 0.8
SHADED, SHADED_LN, SHADED_LN_SD = 0.03, -0.9, 0.6
FIXTURE_OFF, FIXTURE_OFF_LN_SD = 0.02, 0.5
KIND_OFF, KIND_OFF_LN_SD = 0.03, 0.5
CHANNEL_OFF, CHANNEL_OFF_LN, CHANNEL_OFF_LN_SD = 0.01, -0.3, 0.6
DEAD, DEAD_LN, DEAD_LN_SD = 0.003, -5.0, 1.0
BEAM_OFF, BEAM_OFF_LN_SD = 0.1, 0.4
"""How often a reading is wild, a place more shaded than told, a lamp, all lamps of a kind, a channel or a
beam not as its file says, or a channel dead, and by how much then (natural logarithm): our choice."""

TOGETHER_LOAD = 0.5
"""Share of a fixture's full output from which its channels count as running together: our choice."""

LEAST_LOSS = 0.03
"""Smaller losses of running together are not spoken of: our choice."""


@dataclass(frozen=True)
class CalibrationRequest:
    """What the keeper asks for beyond the gains.

    Attributes
    ----------
    date : ISO 8601, of readings that do not say
    open_sky : sites whose open sky is fitted though the setup states 1
    yellowing, height : whether they are fitted
    earlier : the calibrations before, newest first
    """

    date: str
    open_sky: frozenset[str] = frozenset()
    yellowing: bool = False
    height: bool = False
    earlier: tuple[EarlierCalibration, ...] = ()


class CalibrationUnknowns:
    """What readings are to tell, and what is known of it before: shared by `calibrate` and `survey`.

    Attributes
    ----------
    keys : fixture and channel of each gain
    beam_fixtures, height_fixtures, drivers : indices of the fixtures whose beam, height or error of dimming
        is fitted
    sky_sites : names of the sites whose open sky is fitted
    """

    def __init__(
        self, setup: Setup, observed: Observations, tables: ReferenceTables, request: CalibrationRequest
    ) -> None:
        self.setup = setup
        self.observed = observed
        self.tables = tables
        self.request = request
        self.fixtures = observed.fixtures
        self.keys = [(f.name, c.name) for f in self.fixtures for c in f.type.channels]
        self.fixture_of = np.array([n for n, f in enumerate(self.fixtures) for _ in f.type.channels])
        lit = np.asarray(observed.output.any(axis=0))
        self.seen = [n for n in range(len(self.fixtures)) if lit[self.fixture_of == n].any()]
        self.beam_fixtures = [n for n in self.seen if cosine_widths_deg(self.fixtures[n])]
        self.height_fixtures = self.seen
        self.sky_sites = self._sky_sites()
        self.shape: ResponseShape | None = None
        self.meter_tilts = self.meter_commons = 0
        self.drivers: list[int] = []

    def _sky_sites(self) -> list[str]:
        used = {r.site for r in self.observed.readings}
        return [s.name for s in self.setup.sites if s.name in used and s.open_sky > 0]

    def problem_with(self, together: FloatArray, pairs: list[int]) -> GainProblem:
        """The problem, with what running together costs in the fixtures ``pairs``; columns (n, pair)."""
        observed, sites = self.observed, {s.name: s for s in self.setup.sites}
        names = [r.site for r in observed.readings]
        sky = np.array([[float(n == s) for s in self.sky_sites] for n in names]).reshape(len(names), -1)
        fixed = [
            0.0 if n is None or n in self.sky_sites else math.log(max(sites[n].open_sky, 1e-3)) for n in names
        ]
        common, common_sd = self._commons()
        tilt = self._tilts()
        resolution = np.array([RESOLUTION[r.unit] / shown_at_least(r) for r in observed.readings])
        of_place = np.where(self._in_pairs().any(axis=1), 0.0, self._place_sd())
        independent = np.sqrt(PLACEMENT_FRACTION**2 + of_place**2 + resolution**2)
        self.shape = self.shape or self._shape()
        mean, prior = self._priors(common_sd, len(tilt), len(pairs))
        problem = GainProblem(
            output=observed.output,
            sd=independent,
            fixture_of=self.fixture_of,
            shape=self.shape,
            fixed_ln=np.array(fixed),
            sky=sky,
            common=common,
            tilt=tilt,
            together=together,
            together_fixtures=tuple(pairs),
            yellowing=self.request.yellowing,
            mean=mean,
            prior=prior,
        )
        return replace(problem, doubts=tuple(self._doubts(problem.layout)))

    def _place_sd(self) -> FloatArray:
        """ln standard uncertainty of a place: the model there, and where the sensor was."""
        model = self.setup.uncertainty.get("model_fraction", MODEL_FRACTION)
        return np.asarray(np.hypot(model, self.observed.position_sd))

    def _in_pairs(self) -> FloatArray:
        """Which readings stand in which pair, (n, pair): both meters of one were at one place."""
        pairs = [r.pair for r in self.observed.readings]
        names = [name for name in dict.fromkeys(pairs) if name is not None and pairs.count(name) > 1]
        return np.array([[float(p == n) for n in names] for p in pairs]).reshape(len(pairs), len(names))

    def _tilts(self) -> FloatArray:
        """Errors that act on each channel in its own way, (t, n, c): of meters by colour, of drivers."""
        observed, own = self.observed, np.array(self.observed.meter_of)
        tilts: list[FloatArray] = []
        for n, (meter, row) in enumerate(zip(observed.meters, observed.rows, strict=True)):
            colour = colour_error(meter, row, observed.emission, self.tables)
            if np.any(colour):
                tilts.append((own == n)[:, None] * colour)
        self.meter_tilts = len(tilts)
        points = self.setup.uncertainty.get("dimming_points", 100 * DIMMING_SD) / 100
        output = observed.output
        middle = np.minimum(2 * output, 2 - 2 * output) / np.where(output > 0, output, 1.0)
        self.drivers = []
        for n in self.seen:
            part = points * middle * (self.fixture_of == n)
            if np.any(part > 1e-9):
                self.drivers.append(n)
                tilts.append(part)
        return np.array(tilts).reshape(-1, *output.shape)

    def _shape(self) -> ResponseShape:
        points, own = self.observed.points_m(), np.array(self.observed.meter_of)

        def field_at(fixtures: Sequence[Fixture], yellowing: float | None) -> FloatArray:
            seen = sensed(self.setup, self.observed, fixtures, points, self.tables, yellowing=yellowing)
            return np.asarray(np.take_along_axis(seen, own[:, None, None], axis=2)[..., 0])

        return response_shape(
            self.fixtures,
            field_at,
            with_beam=self.beam_fixtures,
            with_height=self.height_fixtures,
            with_yellowing=self.request.yellowing,
        )

    def _commons(self) -> tuple[FloatArray, list[float]]:
        """Errors that all readings of a meter share, all of them under water, and those of a pair."""
        observed = self.observed
        columns, sds = [], []
        own = np.array(observed.meter_of)
        for n, (meter, row) in enumerate(zip(observed.meters, observed.rows, strict=True)):
            columns.append((own == n).astype(float))
            sds.append(scale_error(meter, row))
            wet = (own == n) * observed.wet
            if wet.any() and (sd := float(observed.immersion_sd[wet > 0].max())) > 0:
                columns.append(wet)
                sds.append(sd)
        self.meter_commons = len(columns)
        paired = self._in_pairs()
        columns += list((paired * self._place_sd()[:, None]).T)
        sds += [1.0] * paired.shape[1]
        return np.array(columns).T, sds

    def _sky_sd(self, name: str, stated: float) -> float:
        """How well the open sky of a site is known before, of its ln: that of its word, or as ``stated``."""
        site = next(s for s in self.setup.sites if s.name == name)
        if site.open_sky >= 1:
            return 0.0
        if site.sky_word and "open_sky" not in self.setup.uncertainty:
            low, high = OPEN_SKY_RANGES[site.sky_word]
            return math.log(high / low) / (2 * Z_95)
        return stated

    def _priors(self, common_sd: list[float], tilts: int, pairs: int) -> tuple[FloatArray, FloatArray]:
        """Means and covariance of what is known before, in the order of ``Layout``."""
        known = self.setup.uncertainty
        flux = flux_priors(self.setup.lit_fixtures, known)
        sites = {s.name: s.open_sky for s in self.setup.sites}
        sky = [sites[name] for name in self.sky_sites]
        step = known.get("open_sky", OPEN_SKY_SD)
        sky_sd = [
            ASKED_SKY_LN_SD if name in self.request.open_sky else self._sky_sd(name, step / share)
            for name, share in zip(self.sky_sites, sky, strict=True)
        ]
        height = ASKED_HEIGHT_SD_M if self.request.height else known.get("height_cm", 100 * HEIGHT_SD_M) / 100
        parts: list[tuple[Sequence[float], FloatArray]] = [
            ([0.0] * len(self.beam_fixtures), self._beam_prior()),
            (np.log(sky).tolist(), np.diag(np.square(sky_sd))),
            ([0.0] * len(common_sd), np.diag(np.square(common_sd))),
            ([0.0] * tilts, np.eye(tilts)),
            ([0.0] * pairs, TOGETHER_LN_SD**2 * np.eye(pairs)),
            ([0.0] * len(self.height_fixtures), height**2 * np.eye(len(self.height_fixtures))),
        ]
        if self.request.yellowing:
            parts.append(([self.setup.water.yellowing_440_per_m], np.array([[YELLOWING_SD_PER_M**2]])))
        mean = np.concatenate([flux.mean, *(np.array(m, dtype=np.float64) for m, _ in parts)])
        prior = np.zeros((mean.size, mean.size))
        start = 0
        for block in (flux.covariance, *(c for _, c in parts)):
            stop = start + len(block)
            prior[start:stop, start:stop] = block
            start = stop
        return mean, prior

    def _beam_prior(self) -> FloatArray:
        """Beams of one kind share what is beyond ``BEAM_SD``."""
        known = self.setup.uncertainty
        sd = np.array([beam_sd(self.fixtures[n], known) for n in self.beam_fixtures])
        single = np.minimum(sd, BEAM_SD)
        kinds = [id(self.setup.lit_fixtures[n].type) for n in self.beam_fixtures]
        alike = np.array([[a == b for b in kinds] for a in kinds]).reshape(len(kinds), len(kinds))
        return np.asarray(alike * np.outer(*[np.sqrt(sd**2 - single**2)] * 2) + np.diag(single**2))

    def _doubts(self, layout: Layout) -> Iterator[Doubt]:
        """What may be otherwise than stated, readings first."""
        at, size = layout.slices(), layout.size

        def along(*places: int) -> FloatArray:
            direction = np.zeros(size)
            direction[list(places)] = 1.0
            return direction

        for n in range(len(self.observed.readings)):
            yield Doubt("reading", "", WILD, 0.0, WILD_LN_SD, reading=n)
        for n, name in enumerate(self.sky_sites):
            if name not in self.request.open_sky:
                place = at.sky.start + n
                yield Doubt("shade", name, SHADED, SHADED_LN, SHADED_LN_SD, along(place), below_zero=place)
        kinds: dict[int, list[int]] = {}
        for n in self.seen:
            kinds.setdefault(id(self.setup.lit_fixtures[n].type), []).append(n)
        for mates in kinds.values():
            names = " and ".join(self.fixtures[n].name for n in mates)
            if len(mates) > 1:
                places = [at.fixture.start + n for n in mates]
                yield Doubt("kind", names, KIND_OFF, 0.0, KIND_OFF_LN_SD, along(*places))
            beams = [at.beam.start + self.beam_fixtures.index(n) for n in mates if n in self.beam_fixtures]
            if beams:
                yield Doubt("beam", names, BEAM_OFF, 0.0, BEAM_OFF_LN_SD, along(*beams))
            for n in mates:
                yield Doubt(
                    "fixture",
                    self.fixtures[n].name,
                    FIXTURE_OFF,
                    0.0,
                    FIXTURE_OFF_LN_SD,
                    along(at.fixture.start + n),
                )
        lit = np.asarray(self.observed.output.any(axis=0))
        for n in np.flatnonzero(lit).tolist():
            name = "/".join(self.keys[n])
            place = at.channel.start + n
            kinds_of_fault: tuple[tuple[DoubtKind, float, float, float], ...] = (
                ("channel", CHANNEL_OFF, CHANNEL_OFF_LN, CHANNEL_OFF_LN_SD),
                ("dead", DEAD, DEAD_LN, DEAD_LN_SD),
            )
            for kind, odds, shift, sd in kinds_of_fault:
                yield Doubt(kind, name, odds, shift, sd, along(place), channel=n)


class SolvedFit(CalibrationUnknowns):
    """One calibration: the problem, and its solution, in the order of ``Layout``."""

    def __init__(
        self, setup: Setup, observed: Observations, tables: ReferenceTables, request: CalibrationRequest
    ) -> None:
        super().__init__(setup, observed, tables, request)
        together, pairs = self._running_together()
        self.problem = self.problem_with(together, pairs)
        self.solution = solve(self.problem, observed.ln_reading)
        if pairs and (kept := self._losses(pairs)) != pairs:
            columns = [pairs.index(n) for n in kept]
            self.problem = self.problem_with(together[:, columns], kept)
            self.solution = solve(self.problem, observed.ln_reading)

    @property
    def meter_tilt(self) -> FloatArray:
        """The tilts of meters alone, the others 0, (t, n, c)."""
        tilt = self.problem.tilt.copy()
        tilt[self.meter_tilts :] = 0.0
        return tilt

    def _running_together(self) -> tuple[FloatArray, list[int]]:
        """Readings with many channels at once, by fixture, where single channels were read too."""
        columns, pairs = [], []
        for n in self.seen:
            own = self.fixture_of == n
            output, flux = self.observed.output[:, own], self.observed.nominal_umol_s[own]
            count = (output > 0).sum(axis=1)
            many = (count > 1) & (output @ flux >= TOGETHER_LOAD * flux.sum())
            alone = {int(np.argmax(row)) for row in output[count == 1]}
            lit_in_many = set(np.flatnonzero((output[many] > 0).any(axis=0)).tolist())
            if many.any() and lit_in_many <= alone:
                columns.append(many.astype(float))
                pairs.append(n)
        return np.array(columns).reshape(len(pairs), len(self.observed.readings)).T, pairs

    def _losses(self, pairs: list[int]) -> list[int]:
        """The fixtures whose loss of running together is plain: beyond ``LEAST_LOSS`` and 2 uncertainties."""
        part = self.problem.layout.slices().together
        sd = np.sqrt(np.diagonal(self.solution.covariance))[part]
        value = self.solution.value[part]
        return [n for n, v, s in zip(pairs, value, sd, strict=True) if v < -LEAST_LOSS and v + 2 * s < 0]


def cosine_widths_deg(fixture: Fixture) -> list[float]:
    """Widths of the different cosine lobes of a fixture.

    Returns
    -------
    list of float. [deg]
    """
    return list(
        dict.fromkeys(c.beam.fwhm_deg for c in fixture.type.channels if isinstance(c.beam, CosineLobe))
    )
