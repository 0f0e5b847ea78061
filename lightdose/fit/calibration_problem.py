"""The calibration problem: which numbers are unknown, what is known of them before, and the solved fit."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from lightdose.fit.gain_solver import GainProblem, ResponseShape, response_shape, solve
from lightdose.fit.observations import (
    MODEL_FRACTION,
    PLACEMENT_FRACTION,
    RESOLUTION,
    SHAPE_FRACTION,
    FluxPriors,
    Observations,
    beam_sd,
    flux_priors,
    sensed,
)
from lightdose.model.calibration import EarlierCalibration
from lightdose.model.fixture import CosineLobe, Fixture
from lightdose.model.record import FloatArray, dataclass
from lightdose.model.setup import Setup
from lightdose.model.spectrum import ReferenceTables

OPEN_SKY_SD = 0.05
ASKED_SKY_LN_SD = 0.5
HEIGHT_SD_M = 0.03
YELLOWING_SD_PER_M = 0.5
TOGETHER_LN_SD = 0.2
"""Standard uncertainties of what is fitted besides gains and beams: our choice. Open sky that the setup
states below 1 is known to 0.05; what the keeper asks for is hardly known."""

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
    beam_fixtures, height_fixtures : indices of the fixtures whose beam or height is fitted
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
        self.height_fixtures = self.seen if request.height else []
        self.sky_sites = self._sky_sites()
        self.shape: ResponseShape | None = None

    def _sky_sites(self) -> list[str]:
        used = {r.site for r in self.observed.readings}
        return [
            s.name
            for s in self.setup.sites
            if s.name in used and s.open_sky > 0 and (s.open_sky < 1 or s.name in self.request.open_sky)
        ]

    def problem_with(self, together: FloatArray, pairs: list[int]) -> GainProblem:
        """The problem, with what running together costs in the fixtures ``pairs``; columns (n, pair)."""
        observed, sites = self.observed, {s.name: s for s in self.setup.sites}
        names = [r.site for r in observed.readings]
        sky = np.array([[float(n == s) for s in self.sky_sites] for n in names]).reshape(len(names), -1)
        fixed = [
            0.0 if n is None or n in self.sky_sites else math.log(max(sites[n].open_sky, 1e-3)) for n in names
        ]
        common, common_sd = self._commons()
        flux = flux_priors(self.setup.lit_fixtures, self.setup.uncertainty)
        mean, sd, released = self._priors(flux, common_sd, len(pairs))
        value = np.array([r.value for r in observed.readings])
        resolution = np.array([RESOLUTION[r.unit] for r in observed.readings]) / value
        independent = np.sqrt(
            PLACEMENT_FRACTION**2
            + self.setup.uncertainty.get("model_fraction", MODEL_FRACTION) ** 2
            + observed.position_sd**2
            + resolution**2
        )
        self.shape = self.shape or self._shape()
        return GainProblem(
            output=observed.output,
            sd=independent,
            fixture_of=self.fixture_of,
            shape=self.shape,
            fixed_ln=np.array(fixed),
            sky=sky,
            common=common,
            together=together,
            together_fixtures=tuple(pairs),
            yellowing=self.request.yellowing,
            shared=flux.shared,
            mean=mean,
            prior_sd=sd,
            released=released,
        )

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
        """Errors that all readings of a meter share, and all its readings under water."""
        observed = self.observed
        columns, sds = [], []
        own = np.array(observed.meter_of)
        for n, (meter, row) in enumerate(zip(observed.meters, observed.rows, strict=True)):
            shape = SHAPE_FRACTION if isinstance(meter.response, str) and meter.response != "ideal" else 0.0
            columns.append((own == n).astype(float))
            sds.append(math.hypot(meter.standard_uncertainty, row.ln_spread, shape))
            wet = (own == n) * observed.wet
            if wet.any() and (sd := float(observed.immersion_sd[wet > 0].max())) > 0:
                columns.append(wet)
                sds.append(sd)
        return np.array(columns).T, [max(sd, 1e-6) for sd in sds]

    def _priors(
        self, flux: FluxPriors, common_sd: list[float], pairs: int
    ) -> tuple[FloatArray, FloatArray, npt.NDArray[np.bool_]]:
        """Means, standard uncertainties and which may give way, in the order of ``Layout``."""
        known = self.setup.uncertainty
        sites = {s.name: s.open_sky for s in self.setup.sites}
        sky = [sites[name] for name in self.sky_sites]
        step = known.get("open_sky", OPEN_SKY_SD)
        sky_sd = [
            ASKED_SKY_LN_SD if name in self.request.open_sky else max(step, 1e-3) / share
            for name, share in zip(self.sky_sites, sky, strict=True)
        ]
        parts: list[tuple[Sequence[float] | FloatArray, Sequence[float] | FloatArray, bool]] = [
            (flux.fixture_mean, flux.fixture_sd, True),
            (flux.channel_mean, flux.channel_sd, True),
            (
                [0.0] * len(self.beam_fixtures),
                [beam_sd(self.fixtures[n], known) for n in self.beam_fixtures],
                True,
            ),
            (np.log(sky), sky_sd, True),
            ([0.0] * len(common_sd), common_sd, False),
            ([0.0] * pairs, [TOGETHER_LN_SD] * pairs, False),
            ([0.0] * len(self.height_fixtures), [HEIGHT_SD_M] * len(self.height_fixtures), False),
        ]
        if self.request.yellowing:
            parts.append(([self.setup.water.yellowing_440_per_m], [YELLOWING_SD_PER_M], False))
        parts.append((flux.shared_mean, flux.shared_sd, True))
        mean = np.concatenate([np.asarray(m, dtype=np.float64) for m, _, _ in parts])
        sd = np.concatenate([np.asarray(s, dtype=np.float64) for _, s, _ in parts])
        return mean, sd, np.concatenate([np.full(len(m), free, dtype=np.bool_) for m, _, free in parts])


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
