"""The shape of a single-colour LED, from which tests make spectra; the product has its integral alone."""

from __future__ import annotations

import numpy as np

OHNO_FWHM_PER_D = 0.921823


def led_shape(wavelength_nm: np.ndarray, peak_nm: float, fwhm_nm: float) -> np.ndarray:
    """Spectral power relative to its peak: (g + 2 g^5)/3 with g = exp(-((lambda - peak)/D)^2).

    Ohno 2005, Optical Engineering 44:111302; FWHM = 0.921823 D, area = 1.119262 D.
    """
    g = np.exp(-(((np.asarray(wavelength_nm) - peak_nm) * OHNO_FWHM_PER_D / fwhm_nm) ** 2))
    return np.asarray((g + 2 * g**5) / 3)
