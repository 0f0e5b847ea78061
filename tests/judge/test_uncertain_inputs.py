"""What is drawn, how widely, and what a calibration or the keeper puts in its place."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from lightdose.files.library import daylight_d65, read_emitter
from lightdose.judge.uncertain_inputs import (
    DEFAULTS,
    SHEET_HIGH,
    SHEET_LOW,
    SHEET_SHAPE,
    Draws,
    described,
    draw_inputs,
    has_tail,
    uncertain_inputs,
)
from lightdose.model.calibration import Calibration, ChannelGain, Parameter
from lightdose.model.setup import Setup
from lightdose.model.spectrum import LedPeak, SpectrumMix

from .full_model import small_setup

COUNT = 20_000


def drawn(setup: Setup, count: int = COUNT) -> Draws:
    return draw_inputs(uncertain_inputs(setup), count, 3)


def only(**own: float) -> Setup:
    """A setup in which everything is known but what is named."""
    return replace(small_setup(), uncertainty={**dict.fromkeys(DEFAULTS, 0.0), **own})


@pytest.mark.identity
def test_data_sheet_distribution_has_its_stated_moments() -> None:
    """Mode 1.0, mean 0.9 and standard deviation 0.10 follow from the exponents."""
    a, b = SHEET_SHAPE
    width = SHEET_HIGH - SHEET_LOW
    assert SHEET_LOW + width * (a - 1) / (a + b - 2) == pytest.approx(1.0, abs=1e-12)
    assert SHEET_LOW + width * a / (a + b) == pytest.approx(0.9, abs=1e-12)
    assert width * math.sqrt(a * b / ((a + b) ** 2 * (a + b + 1))) == pytest.approx(0.1, abs=1e-12)


@pytest.mark.identity
def test_drawn_data_sheet_gains_have_these_moments() -> None:
    """The common factor of a fixture and 5 % of each channel on top, within sampling error."""
    gain = drawn(small_setup()).gain
    assert gain.shape == (COUNT, 4)
    assert gain.mean(axis=0) == pytest.approx(0.9 * math.exp(math.log(1.05) ** 2 / 2), rel=0.004)
    common = np.sqrt(gain[:, 0] * gain[:, 1])
    assert np.quantile(common, 0.0005) > 0.55
    assert np.quantile(common, 0.9995) < 1.2
    together = np.corrcoef(np.log(gain), rowvar=False)
    # ln sd: 0.118 common, 0.049 own; channels of one fixture share the first
    assert together[0, 1] == pytest.approx(0.118**2 / (0.118**2 + 0.0488**2), abs=0.03)
    assert abs(together[0, 2]) < 0.03


@pytest.mark.identity
def test_typical_values_are_good_to_a_factor_of_two() -> None:
    """95 % of the common factors lie between a half and two."""
    setup = replace(small_setup(typical=True), uncertainty={"flux_channel_fraction": 0.0})
    gain = drawn(setup).gain[:, 0]
    assert np.mean((gain > 0.5) & (gain < 2)) == pytest.approx(0.95, abs=0.006)
    assert np.median(gain) == pytest.approx(1.0, rel=0.02)


@pytest.mark.identity
def test_own_flux_uncertainty_stands_around_the_stated_value() -> None:
    """A keeper who states 5 % means both ways: the skew is gone."""
    gain = drawn(only(flux_common_fraction=0.05)).gain
    assert np.median(gain, axis=0) == pytest.approx(1.0, rel=0.003)
    assert np.log(gain).std(axis=0) == pytest.approx(math.log(1.05), rel=0.03)
    assert np.array_equal(gain[:, 0], gain[:, 1])


@pytest.mark.identity
@pytest.mark.parametrize("height_cm", [0.0, 1.0, 2.5])
def test_height_is_drawn_once_a_fixture(height_cm: float) -> None:
    """Its spread is the stated one, and two fixtures are independent."""
    height = drawn(only(height_cm=height_cm)).height_m
    assert height.mean(axis=0) == pytest.approx(0.15, abs=0.0005)
    assert height.std(axis=0) == pytest.approx(0.01 * height_cm, rel=0.03)


@pytest.mark.identity
def test_beam_is_wide_where_it_is_assumed() -> None:
    """20 % for the default beam, 5 % for a stated one, and no lobe wider than 175 deg."""
    stated, assumed = small_setup(), small_setup(assumed=True)
    assert drawn(stated).ln_beam.std(axis=0) == pytest.approx(math.log(1.05), rel=0.03)
    wide = drawn(assumed).ln_beam
    assert np.quantile(wide, 0.16, axis=0) == pytest.approx(-math.log(1.2), rel=0.04)
    assert 120 * math.exp(wide.max()) <= 175.0001


@pytest.mark.identity
def test_yellowing_only_adds() -> None:
    """The half-normal never makes water clearer than stated; its mean is sd sqrt(2/pi)."""
    added = drawn(small_setup()).added_yellowing_per_m
    assert added.min() >= 0
    assert added.mean() == pytest.approx(0.05 * math.sqrt(2 / math.pi), rel=0.03)


def calibrated(covariance: np.ndarray) -> Setup:
    gains = tuple(
        ChannelGain("one", channel, 1.0, (0.9, 1.1), flux) for channel, flux in (("blue", 20.0), ("red", 9.0))
    )
    parameters = (
        Parameter("gain", "one", "blue"),
        Parameter("gain", "one", "red"),
        Parameter("beam", "one"),
        Parameter("open_sky", site="low", estimate=math.log(0.6)),
        Parameter("yellowing", estimate=0.1),
    )
    known = Calibration("2026-01-05", ("made",), 12, gains, parameters, covariance)
    return replace(small_setup(), calibration=known)


@pytest.mark.identity
def test_calibration_is_drawn_jointly() -> None:
    """The draws have the covariance of the fit; a read fixture's height is in its gains already."""
    sd = np.array([0.04, 0.05, 0.03, 0.06, 0.02])
    correlation = np.eye(5)
    correlation[0, 1] = correlation[1, 0] = 0.8
    correlation[0, 2] = correlation[2, 0] = -0.5
    covariance = correlation * np.outer(sd, sd)
    draws = drawn(calibrated(covariance))
    columns = [np.log(draws.gain[:, 0]), np.log(draws.gain[:, 1]), draws.ln_beam[:, 0], draws.ln_sky["low"]]
    got = np.cov(np.column_stack([*columns, draws.added_yellowing_per_m]), rowvar=False)
    assert got / np.outer(sd, sd) == pytest.approx(correlation, abs=0.04)
    assert draws.height_m[:, 0].std() == pytest.approx(0, abs=1e-15)
    assert draws.height_m[:, 1].std() == pytest.approx(0.01, rel=0.03)
    assert draws.gain[:, 2].mean() == pytest.approx(0.9, rel=0.01)


@pytest.mark.identity
def test_water_never_gets_clearer_than_pure() -> None:
    """A measured yellowing with a wide spread stays at 0 or more."""
    draws = drawn(calibrated(np.diag([0.0, 0.0, 0.0, 0.0, 0.25])))
    assert draws.added_yellowing_per_m.min() == pytest.approx(-0.1)


@pytest.mark.pinned
def test_inputs_are_described_with_their_origin() -> None:
    """Each row says what, how well, and its source."""
    rows = {r.what: (r.spread, r.origin) for r in described(uncertain_inputs(only(height_cm=2.0)))}
    assert rows["height of a fixture"] == ("2 cm", "your own")
    assert rows["output of a fixture"] == ("0 %", "your own")
    stated = {r.what: (r.spread, r.origin) for r in described(uncertain_inputs(small_setup()))}
    assert stated["output of a fixture"] == ("0.6 to 1.05 of the data sheet, skewed low", "our choice")
    assert stated["width of a beam"][0] == "5 %, 20 % where it is assumed"
    measured = described(uncertain_inputs(calibrated(np.eye(5) * 0.01)))
    assert measured[0].origin == "calibration"
    assert "height of a fixture" in {r.what for r in measured}


@pytest.mark.identity
def test_what_readings_told_is_not_listed_again() -> None:
    """Where every fixture was read, its height, beam and channels stand in the calibration alone."""
    setup = calibrated(np.eye(5) * 0.01)
    rows = {r.what for r in described(uncertain_inputs(replace(setup, fixtures=setup.fixtures[:1])))}
    assert not rows & {"height of a fixture", "width of a beam", "output of a channel beside the others"}
    assert "position of a place on each axis" in rows


@pytest.mark.identity
def test_only_modelled_leds_have_a_tail_that_is_not_known() -> None:
    """Peaks and library LEDs are models without tails; whites, measured tables and D65 hold theirs."""
    assert has_tail(LedPeak(450, 20))
    assert has_tail(read_emitter("blue-470"))
    assert not has_tail(read_emitter("white-led-b4"))
    assert not has_tail(daylight_d65())
    assert has_tail(SpectrumMix(((read_emitter("white-led-b4"), 0.5), (LedPeak(450, 20), 0.5))))
