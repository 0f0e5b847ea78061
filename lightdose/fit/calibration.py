"""From meter readings to what each channel really emits: `calibrate`."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from lightdose.errors import ReadingsError
from lightdose.fit.calibration_problem import CalibrationRequest, SolvedFit, cosine_widths_deg
from lightdose.fit.gain_solver import GainProblem, Solution, fitted_beam
from lightdose.fit.observations import Observations, observe, sensed, statement_of
from lightdose.model.calibration import (
    UNREAD,
    BeamWidth,
    Calibration,
    CalibrationFit,
    ChannelGain,
    Contradiction,
    EarlierCalibration,
    HeightFit,
    Interval,
    Parameter,
    ReadingFit,
    SkyShare,
    TogetherFactor,
    Trend,
    Untying,
    YellowingFit,
)
from lightdose.model.fixture import CosineLobe
from lightdose.model.record import FloatArray
from lightdose.model.setup import Setup
from lightdose.model.spectrum import Reading, ReferenceTables, SpectralDistribution

Z_95 = 1.959964

UNSEEN_LN = 0.3
"""Mixtures of gains that readings alone know worse than this are unseen: our choice."""

TIED_SHARE = 0.1
PARTNER_SHARE = 0.03
"""Share of a gain that lies in unseen mixtures from which it counts as tied, and as the partner of one."""

SAME_METER, OTHER_METER = 0.06, 0.14
"""Twice the uncertainty of a ratio of two readings, with one meter (drift 2 % each) and with two (5 % each,
of which 2.5 % standard): our choice, after the rough figures of quantum sensors."""

Key = tuple[str, str]


def calibrate(
    setup: Setup,
    readings: Sequence[Reading],
    tables: ReferenceTables,
    sources: Mapping[str, SpectralDistribution],
    request: CalibrationRequest,
) -> CalibrationFit:
    """Fit gains, beams and open sky to readings.

    Parameters
    ----------
    setup : as its files state it, without an earlier calibration
    readings : as the meters showed them
    tables : ReferenceTables
    sources : calibration light by name, all but "A"
    request : CalibrationRequest

    Raises
    ------
    ReadingsError
        With every reading that cannot be used.

    Source
    ------
    Robust weighted least squares with priors, see ``gain_solver``; priors: see ``flux_priors``.
    """
    if not readings:
        raise ReadingsError("there are no readings")
    observed = observe(setup, readings, tables, sources)
    return _Records(SolvedFit(setup, observed, tables, request)).result()


class _Records:
    """A solved fit as the records that say what it means."""

    def __init__(self, fit: SolvedFit) -> None:
        self.fit = fit

    def result(self) -> CalibrationFit:
        """What the solution means."""
        parameters, values, covariance = self._reported()
        sd = np.sqrt(np.diagonal(covariance))
        ties = tied_to(self.fit.problem, self.fit.solution, self.fit.keys)
        channels = [c for f in self.fit.setup.lit_fixtures for c in f.type.channels]
        stated = [statement_of(c) != "none" for c in channels]
        gains = tuple(
            ChannelGain(
                *key, math.exp(values[n]), _interval(values[n], sd[n]), float(nominal), ties[n], stated[n]
            )
            for n, (key, nominal) in enumerate(
                zip(self.fit.keys, self.fit.observed.nominal_umol_s, strict=True)
            )
        )
        by_kind = {
            kind: [
                (p, float(v), float(s))
                for p, v, s in zip(parameters, values, sd, strict=True)
                if p.kind == kind
            ]
            for kind in ("beam", "open_sky", "together", "height", "yellowing")
        }
        date = max((r.date for r in self.fit.observed.readings if r.date), default=self.fit.request.date)
        # A second run on the same readings replaces the first one.
        others = [e for e in self.fit.request.earlier if e.date != date]
        earlier = tuple(sorted(others, key=lambda e: e.date, reverse=True))
        meters = tuple(m.name for m in self.fit.observed.meters if m.name)
        calibration = Calibration(
            date=date,
            meters=meters,
            readings=int((~self.fit.solution.outlier).sum()),
            gains=gains,
            parameters=parameters,
            covariance=covariance,
            beams=self._beams(by_kind["beam"]),
            open_sky=tuple(
                SkyShare(p.site, min(math.exp(v), 1.0), _capped(_interval(v, s)))
                for p, v, s in by_kind["open_sky"]
            ),
            heights=self._heights(by_kind["height"]),
            together=tuple(
                TogetherFactor(p.fixture, math.exp(v), _interval(v, s)) for p, v, s in by_kind["together"]
            ),
            yellowing=_yellowing(by_kind["yellowing"]),
            earlier=earlier,
        )
        before = next((e for e in earlier if e.date < date), None)
        return CalibrationFit(
            calibration,
            self._residuals(),
            contradictions(self.fit.observed, self.fit.solution, self.fit.problem),
            untying(self.fit.observed, self.fit.problem, self.fit.keys, ties),
            None if before is None else trend(calibration, before),
        )

    def _reported(self) -> tuple[tuple[Parameter, ...], FloatArray, FloatArray]:
        """The parameters that are kept: gains instead of common and own factors, and no errors of meters."""
        layout = self.fit.problem.layout
        at = layout.slices()
        rows = []
        for n, fixture in enumerate(self.fit.fixture_of):
            row = np.zeros(layout.size)
            row[fixture] = row[at.channel.start + n] = 1.0
            row[at.shared] = self.fit.problem.shared[n]
            rows.append(row)
        parameters = [Parameter("gain", *key) for key in self.fit.keys]
        parameters += [Parameter("beam", self.fit.fixtures[n].name) for n in self.fit.beam_fixtures]
        parameters += [Parameter("open_sky", site=name) for name in self.fit.sky_sites]
        parameters += [
            Parameter("together", self.fit.fixtures[n].name) for n in self.fit.problem.together_fixtures
        ]
        parameters += [Parameter("height", self.fit.fixtures[n].name) for n in self.fit.height_fixtures]
        parameters += [Parameter("yellowing")] * layout.yellowings
        kept = (at.beam, at.sky, at.together, at.height, at.yellow)
        rows += [np.eye(layout.size)[n] for part in kept for n in _range(part)]
        pick = np.array(rows)
        values = pick @ self.fit.solution.value
        covariance = pick @ self.fit.solution.covariance @ pick.T
        shown = [
            replace(p, estimate=float(v) + (self._hung_m(p) if p.kind == "height" else 0.0))
            for p, v in zip(parameters, values, strict=True)
        ]
        return tuple(shown), values, 0.5 * (covariance + covariance.T)

    def _hung_m(self, parameter: Parameter) -> float:
        return next(f.height_m for f in self.fit.fixtures if f.name == parameter.fixture)

    def _beams(self, fitted: list[tuple[Parameter, float, float]]) -> tuple[BeamWidth, ...]:
        beams = []
        for parameter, value, sd in fitted:
            fixture = next(f for f in self.fit.fixtures if f.name == parameter.fixture)
            for lobe in cosine_widths_deg(fixture):
                ends = [
                    fitted_beam(CosineLobe(lobe), v) for v in (value, value - Z_95 * sd, value + Z_95 * sd)
                ]
                width, low, high = (b.fwhm_deg for b in ends if isinstance(b, CosineLobe))
                beams.append(BeamWidth(fixture.name, lobe, width, (low, high)))
        return tuple(beams)

    def _heights(self, fitted: list[tuple[Parameter, float, float]]) -> tuple[HeightFit, ...]:
        heights = []
        for parameter, shift, sd in fitted:
            hung = self._hung_m(parameter)
            low, high = (max(hung + shift + k * Z_95 * sd, 1e-3) for k in (-1, 1))
            heights.append(HeightFit(parameter.fixture, max(hung + shift, 1e-3), (low, high)))
        return tuple(heights)

    def _residuals(self) -> tuple[ReadingFit, ...]:
        """Each reading as PPFD beside the model's PPFD at the fitted values."""
        ratio = self._ppfd_per_reading()
        observed, solution = self.fit.observed, self.fit.solution
        common = self.fit.problem.layout.slices().common
        shared = self.fit.problem.common @ solution.value[common]
        fits = []
        for n, reading in enumerate(observed.readings):
            corrected = math.exp(observed.ln_reading[n]) * float(ratio[n])
            model = corrected * math.exp(-solution.z[n] * self.fit.problem.sd[n] - shared[n])
            own = 1.96 * self.fit.problem.sd[n]
            on = [c for (_, c), share in zip(self.fit.keys, solution.share[n], strict=True) if share > 0.02]
            fits.append(
                ReadingFit(
                    line=reading.place.line,
                    where=_where(reading),
                    on=_on(on),
                    reading_umol_m2_s=corrected,
                    interval_95=(corrected * math.exp(-own), corrected * math.exp(own)),
                    model_umol_m2_s=model,
                    outlier=bool(solution.outlier[n]),
                )
            )
        return tuple(fits)

    def _ppfd_per_reading(self) -> FloatArray:
        """PPFD over what the meter shows under the fitted mix: F*, with umol per lux for lux."""
        own = np.array(self.fit.observed.meter_of)
        seen = sensed(
            self.fit.setup,
            self.fit.observed,
            self.fit.fixtures,
            self.fit.observed.points_m(),
            self.fit.tables,
        )
        shown = np.take_along_axis(seen, own[:, None, None], axis=2)[..., 0]
        of_channel = seen[:, :, -1] / np.maximum(shown, 1e-30)
        return np.asarray((self.fit.solution.share * of_channel).sum(axis=1))


def _on(names: Sequence[str]) -> str:
    """The channels that a reading saw: up to three by name, else how many."""
    different = list(dict.fromkeys(names))
    return " + ".join(different) if len(different) <= 3 else f"{len(different)} channels together"


def _range(part: slice) -> range:
    return range(part.start, part.stop)


def _interval(ln_value: float, sd: float) -> Interval:
    return math.exp(ln_value - Z_95 * sd), math.exp(ln_value + Z_95 * sd)


def _capped(interval: Interval) -> Interval:
    return min(interval[0], 1.0), min(interval[1], 1.0)


def _yellowing(fitted: list[tuple[Parameter, float, float]]) -> YellowingFit | None:
    for _, value, sd in fitted:
        return YellowingFit(value, (max(value - Z_95 * sd, 0.0), value + Z_95 * sd))
    return None


def _where(reading: Reading) -> str:
    if reading.site is not None:
        return reading.site
    at = f"{reading.x_m * 100:g}, {reading.y_m * 100:g}"
    if reading.depth_m < 0:
        return f"{at}, {-reading.depth_m * 100:g} cm above the water"
    return f"{at}, {reading.depth_m * 100:g} cm deep"


# ---- what a fit cannot tell, and what stands out ---------------------------------------------------------


def tied_to(problem: GainProblem, solution: Solution, keys: Sequence[Key]) -> list[str | None]:
    """For each channel, what its gain leans on; None where readings tell it apart.

    Returns
    -------
    list of str or None
        Names of the channels that only come together with it, or of the fixture's measured ones; ``UNREAD``
        where no reading saw the fixture.

    Source
    ------
    Eigenvectors of the readings' information on the gains; limits are our choice.
    """
    unseen = _unseen(problem, solution)
    lit = solution.share[~solution.outlier].max(axis=0, initial=0.0) > 0
    read = {keys[n][0] for n in np.flatnonzero(lit).tolist()}
    result: list[str | None] = []
    for n, (fixture, _) in enumerate(keys):
        if fixture not in read:
            twins = [
                k[0]
                for k, row in zip(keys, problem.shared, strict=True)
                if k[0] in read and row @ problem.shared[n]
            ]
            result.append(f"{twins[0]}, of the same kind" if twins else UNREAD)
        elif unseen[n, n] < TIED_SHARE:
            result.append(None)
        else:
            mates = np.abs(unseen[n]) * (np.arange(len(keys)) != n) * lit * lit[n]
            least = max(PARTNER_SHARE, 0.25 * float(mates.max()))
            partners = np.flatnonzero(mates > least).tolist()
            if not partners:
                partners = [
                    m
                    for m, key in enumerate(keys)
                    if key[0] == fixture and m != n and unseen[m, m] < TIED_SHARE
                ] or [m for m, key in enumerate(keys) if key[0] == fixture and m != n and lit[m]]
            names = [_name(keys[m], fixture) for m in partners]
            result.append(" + ".join(names) if names else UNREAD)
    return result


def _unseen(problem: GainProblem, solution: Solution) -> FloatArray:
    """Projector on the mixtures of gains that the readings hardly see."""
    keep = ~solution.outlier
    scaled = solution.share[keep] / problem.sd[keep][:, None]
    value, vector = np.linalg.eigh(scaled.T @ scaled)
    hidden = vector[:, value < 1 / UNSEEN_LN**2]
    return np.asarray(hidden @ hidden.T)


def _name(key: Key, beside: str) -> str:
    return key[1] if key[0] == beside else f"{key[0]}/{key[1]}"


def untying(
    observed: Observations, problem: GainProblem, keys: Sequence[Key], ties: Sequence[str | None]
) -> Untying | None:
    """The single further reading that would tell most; None where no gain is tied.

    Source
    ------
    Our choice: the tied channel with the largest nominal flux, alone, where it was brightest.
    """
    tied = [n for n, tie in enumerate(ties) if tie is not None]
    if not tied:
        return None
    best = max(tied, key=lambda n: (ties[n] == UNREAD, observed.nominal_umol_s[n]))
    brightest = int(np.argmax(problem.shape.base[:, best] + problem.fixed_ln))
    fixture, channel = keys[best]
    then = tuple(keys[n][1] for n in tied if n != best and keys[n][0] == fixture)
    return Untying(fixture, channel, observed.readings[brightest], then)


def contradictions(
    observed: Observations, solution: Solution, problem: GainProblem
) -> tuple[Contradiction, ...]:
    """Readings of one place and one mix that cannot be right together.

    Source
    ------
    Our choice: 5 standard uncertainties of their difference.
    """
    points = observed.points_m()
    residual, found = solution.z * problem.sd, []
    for a in np.argsort(~solution.outlier, kind="stable").tolist():
        alike = np.all(np.isclose(points, points[a], atol=1e-3), axis=1)
        alike &= np.all(np.isclose(observed.output, observed.output[a], atol=1e-6), axis=1)
        against = tuple(
            observed.readings[b]
            for b in np.flatnonzero(alike & ~solution.outlier).tolist()
            if (b > a or solution.outlier[a])
            and abs(residual[a] - residual[b]) > 5 * math.hypot(problem.sd[a], problem.sd[b])
        )
        if against:
            found.append(Contradiction(observed.readings[a], against))
    return tuple(found)


def trend(new: Calibration, before: EarlierCalibration) -> Trend | None:
    """How much the fixtures changed since an earlier calibration, beside what meters differ by.

    Returns
    -------
    Trend or None
        None where they have no measured channel in common.

    Source
    ------
    Ratio of measured photon fluxes; what two meters may differ by: our choice, after rough figures.
    """
    flux = {(g.fixture, g.channel): g for g in before.gains if g.tied_to is None}
    by_fixture: dict[str, list[float]] = {}
    for gain in new.gains:
        old = flux.get((gain.fixture, gain.channel))
        if old is not None and gain.tied_to is None:
            by_fixture.setdefault(gain.fixture, []).append(math.log(gain.flux_umol_s / old.flux_umol_s))
    if not by_fixture:
        return None
    change = {name: math.exp(sum(logs) / len(logs)) - 1 for name, logs in by_fixture.items()}
    same = set(new.meters) == set(before.meters)
    usual = max(map(abs, change.values())) <= (SAME_METER if same else OTHER_METER)
    return Trend(before.date, change, same, usual)
