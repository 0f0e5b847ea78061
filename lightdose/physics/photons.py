"""Between joules, photons and lumens."""

from __future__ import annotations

import numpy as np

from lightdose.model.arrays import FloatArray
from lightdose.model.spectrum import SpectralDistribution
from lightdose.quantities import LUMINOUS_EFFICACY_LM_W, PHOTONS_UMOL_PER_J_NM


def photons_per_joule(wavelength_nm: FloatArray | float) -> FloatArray:
    """Photons in one joule of light of one wavelength.

    umol/J = lambda / (h c N_A).

    Parameters
    ----------
    wavelength_nm : float or array of any shape. [nm]

    Returns
    -------
    array of the same shape. [umol J-1]

    Source
    ------
    Planck relation; exact h, c, N_A of the SI Brochure, 9th edition.
    """
    return PHOTONS_UMOL_PER_J_NM * np.asarray(wavelength_nm, dtype=np.float64)


def joules_per_photon(wavelength_nm: FloatArray | float) -> FloatArray:
    """Energy of one micromole of photons of one wavelength.

    Parameters
    ----------
    wavelength_nm : float or array of any shape. [nm]

    Returns
    -------
    array of the same shape. [J umol-1]

    Source
    ------
    Planck relation; exact h, c, N_A of the SI Brochure, 9th edition.
    """
    return 1.0 / photons_per_joule(wavelength_nm)


def lux_per_umol(wavelength_nm: FloatArray | float, photopic: FloatArray | float) -> FloatArray:
    """Illuminance that goes with a photon irradiance of one wavelength.

    lx / (umol m-2 s-1) = Km V(lambda) / (umol/J).

    Parameters
    ----------
    wavelength_nm : float or array of any shape. [nm]
    photopic : V(lambda) at these wavelengths, same shape

    Returns
    -------
    array of the same shape. [lx per umol m-2 s-1]

    Source
    ------
    Km 683.002 lm/W: CIE 018:2019.
    """
    efficacy = LUMINOUS_EFFICACY_LM_W * np.asarray(photopic, dtype=np.float64)
    return efficacy * joules_per_photon(wavelength_nm)


def photons_on_nodes(spectrum: SpectralDistribution) -> FloatArray:
    """A spectrum's photons per nanometre on its own nodes.

    Parameters
    ----------
    spectrum : power is turned into photons, photons stay

    Returns
    -------
    array, shape (n,); umol s-1 nm-1, umol m-2 s-1 nm-1 or relative, as the spectrum's own unit

    Source
    ------
    Planck relation; exact h, c, N_A of the SI Brochure, 9th edition.
    """
    if spectrum.quantity == "photons":
        return spectrum.values
    return spectrum.values * photons_per_joule(spectrum.wavelength_nm)
