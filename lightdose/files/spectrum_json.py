"""The result of `spectrum` as one versioned JSON object, unrounded and without NaN."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from lightdose.model.results import SpectrumMetrics
from lightdose.quantities import BANDS, PPFD_BAND

SPECTRUM_FORMAT = "lightdose-spectrum/1"


def spectrum_json(spectra: Sequence[SpectrumMetrics]) -> dict[str, Any]:
    """Every figure of every spectrum, as plain lists and mappings."""
    return {
        "format": SPECTRUM_FORMAT,
        "bands_nm": {band.key: [band.low_nm, band.high_nm] for band in (PPFD_BAND, *BANDS)},
        "spectra": [
            {
                "file": one.file,
                "ppfd_umol_m2_s": one.ppfd_umol_m2_s,
                "ppf_umol_s": one.ppf_umol_s,
                "umol_per_j": one.umol_per_j,
                "lux_per_umol": one.lux_per_umol,
                "band_fraction": dict(one.band_fraction),
                "outside_400_700_fraction": one.outside_400_700_fraction,
                "usable_fraction": dict(one.usable_fraction),
                "chromaticity_xy": None if one.chromaticity_xy is None else list(one.chromaticity_xy),
                "cct_k": one.cct_k,
                "duv": one.duv,
                "notes": list(one.notes),
            }
            for one in spectra
        ],
    }
