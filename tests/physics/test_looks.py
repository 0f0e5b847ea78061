"""What a place gets beside how it looks."""

from __future__ import annotations

import numpy as np
import pytest

from lightdose.files.library import read_emitter, reference_tables
from lightdose.model.light import ChannelKey, DayCurve, LightField
from lightdose.model.setup import Receiver
from lightdose.model.spectrum import GRID_NM
from lightdose.physics.emission import photon_distribution, weigh, weighting_matrix
from lightdose.physics.spectrum_metrics import eye, looks_and_gets, tristimulus_of

TABLES = reference_tables()
WHITE = read_emitter("white-led-b5")
EYE = eye(TABLES, WHITE, "CIE LED-B5")


def looks_under(*spectra, peak_output=1.0):
    """One place, one channel a spectrum, all at the same output at noon."""
    rows = weigh(np.array(spectra), weighting_matrix(TABLES, ("ppfd", "lux")))
    field = LightField(
        (Receiver("here", "here", 0.1, 0.1, 0.1, 1.0),),
        tuple(ChannelKey("lamp", str(i)) for i in range(len(spectra))),
        ("ppfd", "lux"),
        rows[None],
    )
    outputs = np.array([[0.0], [peak_output], [peak_output], [0.0]]) * np.ones(len(spectra))
    curve = DayCurve(np.array([0.0, 9.0, 15.0, 24.0]), outputs[:3], outputs[1:])
    return looks_and_gets(field, curve, tristimulus_of(np.array(spectra), TABLES)[None], EYE)[0]


@pytest.mark.identity
def test_white_light_looks_as_bright_as_itself():
    """Under the white light itself the share is 1, and so is the colour."""
    look = looks_under(200 * photon_distribution(WHITE))
    assert look.lux_share == pytest.approx(1, rel=1e-12)
    assert look.appearance.chromaticity_xy == pytest.approx(look.white.appearance.chromaticity_xy, rel=1e-12)
    assert look.appearance.swatch == look.white.appearance.swatch


@pytest.mark.published
def test_lux_of_one_blue_wavelength_beside_white():
    """100 umol of 450 nm measure a tenth of what white light of 100 umol measures."""
    # Source: V(450 nm) = 0.038, 6.8995 lx per umol (CIE 018:2019).
    # The two cells that meet at 450 nm stand for it: V is curved there, by 0.1 %.
    cells = np.zeros(GRID_NM.size)
    cells[149:151] = 50.0
    look = looks_under(cells)
    assert look.ppfd_umol_m2_s == pytest.approx(100)
    assert look.lux == pytest.approx(689.95, rel=2e-3)
    assert look.white.lux == pytest.approx(100 * look.white.lux_per_umol)
    assert look.lux_share < 0.11


@pytest.mark.published
def test_white_led_b5_has_its_chromaticity_and_temperature():
    """CIE LED-B5: x 0.3118, y 0.3236, 6,598 K."""
    # Source: CIE 015:2018, LED-B5, as tabulated in colour-science.
    assert EYE.white.chromaticity_xy == pytest.approx((0.3118, 0.3236), abs=2e-4)
    assert EYE.white.cct_k == pytest.approx(6598, abs=5)


@pytest.mark.identity
def test_mix_follows_the_outputs_at_the_peak():
    """Half the output: half the photons and lux, the same colour."""
    blue, white = np.zeros(GRID_NM.size), 50 * photon_distribution(WHITE)
    blue[150:170] = 3.0
    full, half = looks_under(blue, white), looks_under(blue, white, peak_output=0.5)
    assert half.lux == pytest.approx(0.5 * full.lux)
    assert half.appearance.chromaticity_xy == pytest.approx(full.appearance.chromaticity_xy, rel=1e-12)


@pytest.mark.identity
def test_dark_place_neither_gets_nor_looks():
    """Without light there is nothing to say, neither of photons nor of looks."""
    assert looks_under(np.zeros(GRID_NM.size)) is None
