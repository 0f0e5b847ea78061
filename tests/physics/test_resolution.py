"""Which nodes a spectrum is integrated on, and what is said about coarse tables."""

from __future__ import annotations

import numpy as np
import pytest
from physics.led_shape import led_shape

from lightdose.files.library import node_tables
from lightdose.model.spectrum import SpectralDistribution
from lightdose.physics.photons import (
    band_integral,
    peak_widths,
    photon_nodes,
    photons_on_nodes,
    photons_per_joule,
    trapezoid,
)


def led(step_nm: float, peak_nm: float, fwhm_nm: float) -> SpectralDistribution:
    """An LED sampled at a step."""
    nodes = np.arange(380, 780 + step_nm, step_nm)
    return SpectralDistribution("led", nodes, led_shape(nodes, peak_nm, fwhm_nm), "power")


@pytest.mark.identity
@pytest.mark.parametrize("step_nm", [0.5, 1, 2])
def test_fine_table_keeps_its_own_nodes(step_nm):
    """Up to 2 nm nothing is interpolated."""
    spectrum = led(step_nm, 450, 20)
    nodes = photon_nodes(spectrum)
    np.testing.assert_array_equal(nodes.wavelength_nm, spectrum.wavelength_nm)
    np.testing.assert_array_equal(nodes.photons_per_nm, photons_on_nodes(spectrum))
    assert (nodes.resolution, nodes.notes) == ("resolved", ())


@pytest.mark.published
def test_even_5_nm_table_is_interpolated_by_sprague():
    """A CIE illuminant at 5 nm is carried to 1 nm as its power, not as its photons."""
    # Source: CIE 167:2005 as coded in colour-science, LED-B3 of CIE 015:2018.
    import colour

    distribution = colour.SDS_ILLUMINANTS["LED-B3"]
    ours = photon_nodes(SpectralDistribution("b3", distribution.wavelengths, distribution.values, "power"))
    fine = distribution.copy().interpolate(
        colour.SpectralShape(380, 780, 1), interpolator=colour.SpragueInterpolator
    )
    np.testing.assert_allclose(ours.wavelength_nm, fine.wavelengths, rtol=1e-12)
    expected = np.clip(fine.values, 0, None) * photons_per_joule(fine.wavelengths)
    np.testing.assert_allclose(ours.photons_per_nm, expected, atol=1e-10)
    assert ours.notes == (
        "steps of 5 nm interpolated to 1 nm (Sprague); 4 interpolated values below zero set to zero",
    )


@pytest.mark.identity
def test_uneven_table_is_interpolated_by_the_monotone_cubic():
    """Uneven steps keep their nodes and gain others at most 1 nm apart, never below zero."""
    nodes_nm = np.array([400.0, 401, 404, 410, 411.5, 420, 440, 450])
    values = np.array([0.0, 0, 1, 3, 3, 0.5, 0, 0])
    ours = photon_nodes(SpectralDistribution("u", nodes_nm, values, "photons"))
    assert set(nodes_nm) <= set(ours.wavelength_nm)
    assert np.diff(ours.wavelength_nm).max() <= 1 + 1e-12
    assert np.all((ours.photons_per_nm >= 0) & (ours.photons_per_nm <= 3))
    assert ours.notes == ("steps of 1 to 20 nm interpolated to 1 nm (monotone cubic)",)


@pytest.mark.identity
@pytest.mark.parametrize("offset_nm", np.arange(0, 5, 0.7))
@pytest.mark.parametrize("fwhm_nm", [14, 20, 30])
def test_5_nm_steps_resolve_leds(offset_nm, fwhm_nm):
    """Bands and lux of an LED at 5 nm are those of a fine table, wherever the nodes fall."""
    coarse = photon_nodes(led(5, 492 + offset_nm, fwhm_nm))
    fine = photon_nodes(led(0.1, 492 + offset_nm, fwhm_nm))
    table = node_tables().photopic
    for nodes in (coarse, fine):
        assert nodes.resolution == "resolved"
    ppfd = [band_integral(n.wavelength_nm, n.photons_per_nm, 400, 700) for n in (coarse, fine)]
    blue = [band_integral(n.wavelength_nm, n.photons_per_nm, 400, 500) for n in (coarse, fine)]
    lux = [
        trapezoid(
            n.wavelength_nm,
            n.photons_per_nm
            / n.wavelength_nm
            * np.interp(n.wavelength_nm, table.wavelength_nm, table.values),
        )
        for n in (coarse, fine)
    ]
    # Tolerances: computed errors of Sprague at 5 nm are 1e-4 (PPFD), 3e-3 (band at its edge), 3e-4 (lux).
    assert ppfd[0] == pytest.approx(ppfd[1], rel=2e-4)
    assert blue[0] / ppfd[0] == pytest.approx(blue[1] / ppfd[1], abs=3e-3)
    assert lux[0] == pytest.approx(lux[1], rel=5e-4)


@pytest.mark.identity
@pytest.mark.parametrize("offset_nm", [0, 2.5, 5, 7.5])
def test_10_nm_steps_of_a_narrow_peak_are_too_coarse(offset_nm):
    """An LED of 20 nm at 10 nm is not interpolated and its bands are not to be used."""
    nodes = photon_nodes(led(10, 450 + offset_nm, 20))
    assert nodes.resolution == "too coarse"
    assert nodes.notes[0].startswith("steps of 10 nm are too coarse for the narrow peak at 4")
    assert nodes.wavelength_nm.size == 41


@pytest.mark.identity
@pytest.mark.parametrize("offset_nm", [0, 2.5, 5])
def test_10_nm_steps_of_a_wide_peak_are_resolved(offset_nm):
    """A phosphor's 60 nm at 10 nm is fine."""
    assert photon_nodes(led(10, 560 + offset_nm, 60)).resolution == "resolved"


@pytest.mark.identity
def test_step_above_half_the_width_is_said():
    """A 5 nm table of a 9 nm peak is used, with a warning."""
    nodes = photon_nodes(led(5, 450, 9))
    assert nodes.resolution == "resolved"
    assert nodes.notes[0] == (
        "the step of 5 nm is more than half the width of the peak at 450 nm (about 9 nm): colour bands may "
        "err by some percent"
    )


@pytest.mark.published
def test_line_lamp_in_bins_is_not_interpolated():
    """The narrow-band fluorescent illuminant keeps its 5 nm rows; Sprague would swing around its lines."""
    # Source: CIE 015:2018, FL12, through colour-science.
    import colour

    distribution = colour.SDS_ILLUMINANTS["FL12"]
    nodes = photon_nodes(SpectralDistribution("fl12", distribution.wavelengths, distribution.values, "power"))
    assert nodes.resolution == "lines"
    np.testing.assert_array_equal(nodes.wavelength_nm, distribution.wavelengths)
    assert "taken as a line lamp in bins of 5 nm, not interpolated" in nodes.notes[0]


@pytest.mark.identity
@pytest.mark.parametrize("offset_nm", [0, 0.9, 2.1, 3.5])
def test_peak_width_of_a_gaussian_is_exact_wherever_its_nodes_fall(offset_nm):
    """Three nodes give the width of a Gaussian, on even and uneven steps."""
    for nodes in (np.arange(400.0, 500, 4), 400 + np.cumsum(np.tile([3.0, 5.0], 12))):
        values = np.exp(-4 * np.log(2) * ((nodes - 450 - offset_nm) / 18) ** 2)
        _, fwhm_nm, step_nm = peak_widths(nodes, values)
        assert fwhm_nm == pytest.approx([18], rel=1e-9)
        assert step_nm[0] <= 5
