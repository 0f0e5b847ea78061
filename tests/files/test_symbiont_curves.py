"""What symbionts use of each wavelength: published curves, their default, and our pigment models."""

from __future__ import annotations

import numpy as np
import pytest

from lightdose.files.library import all_weighting_tables, data_file, node_tables, reference_tables
from lightdose.files.symbiont_curves import pigment_models
from lightdose.model.spectrum import GRID_NM, MEAN_CURVE, NAMED_CURVES, PIGMENT_MODELS, USABLE_CURVES, LedPeak
from lightdose.physics.emission import photon_distribution

MODELS = pigment_models(data_file("zooxanthella", "gaussians.csv"))


def gaussian_photons(peak_nm: float, fwhm_nm: float) -> np.ndarray:
    """Photons of a Gaussian channel at the cells' centres, one in all of 400-700 nm."""
    photons = np.exp(-4 * np.log(2) * ((GRID_NM - peak_nm) / fwhm_nm) ** 2)
    photons[(GRID_NM < 400) | (GRID_NM > 700)] = 0.0
    return photons / photons.sum()


@pytest.mark.published
@pytest.mark.parametrize(
    ("peak_nm", "fwhm_nm", "default", "low", "high"),
    [
        (420, 15, 0.79, 0.61, 0.96),
        (450, 20, 0.95, 0.93, 0.98),
        (470, 24, 0.92, 0.82, 0.96),
        (500, 28, 0.73, 0.55, 0.80),
        (525, 33, 0.59, 0.34, 0.67),
        (590, 16, 0.26, 0.10, 0.48),
        (630, 17, 0.30, 0.13, 0.52),
        (660, 18, 0.53, 0.28, 0.70),
    ],
)
def test_published_curves_have_their_channel_means(peak_nm, fwhm_nm, default, low, high):
    """Gaussian channels, by photons of 400-700 nm: the mean of five curves, lowest and highest of nine."""
    # Source: means over the nine curves of the open data set open-AIMS Light_calcs (CC0 / CC BY 4.0; related
    # paper doi 10.3389/fmars.2021.727206), computed apart from this program. 0.02: the fits' own errors.
    photons = gaussian_photons(peak_nm, fwhm_nm)
    mean, *curves = (float(photons @ reference_tables().usable[name]) for name in USABLE_CURVES)
    assert mean == pytest.approx(default, abs=0.02)
    assert min(curves) == pytest.approx(low, abs=0.02)
    assert max(curves) == pytest.approx(high, abs=0.02)


@pytest.mark.identity
def test_default_is_the_mean_of_the_curves_with_a_named_study():
    """The table says which curves have a study; those five, and no other, make the default."""
    lines = data_file("zooxanthella", "published.csv").read_text(encoding="utf-8").splitlines()
    rows = [line.split(",") for line in lines if not line.startswith(("#", "curve,"))]
    assert set(USABLE_CURVES[1:]) == {row[0] for row in rows}
    assert set(NAMED_CURVES) == {row[0] for row in rows if row[1]}
    curves = node_tables().usable
    mean = sum(curves[name].values for name in NAMED_CURVES) / 5
    np.testing.assert_allclose(curves[MEAN_CURVE].values, mean, rtol=1e-12)


@pytest.mark.identity
def test_published_curves_count_photons_of_400_to_700_nm_at_most_once():
    """No weight exceeds 1, none is lost inside the band, and none is found outside."""
    assert tuple(reference_tables().usable) == USABLE_CURVES
    for name, values in reference_tables().usable.items():
        outside = (GRID_NM < 400) | (GRID_NM > 700)
        assert not values[outside].any(), name
        assert (values[~outside] > 0).all(), name
        assert values.max() <= 1.0, name


@pytest.mark.identity
def test_pigment_models_stand_beside_the_published_curves_where_all_are_asked_for():
    """Every run knows the published curves; the models come on request and change none of them."""
    every = all_weighting_tables().usable
    assert tuple(every) == (*USABLE_CURVES, *PIGMENT_MODELS)
    for name in USABLE_CURVES:
        assert every[name] is node_tables().usable[name]


@pytest.mark.published
@pytest.mark.parametrize(
    ("peak_nm", "fwhm_nm", "z1", "z2", "z4"),
    [
        (405, 14, 0.72, 0.52, 0.72),
        (420, 15, 0.85, 0.68, 0.84),
        (450, 20, 0.87, 0.74, 0.96),
        (470, 24, 0.73, 0.50, 0.94),
        (500, 28, 0.59, 0.33, 0.84),
        (525, 33, 0.46, 0.21, 0.72),
        (590, 16, 0.19, 0.08, 0.25),
        (630, 17, 0.25, 0.11, 0.27),
        (660, 18, 0.41, 0.22, 0.39),
    ],
)
def test_pigment_models_have_their_channel_means(peak_nm, fwhm_nm, z1, z2, z4):
    """The curves out of the Gaussian table weigh LED channels as they did when they were fitted."""
    # Source: our own fits (spectra/zooxanthella/gaussians.csv), means over the photons of each channel.
    photons = photon_distribution(LedPeak(peak_nm, fwhm_nm))
    for name, expected in (("z1", z1), ("z2", z2), ("z4", z4)):
        curve = MODELS[name]
        weight = np.interp(GRID_NM, curve.wavelength_nm, curve.values, left=0, right=0)
        assert photons @ weight == pytest.approx(expected, abs=0.01)


@pytest.mark.identity
def test_pigment_models_have_maximum_one_and_their_range():
    """Each curve is divided by its own maximum, and runs from 380 to 750 nm."""
    for curve in MODELS.values():
        assert curve.values.max() == 1.0
        assert (curve.wavelength_nm[0], curve.wavelength_nm[-1]) == (380.0, 750.0)


@pytest.mark.identity
def test_tissue_bound_absorbs_four_fifths_at_675_nm():
    """The grey bound is 1 - exp(-k z1) with absorptance 0.8 at 675 nm, then divided by its maximum."""
    curves = MODELS
    at = 675 - 380
    k = -np.log(0.2) / curves["z1"].values[at]
    absorptance = 1 - np.exp(-k * curves["z1"].values)
    assert absorptance[at] == pytest.approx(0.8, rel=1e-12)
    np.testing.assert_allclose(curves["tissue"].values, absorptance / absorptance.max(), rtol=1e-12)
