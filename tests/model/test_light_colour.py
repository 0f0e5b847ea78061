from __future__ import annotations

import numpy as np
import pytest

from lightdose.model.spectrum import (
    GRID_NM,
    ChannelSpectrum,
    LedPeak,
    SpectralDistribution,
    SpectrumMix,
    light_colour,
)


def _peak(centre_nm: float, fwhm_nm: float) -> SpectralDistribution:
    values = np.exp(-4 * np.log(2) * ((GRID_NM - centre_nm) / fwhm_nm) ** 2)
    return SpectralDistribution("p", GRID_NM, values, "photons")


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("spectrum", "colour"),
    [
        (LedPeak(405, 14), "violet"),
        (LedPeak(445, 20), "blue"),
        (LedPeak(470, 24), "blue"),
        (LedPeak(500, 28), "cyan"),
        (LedPeak(525, 33), "green"),
        (LedPeak(590, 16), "amber"),
        (LedPeak(660, 18), "red"),
        (LedPeak(730, 25), "far red"),
        (LedPeak(560, 130), "white"),
        (_peak(450, 20), "blue"),
        (_peak(560, 150), "white"),
        (SpectrumMix(((LedPeak(450, 20), 0.7), (LedPeak(470, 20), 0.3))), "blue"),
        (SpectrumMix(((LedPeak(450, 20), 0.5), (LedPeak(660, 20), 0.5))), "white"),
    ],
)
def test_colour_is_that_of_narrow_light_at_its_peak(spectrum: ChannelSpectrum, colour: str) -> None:
    """Narrow light is named by its peak, broad and mixed light is white."""
    assert light_colour(spectrum) == colour
