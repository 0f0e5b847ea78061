"""Chromaticity and colour temperature of the light itself."""

from __future__ import annotations

import numpy as np
import pytest

from lightdose.files.library import reference_tables
from lightdose.model.spectrum import GRID_NM
from lightdose.physics.appearance import chromaticity_xy, colour_temperature, planckian_locus

LOCUS = planckian_locus(GRID_NM, reference_tables().colour_matching)


@pytest.mark.published
@pytest.mark.parametrize(
    ("xy", "cct_k", "tolerance_k"),
    [((0.31272, 0.32903), 6504, 5), ((0.44758, 0.40745), 2856, 2), ((0.34567, 0.35851), 5003, 5)],
)
def test_cie_illuminants_have_their_colour_temperature(xy, cct_k, tolerance_k):
    """D65, A and D50 come out at their nominal temperatures."""
    # Source: CIE 015:2018, illuminants D65, A, D50 (2 degree observer).
    cct, duv = colour_temperature(xy, LOCUS)
    assert cct == pytest.approx(cct_k, abs=tolerance_k)
    assert abs(duv) < 0.004


@pytest.mark.published
@pytest.mark.parametrize("xy", [(0.158, 0.017), (0.700, 0.300), (0.072, 0.368)])
def test_single_colours_have_no_colour_temperature(xy):
    """Blue, red and cyan lie too far from the Planckian locus for a temperature."""
    # Source: limit of 0.05 in Duv, CIE 015:2018.
    cct, _ = colour_temperature(xy, LOCUS)
    assert cct is None


@pytest.mark.identity
def test_chromaticity_is_scale_free():
    """x and y do not depend on how bright the light is; no light has none."""
    tristimulus = np.array([0.9504, 1.0, 1.0888])
    assert chromaticity_xy(tristimulus) == pytest.approx(chromaticity_xy(7 * tristimulus), rel=1e-14)
    assert chromaticity_xy(np.zeros(3)) is None
