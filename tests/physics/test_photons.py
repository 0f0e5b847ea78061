"""Joules, photons and lumens of one wavelength."""

from __future__ import annotations

import numpy as np
import pytest

from lightdose.files.library import node_tables
from lightdose.model.spectrum import SpectralDistribution
from lightdose.physics.photons import joules_per_photon, lux_per_umol, photons_on_nodes, photons_per_joule
from lightdose.quantities import PHOTONS_UMOL_PER_J_NM


@pytest.mark.published
def test_photon_constant_is_the_si_value():
    """K = 1e-3 / (h c N_A) from the exact constants."""
    # Source: SI Brochure 9th ed., exact h, c, N_A.
    assert pytest.approx(0.00835934722911, rel=1e-12) == PHOTONS_UMOL_PER_J_NM


@pytest.mark.published
@pytest.mark.parametrize(("wavelength_nm", "umol_per_j"), [(450.0, 3.761706), (660.0, 5.517169)])
def test_photons_per_joule_of_one_wavelength(wavelength_nm, umol_per_j):
    """One joule holds lambda / (h c N_A) photons."""
    # Source: SI Brochure 9th ed., exact h, c, N_A.
    assert photons_per_joule(wavelength_nm) == pytest.approx(umol_per_j, rel=1e-6)


@pytest.mark.published
@pytest.mark.parametrize(("wavelength_nm", "lux", "tolerance"), [(555, 147.2165, 1e-5), (450, 6.8995, 1e-4)])
def test_lux_per_umol_of_one_wavelength(wavelength_nm, lux, tolerance):
    """A photon of 450 nm weighs a twentieth of one of 555 nm to the eye."""
    # Source: CIE 018:2019: Km 683.002 lm/W, V(555) = 1, V(450) = 0.038.
    table = node_tables().photopic
    photopic = table.values[list(table.wavelength_nm).index(wavelength_nm)]
    assert lux_per_umol(float(wavelength_nm), photopic) == pytest.approx(lux, rel=tolerance)


@pytest.mark.identity
def test_photons_and_joules_go_back_and_forth():
    """Unit round trip over the whole grid."""
    wavelength = np.linspace(300, 800, 501)
    np.testing.assert_allclose(photons_per_joule(wavelength) * joules_per_photon(wavelength), 1, rtol=1e-15)


@pytest.mark.identity
def test_power_and_photons_describe_the_same_light():
    """A spectrum given either way has the same photons on its nodes."""
    nodes, power = np.array([400.0, 500.0, 600.0]), np.array([1.0, 2.0, 0.5])
    as_power = SpectralDistribution("a", nodes, power, "power")
    as_photons = SpectralDistribution("b", nodes, power * photons_per_joule(nodes), "photons")
    np.testing.assert_array_equal(photons_on_nodes(as_power), photons_on_nodes(as_photons))
