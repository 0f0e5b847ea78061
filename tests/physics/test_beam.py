"""Lobes and their flux."""

from __future__ import annotations

import numpy as np
import pytest

from lightdose.model.fixture import CosineLobe, PhotometricLobe, TabulatedLobe
from lightdose.physics.emission import cosine_exponent, distinct_beams, intensity_per_flux, same_beam

TABLE = TabulatedLobe(np.array([0.0, 20.0, 40.0, 75.0]), np.array([0.8, 1.0, 0.5, 0.1]))
LOPSIDED = PhotometricLobe(
    np.array([0.0, 90.0, 180.0, 270.0, 360.0]),
    np.array([0.0, 30.0, 60.0, 90.0]),
    np.array([[5, 4, 2, 0], [5, 3, 1, 0], [5, 6, 3, 0.5], [5, 3, 1, 0], [5, 4, 2, 0]]),
)


def hemisphere(beam: object) -> float:
    """Integral of the lobe over the lower hemisphere by midpoints in cosine and turn."""
    cosine, turn = np.meshgrid((np.arange(4000) + 0.5) / 4000, 2 * np.pi * (np.arange(256) + 0.5) / 256)
    values = intensity_per_flux(beam, np.sqrt(1 / cosine**2 - 1).ravel(), cosine.ravel(), turn.ravel())
    return float(values.mean() * 2 * np.pi)


@pytest.mark.published
@pytest.mark.parametrize(("fwhm", "exponent"), [(60, 4.82), (90, 2.0), (120, 1.0)])
def test_exponent_of_common_beams(fwhm, exponent):
    """cos^m falls to half at half the width."""
    # Source: definition, ln 0.5 / ln cos(FWHM / 2).
    assert cosine_exponent(fwhm) == pytest.approx(exponent, abs=5e-3)


@pytest.mark.identity
@pytest.mark.parametrize("beam", [CosineLobe(20), CosineLobe(120), CosineLobe(170), TABLE, LOPSIDED])
def test_hemisphere_holds_the_flux(beam):
    """Every kind of lobe of flux one integrates to one."""
    assert hemisphere(beam) == pytest.approx(1.0, abs=3e-4)


@pytest.mark.published
def test_lambert_lamp_has_one_over_pi_on_its_axis():
    """I0 = flux / pi for m = 1 and (m + 1) flux / 2 pi in general."""
    # Source: Lambert's cosine law; CIE S 017:2020, 17-24-051 (from memory).
    on_axis = (np.zeros(1), np.ones(1))
    assert intensity_per_flux(CosineLobe(120), *on_axis)[0] == pytest.approx(1 / np.pi, rel=1e-12)
    narrow = cosine_exponent(30)
    assert intensity_per_flux(CosineLobe(30), *on_axis)[0] == pytest.approx((narrow + 1) / (2 * np.pi))


@pytest.mark.identity
def test_table_is_linear_in_angle_and_ends():
    """Half way between two angles stands the mean; beyond the last there is nothing."""
    angles = np.radians([20.0, 30.0, 40.0, 75.1])
    one, middle, other, beyond = intensity_per_flux(TABLE, np.tan(angles), np.cos(angles))
    assert middle == pytest.approx((one + other) / 2)
    assert beyond == 0


@pytest.mark.identity
def test_photometric_lobe_keeps_its_sides_apart():
    """At C 180 this lobe is 1.5 times that of C 0; between planes it is linear; a round one is a table."""
    angle = np.radians([60.0, 60.0, 60.0, 60.0])
    turn = np.radians([0.0, 180.0, -180.0, 135.0])
    values = intensity_per_flux(LOPSIDED, np.tan(angle), np.cos(angle), turn)
    assert values / values[0] == pytest.approx([1, 1.5, 1.5, 1.0])
    round_one = PhotometricLobe(np.array([0.0, 360.0]), TABLE.angle_deg, np.vstack((TABLE.relative,) * 2))
    angles = np.radians([0.0, 13.0, 50.0, 80.0])
    theirs = intensity_per_flux(TABLE, np.tan(angles), np.cos(angles))
    assert intensity_per_flux(round_one, np.tan(angles), np.cos(angles), angles) == pytest.approx(theirs)


@pytest.mark.identity
def test_channels_with_equal_lobes_share_one():
    """Lobes are told apart by their data, not by their identity."""
    copy = TabulatedLobe(TABLE.angle_deg.copy(), TABLE.relative.copy())
    beams, which = distinct_beams([CosineLobe(90), TABLE, CosineLobe(90.0), copy, LOPSIDED, CosineLobe(91)])
    assert which == (0, 1, 0, 1, 2, 3)
    assert len(beams) == 4
    assert not same_beam(TABLE, LOPSIDED)
