"""From meter readings to what each channel really emits: `calibrate`."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from lightdose.errors import ReadingsError
from lightdose.fit.calibration_problem import CalibrationRequest, SolvedFit, cosine_widths_deg
from lightdose.fit.dimming_foot import with_feet
from lightdose.fit.explanations import Solution
from lightdose.fit.findings import findings, lux_factor, says
from lightdose.fit.gain_problem import GainProblem, model_ln
from lightdose.fit.observations import Observations, observe, statement_of
from lightdose.fit.response_shape import fitted_beam
from lightdose.model.calibration import (
    UNREAD,
    BeamWidth,
    Calibration,
    CalibrationFit,
    ChannelGain,
    Contradiction,
    EarlierCalibration,
    Explanation,
    FixtureTotal,
    HeightFit,
    Interval,
    Parameter,
    ReadingFit,
    SeenMix,
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
from lightdose.quantities import Z_95

UNSEEN_LN = 0.3
"""Mixtures of gains that readings alone know worse than this are unseen: our choice."""

TIED_SHARE = 0.1
PARTNER_SHARE = 0.03
"""Share of a gain that lies in unseen mixtures from which it counts as tied, and as the partner of one."""

ALIKE = 0.9
"""Channels whose outputs are tied beforehand by this correlation follow one another: our choice."""

HEIGHT_TOLD = 0.6
"""Readings tell a height where they leave less than this share of what was open before: our choice."""

SEEN_MIXES, LOST_LN = 40, 0.02
"""So many readings of mixes are kept at most, and those whose sum would be off by more: our choice."""

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
    See ``explanations``; priors: see ``flux_priors``.
    """
    if not readings:
        raise ReadingsError("there are no readings")
    observed = with_feet(setup, observe(setup, readings, tables, sources))
    return _Records(SolvedFit(setup, observed, tables, request)).result()


class _Records:
    """A solved fit as the records that say what it means."""

    def __init__(self, fit: SolvedFit) -> None:
        self.fit = fit
        self.told_heights = self._told_heights()
        self.stated = self._as_stated()
        self.found = findings(fit, self.stated)

    def result(self) -> CalibrationFit:
        """What the solution means."""
        parameters, rows = self._reported()
        solution = self.fit.solution
        values, ends = rows @ self.stated, self._ends(rows)
        ties = tied_to(self.fit.problem, solution, self.fit.keys)
        by_kind = {
            kind: [
                (p, v, span)
                for p, v, span in zip(parameters, values.tolist(), ends, strict=True)
                if p.kind == kind
            ]
            for kind in ("beam", "open_sky", "together", "height", "yellowing")
        }
        covariance = rows @ solution.covariance @ rows.T
        date = max((r.date for r in self.fit.observed.readings if r.date), default=self.fit.request.date)
        # A second run on the same readings replaces the first one.
        others = [e for e in self.fit.request.earlier if e.date != date]
        earlier = tuple(sorted(others, key=lambda e: e.date, reverse=True))
        meters = tuple(m.name for m in self.fit.observed.meters if m.name)
        calibration = Calibration(
            date=date,
            meters=meters,
            readings=int((~solution.outlier).sum()),
            gains=self._gains(values.tolist(), ends, ties),
            parameters=parameters,
            covariance=0.5 * (covariance + covariance.T),
            beams=self._beams(by_kind["beam"]),
            open_sky=tuple(
                SkyShare(p.site, min(math.exp(v), 1.0), _capped(_exp(span)))
                for p, v, span in by_kind["open_sky"]
            ),
            heights=self._heights([h for h in by_kind["height"] if h[0].fixture in self.told_heights]),
            together=tuple(
                TogetherFactor(p.fixture, math.exp(v), _exp(span)) for p, v, span in by_kind["together"]
            ),
            yellowing=_yellowing(by_kind["yellowing"]),
            cautions=tuple(f.text for f in self.found if f.lasts),
            lux_factor=lux_factor(self.fit),
            feet=self.fit.observed.feet,
            seen_mixes=self._seen_mixes(rows),
            earlier=earlier,
            explanations=self._explanations(rows),
        )
        before = next((e for e in earlier if e.date < date), None)
        return CalibrationFit(
            calibration,
            self._residuals(),
            contradictions(self.fit.observed, self.fit.solution, self.fit.problem),
            untying(self.fit.observed, self.fit.problem, self.fit.keys, ties),
            None if before is None else trend(calibration, before),
            self.found,
            self._totals(),
            self._light_factor(),
        )

    def _gains(
        self, values: Sequence[float], ends: Sequence[Interval], ties: Sequence[str | None]
    ) -> tuple[ChannelGain, ...]:
        """One a channel, from the first of the reported values."""
        channels = [c for f in self.fit.setup.lit_fixtures for c in f.type.channels]
        return tuple(
            ChannelGain(
                fixture,
                name,
                math.exp(value),
                _exp(span),
                float(nominal),
                tie,
                statement_of(channel) != "none",
            )
            for (fixture, name), value, span, nominal, tie, channel in zip(
                self.fit.keys, values, ends, self.fit.observed.nominal_umol_s, ties, channels, strict=False
            )
        )

    def _light_factor(self) -> float | None:
        """How well the light where readings were made is known, whatever the meter adds."""
        at = self.fit.problem.layout.slices()
        rows = model_ln(self.fit.problem, self.stated)[1][~self.fit.solution.outlier]
        rows[:, at.common] = rows[:, at.tilt] = 0.0
        factors = [math.exp(0.5 * (high - low)) for low, high in self._ends(rows)]
        return float(np.median(factors)) if factors else None

    def _seen_mixes(self, rows: FloatArray) -> tuple[SeenMix, ...]:
        """Readings of channels whose single outputs are so open that logarithms lose their sum.

        Source
        ------
        One Gauss-Newton step from a draw of the linear posterior (randomize-then-optimize: Bardsley et al.
        2014, SIAM J. Sci. Comput. 36:A1895, from memory).
        """
        problem, best = self.fit.problem, self.fit.solution.explanations[0]
        _, slopes, share = model_ln(problem, best.value)
        gains = np.arange(len(self.fit.keys))
        own = ((rows @ best.covariance) * rows).sum(axis=1)[gains]
        middle = share @ (rows[gains] @ best.covariance @ rows[gains].T) * share
        beyond = 0.5 * (share @ own - middle.sum(axis=1))
        noise = (self.fit.solution.scatter * problem.sd) ** 2
        pull = (rows @ best.covariance @ slopes.T) / noise
        kept = [n for n in np.argsort(-beyond, kind="stable")[:SEEN_MIXES] if beyond[n] > LOST_LN]
        rest = (0.0,) * (len(rows) - len(gains))
        return tuple(SeenMix((*share[n].tolist(), *rest), tuple(pull[:, n].tolist())) for n in sorted(kept))

    def _totals(self) -> tuple[FixtureTotal, ...]:
        """What each fixture gives, of the channels that readings saw."""
        layout, solution = self.fit.problem.layout, self.fit.solution
        at = layout.slices()
        lit = solution.share[~solution.outlier].max(axis=0, initial=0.0) > 0
        totals = []
        for n, fixture in enumerate(self.fit.fixtures):
            own = (self.fit.fixture_of == n) & lit
            if not own.any():
                continue
            ln_gain = self.stated[at.fixture.start + n] + self.stated[at.channel]
            flux = np.where(own, self.fit.observed.nominal_umol_s * np.exp(ln_gain), 0.0)
            row = np.zeros((1, layout.size))
            row[0, at.fixture.start + n] = 1.0
            row[0, at.channel] = flux / flux.sum()
            ((low, high),) = self._ends(row)
            totals.append(FixtureTotal(fixture.name, float(flux.sum()), math.exp(0.5 * (high - low))))
        return tuple(totals)

    def _told_heights(self) -> frozenset[str]:
        """The fixtures whose height was asked for, or is told by the readings."""
        at = self.fit.problem.layout.slices().height
        before = np.sqrt(np.diagonal(self.fit.problem.prior)[at])
        after = np.sqrt(np.diagonal(self.fit.solution.explanations[0].covariance)[at])
        return frozenset(
            self.fit.fixtures[n].name
            for n, was, now in zip(self.fit.height_fixtures, before, after, strict=True)
            if self.fit.request.height or now < HEIGHT_TOLD * was
        )

    def _as_stated(self) -> FloatArray:
        """The likeliest values where lamps hang and dim as stated, but for those whose height is told.

        Source
        ------
        Conditional mean of a normal distribution.
        """
        best = self.fit.solution.explanations[0]
        start = self.fit.problem.layout.slices().height.start
        kept = [
            start + place
            for place, n in enumerate(self.fit.height_fixtures)
            if self.fit.fixtures[n].name not in self.told_heights
        ]
        kept += self._of_drivers()
        known = best.covariance[np.ix_(kept, kept)]
        if not np.any(known):
            return best.value
        slope = best.covariance[:, kept] @ np.linalg.pinv(known)
        return np.asarray(best.value - slope @ best.value[kept])

    def _of_drivers(self) -> list[int]:
        """Where the errors of drivers stand in the fitted vector."""
        tilt = self.fit.problem.layout.slices().tilt
        return list(range(tilt.start + self.fit.meter_tilts, tilt.stop))

    def _reported(self) -> tuple[tuple[Parameter, ...], FloatArray]:
        """The parameters that are kept and the rows that make them of the fitted vector (m, p).

        Gains instead of common and own factors, no errors of meters and drivers, and no sky that no
        explanation doubts.
        """
        layout = self.fit.problem.layout
        at = layout.slices()
        rows = []
        for n, fixture in enumerate(self.fit.fixture_of):
            row = np.zeros(layout.size)
            row[fixture] = row[at.channel.start + n] = 1.0
            rows.append(row)
        unit = np.eye(layout.size)
        spread = np.sqrt(np.diagonal(self.fit.solution.spread(unit)))
        moved = np.abs(self.fit.solution.value - self.fit.problem.mean) > 1e-9
        skies = [n for n in _range(at.sky) if spread[n] > 1e-9 or moved[n]]
        parameters = [Parameter("gain", *key) for key in self.fit.keys]
        parameters += [Parameter("beam", self.fit.fixtures[n].name) for n in self.fit.beam_fixtures]
        parameters += [Parameter("open_sky", site=self.fit.sky_sites[n - at.sky.start]) for n in skies]
        parameters += [
            Parameter("together", self.fit.fixtures[n].name) for n in self.fit.problem.together_fixtures
        ]
        parameters += [Parameter("height", self.fit.fixtures[n].name) for n in self.fit.height_fixtures]
        parameters += [Parameter("yellowing")] * layout.yellowings
        parameters += [Parameter("dimming", self.fit.fixtures[n].name) for n in self.fit.drivers]
        kept = (
            *(_range(at.beam), skies, _range(at.together), _range(at.height), _range(at.yellow)),
            self._of_drivers(),
        )
        picked = np.array([*rows, *(unit[n] for part in kept for n in part)])
        shown = [
            replace(p, estimate=float(v) + (self._hung_m(p) if p.kind == "height" else 0.0))
            for p, v in zip(parameters, picked @ self.stated, strict=True)
        ]
        return tuple(shown), picked

    def _ends(self, rows: FloatArray) -> list[Interval]:
        """95 % of each reported parameter over all explanations."""
        solution = self.fit.solution
        middles = np.array([rows @ e.value for e in solution.explanations])
        variances = np.array([((rows @ e.covariance) * rows).sum(axis=1) for e in solution.explanations])
        sds = np.sqrt(np.maximum(variances, 1e-18))
        odds = np.array([e.odds for e in solution.explanations])
        return [
            (_quantile(odds, m, s, 0.025), _quantile(odds, m, s, 0.975))
            for m, s in zip(middles.T, sds.T, strict=True)
        ]

    def _explanations(self, rows: FloatArray) -> tuple[Explanation, ...]:
        """In words, and as shifts of the parameters."""
        return tuple(
            Explanation(e.odds, says(self.fit, e), tuple((rows @ (e.value - self.stated)).tolist()))
            for e in self.fit.solution.explanations
        )

    def _hung_m(self, parameter: Parameter) -> float:
        return next(f.height_m for f in self.fit.fixtures if f.name == parameter.fixture)

    def _beams(self, fitted: list[tuple[Parameter, float, Interval]]) -> tuple[BeamWidth, ...]:
        beams = []
        for parameter, value, span in fitted:
            fixture = next(f for f in self.fit.fixtures if f.name == parameter.fixture)
            for lobe in cosine_widths_deg(fixture):
                ends = [fitted_beam(CosineLobe(lobe), v) for v in (value, *span)]
                width, low, high = (b.fwhm_deg for b in ends if isinstance(b, CosineLobe))
                beams.append(BeamWidth(fixture.name, lobe, width, (low, high)))
        return tuple(beams)

    def _heights(self, fitted: list[tuple[Parameter, float, Interval]]) -> tuple[HeightFit, ...]:
        heights = []
        for parameter, shift, span in fitted:
            hung = self._hung_m(parameter)
            low, high = (max(hung + end, 1e-3) for end in span)
            heights.append(HeightFit(parameter.fixture, max(hung + shift, 1e-3), (low, high), hung))
        return tuple(heights)

    def _residuals(self) -> tuple[ReadingFit, ...]:
        """Each reading as PPFD beside the model's PPFD at the fitted values."""
        ratio = self._ppfd_per_reading()
        observed, solution = self.fit.observed, self.fit.solution
        at = self.fit.problem.layout.slices()
        of_lights = self.stated.copy()  # what lights give, without the errors of meters and drivers
        of_lights[at.common] = of_lights[at.tilt] = 0.0
        expected = np.exp(model_ln(self.fit.problem, of_lights)[0])
        fits = []
        for n, reading in enumerate(observed.readings):
            corrected = math.exp(observed.ln_reading[n]) * float(ratio[n])
            model = float(expected[n] * ratio[n])
            own = Z_95 * self.fit.problem.sd[n]
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
        observed = self.fit.observed
        of_channel = observed.ppfd / np.maximum(observed.shown, 1e-30)
        return np.asarray((self.fit.solution.share * of_channel).sum(axis=1))


def _on(names: Sequence[str]) -> str:
    """The channels that a reading saw: up to three by name, else how many."""
    different = list(dict.fromkeys(names))
    return " + ".join(different) if len(different) <= 3 else f"{len(different)} channels together"


def _range(part: slice) -> range:
    return range(part.start, part.stop)


def _exp(span: Interval) -> Interval:
    return math.exp(span[0]), math.exp(span[1])


def _quantile(odds: FloatArray, means: FloatArray, sds: FloatArray, share: float) -> float:
    """Where a share of a mixture of normal distributions lies below, by halving."""
    low, high = float((means - 9 * sds).min()), float((means + 9 * sds).max())
    for _ in range(60):
        middle = 0.5 * (low + high)
        below = sum(
            p * 0.5 * math.erfc((m - middle) / (s * math.sqrt(2)))
            for p, m, s in zip(odds.tolist(), means.tolist(), sds.tolist(), strict=True)
        )
        low, high = (middle, high) if below < share else (low, middle)
    return 0.5 * (low + high)


def _capped(interval: Interval) -> Interval:
    return min(interval[0], 1.0), min(interval[1], 1.0)


def _yellowing(fitted: list[tuple[Parameter, float, Interval]]) -> YellowingFit | None:
    for _, value, span in fitted:
        return YellowingFit(value, (max(span[0], 0.0), max(span[1], 0.0)))
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
            twins = [keys[m][0] for m in _twins(problem, n) if keys[m][0] in read]
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


def _twins(problem: GainProblem, channel: int) -> list[int]:
    """Channels of other fixtures that are known to be like this one before anything is read."""
    layout = problem.layout
    at = layout.slices()
    rows = np.zeros((layout.channels, layout.size))
    rows[np.arange(layout.channels), problem.fixture_of] = 1.0
    rows[np.arange(layout.channels), np.arange(at.channel.start, at.channel.stop)] = 1.0
    covariance = rows @ problem.prior @ rows.T
    sd = np.sqrt(np.diagonal(covariance))
    alike = covariance[channel] / (sd * sd[channel]) >= ALIKE
    alike &= problem.fixture_of != problem.fixture_of[channel]
    return [int(n) for n in np.flatnonzero(alike)]


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
