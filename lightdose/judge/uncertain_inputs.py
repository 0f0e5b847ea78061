"""On what the numbers stand: what is not known exactly, how well it is known, and seeded draws of it.

Common terms are drawn once a fixture, the water's once a tank, a place's once a site. A calibration replaces
what it measured by its own joint distribution.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from lightdose.model.fixture import Channel, CosineLobe, Fixture
from lightdose.model.forms import OPEN_SKY_RANGES, OPEN_SKY_WORDS
from lightdose.model.record import FloatArray, dataclass, read_only
from lightdose.model.results import Basis, UncertainInput
from lightdose.model.setup import Setup
from lightdose.model.spectrum import ChannelSpectrum, LedPeak, SpectrumMix
from lightdose.physics.emission import photon_distribution
from lightdose.physics.field_changes import FixtureSteps
from lightdose.physics.meters import VIOLET_FRACTION, violet_share
from lightdose.quantities import Z_95

if TYPE_CHECKING:
    from lightdose.model.calibration import Calibration, ParameterKind


def basis_of(setup: Setup) -> Basis:
    """Whether a setup's light stands on readings, data sheets or typical values, in one sentence.

    The weakest channel of the enabled fixtures decides; a fixture that no reading saw stands on its file.

    Source
    ------
    The factor of 2 on typical efficiencies and 0.6 to 1.05 on data sheets are our choice, from memory of
    data sheets that state an ideal driver, a cool LED and no lens; no published source.
    """
    calibration = setup.calibration
    unread = [f for f in setup.lit_fixtures if calibration is None or not calibration.measures(f.name)]
    edited = [] if calibration is None else _edited_since(setup, calibration, unread)
    if calibration is not None and not unread and not edited and setup.lit_fixtures:
        return Basis("measured", measured_sentence(calibration))
    channels = [(f, c) for f in unread for c in f.type.channels] + edited
    typical = sorted({f.name for f, c in channels if c.flux is not None and c.flux.typical})
    assumed = sorted({f.name for f, c in channels if isinstance(c.beam, CosineLobe) and c.beam.assumed})
    beam = f"; beam of {_names(assumed)} assumed 120 deg wide" if assumed else ""
    lead = "Not measured."
    if len(unread) < len(setup.lit_fixtures):
        parts = [f"no reading saw {_names([f.name for f in unread])}"] if unread else []
        if edited:
            parts.append(f"changed since the readings: {_names([f'{f.name}, {c.name}' for f, c in edited])}")
        lead = f"Measured in part: {'; '.join(parts)}."
    if typical:
        return Basis(
            "typical values",
            f"{lead} Based on typical values for {_names(typical)}, good to a factor of 2{beam}.",
        )
    return Basis(
        "data sheet",
        f"{lead} Based on data sheets; the true light is probably 60-105 % of this (our assumption){beam}.",
    )


def _edited_since(
    setup: Setup, calibration: Calibration, unread: Sequence[Fixture]
) -> list[tuple[Fixture, Channel]]:
    """Channels of measured fixtures whose light was stated anew after the readings."""
    read = [f for f in setup.lit_fixtures if f not in unread]
    return [(f, c) for f in read for c in f.type.channels if calibration.gain_of(f.name, c.name) is None]


A_FACTOR = 1.5
"""From here on a spread is spoken of as a factor: our choice."""


def measured_sentence(calibration: Calibration) -> str:
    """The first line of an answer that stands on readings."""
    count = calibration.readings
    if count == 0:
        return f"Nothing measured: no reading of {calibration.date} agrees with the rest; read again."
    meters = f" with {', '.join(calibration.meters)}" if calibration.meters else ""
    tied = sorted({g.channel for g in calibration.gains if g.tied_to is not None})
    ties = f"; {_names(tied)} not told apart by them" if tied else ""
    if len(calibration.gains) > 1 and all(g.tied_to is not None for g in calibration.gains):
        ties = "; channels not told apart by them"
    readings = f"{count} reading{'s' if count != 1 else ''} of {calibration.date}{meters}{ties}"
    if (factor := calibration.lux_factor) is None:
        return f"Measured: {readings}."
    good = f"a factor of {factor:.1f}" if factor >= A_FACTOR else f"{100 * (factor - 1):.0f} %"
    return f"Measured with a lux meter: good to {good} ({readings})."


def _names(names: list[str]) -> str:
    return ", ".join(repr(n) for n in names)


DEFAULTS: Mapping[str, float] = {
    "flux_common_fraction": 0.10,
    "flux_channel_fraction": 0.05,
    "beam_fraction": 0.05,
    "height_cm": 1.0,
    "position_cm": 1.0,
    "open_sky": 0.05,
    "yellowing_per_m": 0.05,
    "dimming_points": 2.0,
    "model_fraction": 0.02,
    "led_tail_points": 2.0,
    "violet_reading_fraction": VIOLET_FRACTION,
}
"""Standard uncertainties by default: our choice. A calibration and [uncertainty] of a setup replace them.

LED tails: three measured blue LEDs have 2.3 % of their photons above 500 nm where the model has 0.3-0.5 %, a
green one 8.9 % below 500 nm where it has 14.6 % (computed by us from the open data set photobiologyLEDs;
figures only). Violet: see ``physics.meters``.
"""

MODELLED_LED = "widths from memory"
"""How the source of a single-colour LED of the library ends."""

ASSUMED_BEAM_FRACTION = 0.20
"""Where a fixture file names no beam: our choice."""

SHEET_LOW, SHEET_HIGH = 0.6, 1.05
SHEET_SHAPE = (7 / 3, 7 / 6)
"""What a fixture gives of its data sheet: a beta distribution on 0.6 to 1.05, skewed low. With these
exponents its mode is 1.0, its mean 0.9 and its standard deviation 0.10, all exactly. Our choice, from memory
of sheets that state an ideal driver, a cool LED and no lens."""

TYPICAL_SD_LN = math.log(2.0) / Z_95
"""Typical values are good to a factor of 2 either way, 95 %: our choice."""

STEP_SD = 2.0
"""Heights, beams and yellowing are computed at so many standard uncertainties to either side."""

FURTHEST_SD = 3.0
"""Draws of them are held within this many, where interpolation still holds."""

LOWEST_HEIGHT_SHARE = 0.25
WIDEST_DEG = 175.0


@dataclass(frozen=True, eq=False)
class FixtureSpread:
    """How well one fixture is known.

    Attributes
    ----------
    fixture : Fixture
    height_sd_m, ln_beam_sd : standard uncertainties; 0 where it is taken as stated
    """

    fixture: Fixture
    height_sd_m: float
    ln_beam_sd: float

    @property
    def ln_beam_limit(self) -> float:
        """Largest ln of a factor that no cosine lobe of the fixture outgrows."""
        widths = [c.beam.fwhm_deg for c in self.fixture.type.channels if isinstance(c.beam, CosineLobe)]
        return math.log(WIDEST_DEG / max(widths)) if widths else math.inf

    @property
    def steps(self) -> FixtureSteps:
        """Where it is computed besides its stated height and beam."""
        height, rise = self.fixture.height_m, STEP_SD * self.height_sd_m
        wide = STEP_SD * self.ln_beam_sd
        return FixtureSteps(
            (max(height - rise, LOWEST_HEIGHT_SHARE * height), height + rise),
            (-wide, min(wide, self.ln_beam_limit)),
        )


@dataclass(frozen=True, eq=False)
class UncertainInputs:
    """Everything that is drawn, with its spread.

    Attributes
    ----------
    values : the standard uncertainties by the keys of [uncertainty]
    own : keys that the keeper set
    fixtures : one a lit fixture
    calibration : what was measured, drawn jointly; or None
    """

    values: Mapping[str, float]
    own: frozenset[str]
    fixtures: tuple[FixtureSpread, ...]
    calibration: Calibration | None
    yellowing_per_m: float

    @property
    def position_m(self) -> float:
        """Standard uncertainty of a place along each axis. [m]"""
        return 0.01 * self.values["position_cm"]

    @property
    def yellowing_steps_per_m(self) -> tuple[float, float]:
        """Added yellowing at which the light is computed. [m-1]"""
        measured = _sd(self.calibration, "yellowing")
        if measured is not None:
            return -STEP_SD * measured, STEP_SD * measured
        return 0.5 * STEP_SD * self.values["yellowing_per_m"], STEP_SD * self.values["yellowing_per_m"]


@lru_cache(maxsize=2)
def uncertain_inputs(setup: Setup) -> UncertainInputs:
    """How well everything in a setup is known.

    Source
    ------
    Standard uncertainties: our choice, or the keeper's own, or the covariance of a calibration. Where
    readings measured a fixture its gains hold the error of its height already, so that is not drawn again
    unless the keeper states it.
    """
    own = frozenset(k for k in setup.uncertainty if k in DEFAULTS)
    values = {**DEFAULTS, **{k: setup.uncertainty[k] for k in own}}
    calibration = setup.calibration
    spreads = []
    for fixture in setup.lit_fixtures:
        height = _sd(calibration, "height", fixture.name)
        if height is None:
            held = calibration is not None and calibration.measures(fixture.name) and "height_cm" not in own
            height = 0.0 if held else 0.01 * values["height_cm"]
        beam = _sd(calibration, "beam", fixture.name)
        if beam is None:
            assumed = any(isinstance(c.beam, CosineLobe) and c.beam.assumed for c in fixture.type.channels)
            wide = assumed and "beam_fraction" not in own
            beam = math.log1p(ASSUMED_BEAM_FRACTION if wide else values["beam_fraction"])
        spreads.append(FixtureSpread(fixture, height, beam))
    return UncertainInputs(values, own, tuple(spreads), calibration, setup.water.yellowing_440_per_m)


def sky_spread_ln(words: Sequence[str]) -> tuple[float, float]:
    """Standard uncertainties below and above, of ln of an open sky that words state.

    Parameters
    ----------
    words : of ``OPEN_SKY_RANGES``: of a place, and of the coral at it

    Source
    ------
    The lowest and highest of the traced places behind each word taken as 95 %; our choice.
    """
    sides = [
        (math.log(OPEN_SKY_WORDS[w] / low) / Z_95, math.log(high / OPEN_SKY_WORDS[w]) / Z_95)
        for w in words
        for low, high in (OPEN_SKY_RANGES[w],)
    ]
    below, above = (math.hypot(*side) for side in zip(*sides, strict=True))
    return below, above


def _sd(calibration: Calibration | None, kind: ParameterKind, fixture: str = "") -> float | None:
    """Standard uncertainty of a calibrated parameter, None where readings did not give it."""
    if calibration is None:
        return None
    for index, parameter in enumerate(calibration.parameters):
        if parameter.kind == kind and parameter.fixture == fixture:
            return math.sqrt(float(calibration.covariance[index, index]))
    return None


@dataclass(frozen=True, eq=False)
class Draws:
    """Seeded draws of what is common to all places.

    Attributes
    ----------
    gain : array, shape (n_draw, n_channel); factor on the stated or measured output
    height_m, ln_beam, dimming : array, shape (n_draw, n_fixture); height above the water [m], ln of the
        factor on the beam, error of the output at mid level (0-1)
    added_yellowing_per_m : array, shape (n_draw,). [m-1]
    ln_sky : by site, shape (n_draw,); ln of the factor on a measured open sky
    """

    gain: FloatArray
    height_m: FloatArray
    ln_beam: FloatArray
    dimming: FloatArray
    added_yellowing_per_m: FloatArray
    ln_sky: Mapping[str, FloatArray]


def stream(seed: int, *names: str) -> np.random.Generator:
    """Random numbers of something's own, by its name: nothing else that is drawn changes them."""
    digest = hashlib.blake2b("\0".join(names).encode("utf-8", "surrogatepass"), digest_size=16).digest()
    words = seed.to_bytes(4 * max(1, -(-seed.bit_length() // 32)), "little") + digest
    return np.random.default_rng(np.frombuffer(words, "<u4"))


@lru_cache(maxsize=1)
def draw_inputs(inputs: UncertainInputs, count: int, seed: int) -> Draws:
    """Draw what is common to all places; the last draws are kept, for advice asks for more places of a tank.

    Parameters
    ----------
    inputs : UncertainInputs
    count : int
        How many draws.
    seed : int

    Source
    ------
    Monte Carlo propagation, JCGM 101:2008. Distributions: see this module.
    """
    measured = _measured_draws(inputs.calibration, count, seed)
    gains, heights, beams = [], [], []
    for spread in inputs.fixtures:
        fixture = spread.fixture
        gains.append(_gain_draws(inputs, fixture, measured, count, seed))
        height = measured.get(("height", fixture.name, ""))
        if height is None:
            height = spread.height_sd_m * _held_normal(stream(seed, "height", fixture.name), count)
        heights.append(np.maximum(fixture.height_m + height, LOWEST_HEIGHT_SHARE * fixture.height_m))
        beam = measured.get(("beam", fixture.name, ""))
        if beam is None:
            beam = spread.ln_beam_sd * _held_normal(stream(seed, "beam", fixture.name), count)
        beams.append(np.minimum(beam, spread.ln_beam_limit))
    yellowing = measured.get(("yellowing", "", ""))
    if yellowing is None:
        yellowing = inputs.values["yellowing_per_m"] * np.abs(_held_normal(stream(seed, "yellowing"), count))
    empty = np.ones((count, 0))
    return Draws(
        gain=read_only(np.concatenate(gains, axis=1) if gains else empty),
        height_m=read_only(np.column_stack(heights) if heights else empty),
        ln_beam=read_only(np.column_stack(beams) if beams else empty),
        dimming=read_only(dimming_draws(inputs, count, seed, measured)),
        added_yellowing_per_m=read_only(np.maximum(yellowing, -inputs.yellowing_per_m)),
        ln_sky={key[2]: values for key, values in measured.items() if key[0] == "open_sky"},
    )


def dimming_draws(
    inputs: UncertainInputs,
    count: int,
    seed: int,
    measured: Mapping[tuple[str, str, str], FloatArray] | None = None,
) -> FloatArray:
    """Draws of the error of each fixture's output at mid level, shape (n_draw, n_fixture), 0-1.

    Source
    ------
    Normal, with the stated percentage points as its standard deviation.
    """
    spread = 0.01 * inputs.values["dimming_points"]
    if measured is None:
        measured = _measured_draws(inputs.calibration, count, seed)
    drawn = []
    for name in (s.fixture.name for s in inputs.fixtures):
        told = measured.get(("dimming", name, ""))
        drawn.append(
            spread * (stream(seed, "dimming", name).standard_normal(count) if told is None else told)
        )
    return np.column_stack(drawn) if drawn else np.ones((count, 0))


def _held_normal(rng: np.random.Generator, count: int) -> FloatArray:
    return np.clip(rng.standard_normal(count), -FURTHEST_SD, FURTHEST_SD)


def _gain_draws(
    inputs: UncertainInputs,
    fixture: Fixture,
    measured: Mapping[tuple[str, str, str], FloatArray],
    count: int,
    seed: int,
) -> FloatArray:
    """Factors on the outputs of a fixture's channels, (n_draw, n_channel)."""
    common = {
        kind: _common_draw(inputs, kind, count, stream(seed, "output", fixture.name, kind))
        for kind in _kinds(fixture)
    }
    apart, tail = (inputs.values[key] for key in ("flux_channel_fraction", "led_tail_points"))
    together = measured.get(("together", fixture.name, ""))
    read_violet = stream(seed, "violet", fixture.name).standard_normal(count)
    out = np.empty((count, len(fixture.type.channels)))
    for column, channel in enumerate(fixture.type.channels):
        ln = measured.get(("gain", fixture.name, channel.name))
        if ln is None:
            own = stream(seed, "channel", fixture.name, channel.name).standard_normal(count)
            ln_sd = math.hypot(math.log1p(apart), 0.01 * tail * has_tail(channel.spectrum))
            out[:, column] = common[_kind(channel)] * np.exp(ln_sd * own)
        else:
            weak = inputs.values["violet_reading_fraction"] * violet_share(
                photon_distribution(channel.spectrum)
            )
            out[:, column] = np.exp((ln if together is None else ln + together) + weak * read_violet)
    return out


def has_tail(spectrum: ChannelSpectrum) -> bool:
    """Whether a spectrum is that of a single-colour LED by its model, which knows no tails.

    Its photons beyond the band change PPFD by their points at most; a spectrum that was measured holds them.
    """
    if isinstance(spectrum, SpectrumMix):
        return any(has_tail(part) for part, _ in spectrum.parts)
    return isinstance(spectrum, LedPeak) or spectrum.origin.endswith(MODELLED_LED)


def _kind(channel: Channel) -> str:
    return "typical" if channel.flux is not None and channel.flux.typical else "data sheet"


def _kinds(fixture: Fixture) -> list[str]:
    """The kinds of statement in a fixture's file, in order of appearance."""
    return list(dict.fromkeys(_kind(c) for c in fixture.type.channels))


def _common_draw(inputs: UncertainInputs, kind: str, count: int, rng: np.random.Generator) -> FloatArray:
    """Factor on all channels of a fixture that stand on one kind of statement."""
    if "flux_common_fraction" in inputs.own:
        sd = math.log1p(inputs.values["flux_common_fraction"])
        return np.asarray(np.exp(sd * rng.standard_normal(count)))
    if kind == "typical":
        return np.asarray(np.exp(TYPICAL_SD_LN * rng.standard_normal(count)))
    return SHEET_LOW + (SHEET_HIGH - SHEET_LOW) * rng.beta(*SHEET_SHAPE, count)


def _measured_draws(
    calibration: Calibration | None, count: int, seed: int
) -> dict[tuple[str, str, str], FloatArray]:
    """Joint deviations from the calibrated values, by kind, fixture, and channel or site.

    Each draw stands on one explanation of the readings, as often as its odds say.
    """
    if calibration is None or not calibration.parameters:
        return {}
    names = [(p.kind, p.fixture, p.channel or p.site) for p in calibration.parameters]
    order = sorted(range(len(names)), key=names.__getitem__)
    value, vector = np.linalg.eigh(calibration.covariance[np.ix_(order, order)])
    root = (vector * np.sqrt(np.maximum(value, 0.0))) @ vector.T
    deviation = stream(seed, "measured").standard_normal((count, len(value))) @ root.T
    if calibration.seen_mixes:
        share, pull = (
            np.array([getattr(m, part) for m in calibration.seen_mixes])[:, order]
            for part in ("share", "pull")
        )
        weight = (share / share.sum(axis=1, keepdims=True)).T
        beyond = np.log(np.exp(deviation) @ weight) - deviation @ weight
        deviation = deviation - beyond @ pull
    if calibration.explanations:
        odds = np.array([e.odds for e in calibration.explanations])
        none = (0.0,) * len(names)
        shifts = np.array([e.shift or none for e in calibration.explanations])[:, order]
        chance = stream(seed, "explanation").random(count)
        which = np.searchsorted(np.cumsum(odds) / odds.sum(), chance, side="right")
        deviation = deviation + shifts[np.minimum(which, len(odds) - 1)]
    return {names[of]: np.ascontiguousarray(deviation[:, i]) for i, of in enumerate(order)}


def described(inputs: UncertainInputs) -> tuple[UncertainInput, ...]:
    """The uncertain inputs in words, for those who read the answer."""
    kinds = {k for s in inputs.fixtures for k in _kinds(s.fixture) if not _is_measured(inputs, s.fixture)}
    rows = []
    if any(_is_measured(inputs, s.fixture) for s in inputs.fixtures):
        rows.append(UncertainInput("measured outputs and beams", "as the calibration says", "calibration"))
    if kinds and "flux_common_fraction" in inputs.own:
        share = 100 * inputs.values["flux_common_fraction"]
        rows.append(UncertainInput("output of a fixture", f"{share:g} %", "your own"))
    else:
        words = {
            "data sheet": "0.6 to 1.05 of the data sheet, skewed low",
            "typical": "a factor of 2 either way",
        }
        rows += [UncertainInput("output of a fixture", words[k], "our choice") for k in sorted(kinds)]
    texts = {
        "flux_channel_fraction": ("output of a channel beside the others", "{:g} %", 100.0),
        "beam_fraction": ("width of a beam", "{:g} %, 20 % where it is assumed", 100.0),
        "height_cm": ("height of a fixture", "{:g} cm", 1.0),
        "position_cm": ("position of a place on each axis", "{:g} cm", 1.0),
        "open_sky": ("open sky where below 1", "{:g}", 1.0),
        "yellowing_per_m": ("yellowing beyond the stated", "{:g} per m, to more only", 1.0),
        "dimming_points": (
            "output of a dimmed channel",
            "{:g} points at mid level, four times near the foot of ramps",
            1.0,
        ),
        "model_fraction": ("light field of the model", "{:g} %", 100.0),
        "led_tail_points": ("photons of modelled LEDs beyond their band", "{:g} points of the channel", 1.0),
    }
    told_by_readings = {"flux_channel_fraction", "beam_fraction", "height_cm"} - inputs.own
    for key, (what, text, scale) in texts.items():
        if key in told_by_readings and inputs.fixtures and not kinds:
            continue
        own = key in inputs.own
        said = text.replace(", 20 % where it is assumed", "") if own else text
        origin = "your own" if own else "our choice"
        rows.append(UncertainInput(what, said.format(round(scale * inputs.values[key], 6)), origin))
    return tuple(rows)


def _is_measured(inputs: UncertainInputs, fixture: Fixture) -> bool:
    return inputs.calibration is not None and inputs.calibration.measures(fixture.name)
