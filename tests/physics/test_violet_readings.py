"""Readings of violet light, where quantum sensors disagree."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from lightdose.model.spectrum import LedPeak, Meter, SpectralTable
from lightdose.physics.emission import photon_distribution
from lightdose.physics.meters import VIOLET_FRACTION, violet_spread

METER = Meter("quantum", "umol")
VIOLET, BLUE = (photon_distribution(LedPeak(nm, width)) for nm, width in ((405, 14), (490, 20)))


@pytest.mark.published
def test_spread_of_a_violet_reading_covers_the_published_sensors() -> None:
    """Factors of 0.98 to 1.9 that seven sensors need at 405 nm are the 95 % of the spread."""
    # Source: response curves of the open data set photobiologySensors, calibrated on D65; figures only.
    assert math.log(1.9 / 0.98) / (2 * 1.96) == pytest.approx(VIOLET_FRACTION, abs=0.005)
    assert violet_spread(METER, VIOLET) == pytest.approx(VIOLET_FRACTION, rel=0.06)


@pytest.mark.identity
def test_spread_goes_with_the_share_of_violet_light() -> None:
    """None under blue light, half of it where half the photons are violet; what the keeper states counts."""
    assert violet_spread(METER, BLUE) == pytest.approx(0.0, abs=1e-4)
    inside = np.where((np.arange(300, 800) >= 400) & (np.arange(300, 800) < 700), 1.0, 0.0)
    mixed = VIOLET * inside / (VIOLET @ inside) + BLUE * inside / (BLUE @ inside)
    assert violet_spread(METER, mixed) == pytest.approx(0.5 * violet_spread(METER, VIOLET), rel=1e-3)
    assert violet_spread(METER, VIOLET, 0.34) == pytest.approx(2 * violet_spread(METER, VIOLET))
    assert violet_spread(METER, np.zeros(500)) == 0.0


@pytest.mark.identity
def test_meter_with_a_measured_response_or_of_lux_has_none_of_it() -> None:
    """A response that was measured knows its violet; a lux meter is told by V(lambda)."""
    table = SpectralTable("own", np.array([380.0, 750.0]), np.array([1.0, 1.0]))
    assert violet_spread(replace(METER, response=table), VIOLET) == 0.0
    assert violet_spread(Meter("lux", "lux", "v-lambda"), VIOLET) == 0.0
