"""The JSON of `spectrum`, to the letter of its format."""

from __future__ import annotations

import json

import pytest

from lightdose.files.results_json import dump
from lightdose.files.spectrum_json import spectrum_json
from lightdose.model.results import SpectrumMetrics


@pytest.mark.pinned
def test_object_has_the_keys_of_its_format():
    """One object, versioned, with null where there is no figure and every digit elsewhere."""
    one = SpectrumMetrics(
        file="/lamp.csv",
        ppfd_umol_m2_s=100 / 3,
        ppf_umol_s=None,
        umol_per_j=3.8,
        lux_per_umol=8.0,
        band_fraction={"uv_a": 0.1, "blue": 0.7, "green": 0.2, "red": 0.1, "far_red": None},
        outside_400_700_fraction=0.02,
        usable_fraction={"z1": 0.5, "z2": 0.4, "z4": 0.6, "tissue": 0.7},
        chromaticity_xy=(0.2, 0.1),
        cct_k=None,
        duv=None,
        notes=("said",),
    )
    read = json.loads(dump(spectrum_json([one])))
    assert read["format"] == "lightdose-spectrum/1"
    assert read["bands_nm"]["blue"] == [400, 500]
    (spectrum,) = read["spectra"]
    assert spectrum == {
        "file": "/lamp.csv",
        "ppfd_umol_m2_s": 100 / 3,
        "ppf_umol_s": None,
        "umol_per_j": 3.8,
        "lux_per_umol": 8.0,
        "band_fraction": {"uv_a": 0.1, "blue": 0.7, "green": 0.2, "red": 0.1, "far_red": None},
        "outside_400_700_fraction": 0.02,
        "usable_fraction": {"z1": 0.5, "z2": 0.4, "z4": 0.6, "tissue": 0.7},
        "chromaticity_xy": [0.2, 0.1],
        "cct_k": None,
        "duv": None,
        "notes": ["said"],
    }
