"""What meter readings say about fixtures and places.

A calibration holds photon fluxes, not corrections: ``ChannelGain.flux_umol_s`` replaces whatever the fixture
file states, so a later edit of that file does not shift what was measured.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Literal, TypeVar

import numpy as np

from lightdose.errors import ReadingsError
from lightdose.model.record import FloatArray, dataclass, read_only
from lightdose.model.spectrum import Reading

UNSCALED_FLUX_UMOL_S = 1.0
"""Nominal photon flux of a channel whose file states none: its gain is then its flux in umol s-1 (ours)."""

Interval = tuple[float, float]
_Named = TypeVar("_Named")
ParameterKind = Literal["gain", "beam", "open_sky", "together", "yellowing", "height", "dimming"]
DoubtKind = Literal["reading", "shade", "fixture", "kind", "channel", "dead", "beam"]
"""What may be otherwise than stated: one reading, a place, a lamp, all lamps of a kind, a channel (or it is
dead), a beam."""

PARAMETER_KINDS: tuple[ParameterKind, ...] = (
    "gain",
    "beam",
    "open_sky",
    "together",
    "yellowing",
    "height",
    "dimming",
)


@dataclass(frozen=True)
class ChannelGain:
    """A channel's measured output over its nominal one.

    Attributes
    ----------
    stated : whether the fixture file states an output; without one the nominal flux is 1 umol s-1
    nominal_umol_s : all photons of 300-800 nm at full output by the fixture file, or ``UNSCALED_FLUX_UMOL_S``
    tied_to : what the gain leans on where no reading tells it apart; None where readings do
    """

    fixture: str
    channel: str
    gain: float
    interval_95: Interval
    nominal_umol_s: float
    tied_to: str | None = None
    stated: bool = True

    @property
    def flux_umol_s(self) -> float:
        """Measured photon flux at full output, 300-800 nm. [umol s-1]"""
        return self.gain * self.nominal_umol_s


@dataclass(frozen=True)
class BeamWidth:
    """The measured width of one cosine lobe of a fixture. [deg]"""

    fixture: str
    nominal_fwhm_deg: float
    fwhm_deg: float
    interval_95: Interval


@dataclass(frozen=True)
class SkyShare:
    """The measured open sky of a site, 0-1."""

    site: str
    value: float
    interval_95: Interval


@dataclass(frozen=True)
class HeightFit:
    """The height of a fixture above the water that fits its readings, and the stated one. [m]"""

    fixture: str
    height_m: float
    interval_95: Interval
    stated_m: float | None = None


@dataclass(frozen=True)
class TogetherFactor:
    """What is left of the sum of single channels when they run together, warm."""

    fixture: str
    factor: float
    interval_95: Interval


@dataclass(frozen=True)
class DimmingFoot:
    """The output below which a fixture stays dark, as a share of what its dimming curve says, 0-1."""

    fixture: str
    output: float
    interval_95: Interval


@dataclass(frozen=True)
class YellowingFit:
    """The yellowing of the water that fits the readings. [m-1]"""

    per_m: float
    interval_95: Interval


@dataclass(frozen=True)
class Parameter:
    """One fitted number, for drawing from the joint distribution.

    ``estimate`` is a natural logarithm for gain, open_sky and together; for beam the logarithm of the factor
    on all cosine lobes of the fixture; for yellowing and height the value itself [m-1, m]; for dimming the
    error of the driver in its standard uncertainties. A height that readings did not tell, and dimming, are
    as stated: the others are what they are there, and explanations shift them.
    """

    kind: ParameterKind
    fixture: str = ""
    channel: str = ""
    site: str = ""
    estimate: float = 0.0


@dataclass(frozen=True)
class Explanation:
    """One way to explain the readings.

    Attributes
    ----------
    odds : of being so; those of all explanations sum to 1
    says : what it says, empty where everything is as stated
    shift : what it adds to the estimate of each parameter; empty for nothing
    """

    odds: float
    says: str
    shift: tuple[float, ...] = ()


@dataclass(frozen=True)
class SeenMix:
    """A reading that saw channels together whose single outputs are hardly known: their sum is known well.

    Logarithms that are drawn for each channel would lose that sum, since it is no logarithm; a draw is put
    right by ``pull`` times ln(sum of share x exp(deviation)) - sum of share x deviation.

    Attributes
    ----------
    share : of the light that the reading saw, one number a parameter
    pull : how much each parameter follows what the reading shows more than expected
    """

    share: tuple[float, ...]
    pull: tuple[float, ...]


@dataclass(frozen=True)
class EarlierCalibration:
    """What is kept of a calibration that a newer one replaced."""

    date: str
    meters: tuple[str, ...]
    readings: int
    gains: tuple[ChannelGain, ...]


@dataclass(frozen=True, eq=False)
class Calibration:
    """What the readings of one day say.

    Attributes
    ----------
    date : of the readings, ISO 8601 ("2026-03-14")
    meters : names of the meters, in order of first use
    readings : how many were used
    parameters, covariance : the fitted numbers as they are to be drawn jointly, shape (n,) and (n, n);
        the common errors of meter and immersion are in the covariance
    explanations : ways to explain the readings, the likeliest first
    lux_factor : factor either way to which a lux meter that states no response is good (95 %), or None
    feet : lamps that stay dark at low levels
    seen_mixes : sums of channels that draws keep
    cautions : sentences of its file that hold as long as it does
    earlier : the calibrations it replaced, newest first
    """

    date: str
    meters: tuple[str, ...]
    readings: int
    gains: tuple[ChannelGain, ...]
    parameters: tuple[Parameter, ...]
    covariance: FloatArray
    beams: tuple[BeamWidth, ...] = ()
    open_sky: tuple[SkyShare, ...] = ()
    heights: tuple[HeightFit, ...] = ()
    together: tuple[TogetherFactor, ...] = ()
    yellowing: YellowingFit | None = None
    cautions: tuple[str, ...] = ()
    earlier: tuple[EarlierCalibration, ...] = ()
    file: str = ""
    explanations: tuple[Explanation, ...] = ()
    lux_factor: float | None = None
    feet: tuple[DimmingFoot, ...] = ()
    seen_mixes: tuple[SeenMix, ...] = ()

    def __post_init__(self) -> None:
        covariance = read_only(self.covariance)
        count = len(self.parameters)
        if covariance.shape != (count, count):
            raise ReadingsError(f"{count} parameters need a covariance of shape ({count}, {count})")
        if not np.all(np.isfinite(covariance)) or np.any(np.diagonal(covariance) < 0):
            raise ReadingsError("a covariance holds finite numbers, and none below 0 on its diagonal")
        if any(len(e.shift) not in (0, count) for e in self.explanations):
            raise ReadingsError(f"an explanation shifts all {count} parameters or none")
        if any(not len(m.share) == len(m.pull) == count for m in self.seen_mixes):
            raise ReadingsError(f"a seen mix holds a share and a pull for each of {count} parameters")
        for gain in self.gains:
            if not (math.isfinite(gain.gain) and gain.gain > 0 and gain.nominal_umol_s > 0):
                raise ReadingsError(f"gain {gain.gain:g} of channel {gain.channel!r} is not above 0")
        object.__setattr__(self, "covariance", covariance)

    def gain_of(self, fixture: str, channel: str) -> ChannelGain | None:
        """The gain of a channel, or None where this calibration says nothing about it."""
        return next((g for g in self.gains if (g.fixture, g.channel) == (fixture, channel)), None)

    def emitted_umol_s(self, fixture: str, channel: str) -> float | None:
        """Photon flux of a channel at full output, running with the others of its fixture. [umol s-1]"""
        gain = self.gain_of(fixture, channel)
        if gain is None:
            return None
        together = next((t.factor for t in self.together if t.fixture == fixture), 1.0)
        return gain.flux_umol_s * together

    def measures(self, fixture: str) -> bool:
        """Whether at least one channel of a fixture was told apart or measured with others by readings."""
        return any(g.fixture == fixture and g.tied_to != UNREAD for g in self.gains)

    def keeping(self, *kinds: ParameterKind) -> Calibration:
        """Only what is of these kinds: a swapped fixture leaves only water and open sky standing."""
        return self.only(lambda p: p.kind in kinds) or self

    def only(self, holds: Callable[[Parameter], bool]) -> Calibration | None:
        """Only what still holds, asked by kind and by fixture and channel or site; None where all does."""

        def kept(kind: ParameterKind, records: Sequence[_Named]) -> tuple[_Named, ...]:
            return tuple(r for r in records if holds(_about(kind, r)))

        index = [n for n, p in enumerate(self.parameters) if holds(p)]
        less = replace(
            self,
            gains=kept("gain", self.gains),
            feet=kept("gain", self.feet),
            beams=kept("beam", self.beams),
            open_sky=kept("open_sky", self.open_sky),
            heights=kept("height", self.heights),
            together=kept("together", self.together),
            yellowing=self.yellowing if holds(Parameter("yellowing")) else None,
            parameters=tuple(self.parameters[n] for n in index),
            explanations=tuple(
                replace(e, shift=tuple(e.shift[n] for n in index) if e.shift else ())
                for e in self.explanations
            ),
            seen_mixes=tuple(
                SeenMix(tuple(m.share[n] for n in index), tuple(m.pull[n] for n in index))
                for m in self.seen_mixes
                if not any(share > 0 for n, share in enumerate(m.share) if n not in index)
            ),
            covariance=self.covariance[np.ix_(index, index)],
        )
        counted = ("gains", "feet", "beams", "open_sky", "heights", "together", "parameters")
        same = all(len(getattr(less, k)) == len(getattr(self, k)) for k in counted)
        return None if same and less.yellowing is self.yellowing else less


def _about(kind: ParameterKind, record: object) -> Parameter:
    """What a fitted number is about, as a parameter names it."""
    fixture, channel, site = (getattr(record, key, "") for key in ("fixture", "channel", "site"))
    return Parameter(kind, fixture, channel, site)


UNREAD = "fixture file"
"""What the gains of a fixture are tied to when no reading saw any of its channels."""


@dataclass(frozen=True)
class ReadingFit:
    """One reading beside what the calibrated model says of its place and levels.

    ``reading_umol_m2_s`` is the corrected reading: PPFD. ``interval_95`` is what the reading alone can be
    out by, without the errors common to all readings of its meter.
    """

    line: int
    where: str
    on: str
    reading_umol_m2_s: float
    interval_95: Interval
    model_umol_m2_s: float
    outlier: bool

    @property
    def residual_fraction(self) -> float:
        """How far the reading is above the model, as a share of it."""
        return self.reading_umol_m2_s / self.model_umol_m2_s - 1


@dataclass(frozen=True)
class Contradiction:
    """A reading, and those of the same place and levels with which it cannot be right together."""

    reading: Reading
    others: tuple[Reading, ...]


@dataclass(frozen=True)
class Untying:
    """The single further reading that would tell most: one channel of a fixture alone.

    ``brightest`` is the reading where that channel was brightest, ``then`` what else is tied in its fixture.
    """

    fixture: str
    channel: str
    brightest: Reading
    then: tuple[str, ...] = ()


@dataclass(frozen=True)
class Trend:
    """What fixtures give beside an earlier calibration.

    Attributes
    ----------
    since : date of the earlier one
    change : of each fixture that both measured, as a share
    same_meters : whether both were made with the same meters
    usual : whether such meters can differ that much
    """

    since: str
    change: Mapping[str, float]
    same_meters: bool
    usual: bool


@dataclass(frozen=True)
class Finding:
    """What a keeper should look at, with its place and one cure.

    Attributes
    ----------
    key : what it is about: "shaded_place", "reading_left_out", "reading_far", "contradiction",
        "gain_unusual", "twins_apart", "sky_moved", "beam_unusual", "readings_scatter", "two_explanations",
        "lux_meter", "meter_scale", "below_foot"
    where : the site, fixture, channel or line that it is about
    lasts : whether it concerns every light that stands on the calibration
    reading : the reading that would tell, in a sentence; empty where there is none
    """

    key: str
    where: str
    text: str
    lasts: bool = True
    reading: str = ""


@dataclass(frozen=True)
class FixtureTotal:
    """What all channels of a fixture that readings saw give together at full output.

    ``factor_95`` is how well it is known: 1.1 is times or over 1.1.
    """

    fixture: str
    flux_umol_s: float
    factor_95: float


@dataclass(frozen=True)
class ReadingGroup:
    """Readings of one site, or with the same channels on; at least one."""

    name: str
    readings: tuple[ReadingFit, ...]

    @property
    def typical_off_fraction(self) -> float:
        """Median distance from the model, as a share of it; those left out aside if there are others."""
        used = [r for r in self.readings if not r.outlier] or self.readings
        return statistics.median(abs(r.residual_fraction) for r in used)

    @property
    def furthest(self) -> ReadingFit:
        """The reading furthest off."""
        return max(self.readings, key=lambda r: abs(r.residual_fraction))

    @property
    def middle_half(self) -> Interval | None:
        """Residuals between which half of the used readings lie; None for fewer than two."""
        used = [r.residual_fraction for r in self.readings if not r.outlier]
        if len(used) < 2:
            return None
        low, high = np.percentile(used, [25, 75])
        return float(low), float(high)


@dataclass(frozen=True, eq=False)
class CalibrationFit:
    """Everything `calibrate` reports.

    Attributes
    ----------
    residuals : one a reading, in the order of the file
    contradictions : readings that cannot both be right
    untying : the single further reading that would tell most tied channels apart; None where none is tied
    trend : how this compares with the latest earlier calibration; None without one
    findings : what the keeper should look at, the weightiest first
    totals : how well each fixture that was read is known
    light_factor_95 : how well the light where readings were made is known, the middle of them
    """

    calibration: Calibration
    residuals: tuple[ReadingFit, ...]
    contradictions: tuple[Contradiction, ...] = ()
    untying: Untying | None = None
    trend: Trend | None = None
    findings: tuple[Finding, ...] = ()
    totals: tuple[FixtureTotal, ...] = ()
    light_factor_95: float | None = None

    def grouped(self, by: Literal["where", "on"]) -> list[ReadingGroup]:
        """Readings by site or by what was on, the group that is typically furthest off first."""
        groups: dict[str, list[ReadingFit]] = {}
        for reading in self.residuals:
            groups.setdefault(getattr(reading, by), []).append(reading)
        made = [ReadingGroup(name, tuple(readings)) for name, readings in groups.items()]
        return sorted(made, key=lambda group: -group.typical_off_fraction)
