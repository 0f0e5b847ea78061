"""What a channel emits at full output in each 1 nm cell, and what each weighting makes of it."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from lightdose.errors import Problem, SetupError, SpectrumError
from lightdose.model.fixture import Channel, Flux
from lightdose.model.record import FloatArray
from lightdose.model.spectrum import (
    GRID_EDGES_NM,
    GRID_NM,
    ChannelSpectrum,
    LedPeak,
    ReferenceTables,
    SpectrumMix,
    Weightings,
)
from lightdose.physics.photons import (
    cells_in_band,
    joules_per_photon,
    lux_per_umol,
    photon_nodes,
    resample_to_cells,
)
from lightdose.quantities import BANDS, GRID_END_NM, GRID_START_NM, PPFD_BAND

OHNO_FWHM_PER_D = 0.921823
"""Full width at half maximum of the LED shape in units of its width parameter D; closed form."""

_LEAST_SHARE = 1e-6
"""Below this share of photons a flux stated for that part says nothing about the whole: our choice."""


def photon_distribution(spectrum: ChannelSpectrum) -> FloatArray:
    """Share of a channel's photons in each 1 nm cell, 300-800 nm.

    Parameters
    ----------
    spectrum : a table, an LED by peak and width, or a mix by photon shares

    Returns
    -------
    array, shape (500,); sums to 1

    Raises
    ------
    SpectrumError
        If nothing lies within 300-800 nm, or the table is too coarse for its narrow peaks.

    Source
    ------
    LED: Ohno 2005, Optical Engineering 44:111302. Tables: conservative resampling, see ``bands``.
    """
    if isinstance(spectrum, SpectrumMix):
        total = sum(share for _, share in spectrum.parts)
        parts = [share / total * photon_distribution(part) for part, share in spectrum.parts]
        return np.asarray(np.sum(parts, axis=0))
    if isinstance(spectrum, LedPeak):
        cells = _led_photons(spectrum)
    else:
        nodes = photon_nodes(spectrum)
        if nodes.resolution == "too coarse":
            raise SpectrumError(
                Problem(
                    found=f"spectrum {spectrum.name!r}: {nodes.notes[0]}",
                    allowed="steps of 5 nm or less for an LED",
                    cure="use a finer table, or give the LED as { peak_nm = ..., fwhm_nm = ... }",
                )
            )
        cells = resample_to_cells(nodes.wavelength_nm, nodes.photons_per_nm)
    total = float(np.sum(cells))
    if not total > 0:
        raise SpectrumError("the spectrum has no light between 300 and 800 nm")
    return cells / total


def channel_emission(channel: Channel, tables: ReferenceTables) -> FloatArray:
    """Photons that a channel emits at full output, in each 1 nm cell.

    Parameters
    ----------
    channel : its flux may be stated in photons, watts of light, lumens, or electricity with an efficiency
    tables : for lumens

    Returns
    -------
    array, shape (500,). [umol s-1]

    Raises
    ------
    SetupError
        If the channel states no flux, or states it for a part of the spectrum where it has no light.

    Source
    ------
    Units: SI, exact. V(lambda) and Km: CIE 018:2019.
    """
    if channel.flux is None:
        raise SetupError(
            Problem(
                found=f"channel {channel.name!r} says nothing about how much light it gives",
                allowed="photon_flux_umol_s, ppf_umol_s, radiant_flux_w, luminous_flux_lm, or electrical_w "
                "with radiant_efficiency",
                cure='without a data sheet: electrical_w = 24 and radiant_efficiency = "typical" (good to '
                "about a factor of 2), or calibrate with meter readings",
                place=channel.place,
            )
        )
    try:
        distribution = photon_distribution(channel.spectrum)
    except SpectrumError as caught:
        if channel.place is None:
            raise
        raise SpectrumError(*(problem.at(channel.place) for problem in caught.problems)) from caught
    per_photon = _stated_per_photon(channel.flux, distribution, tables)
    if per_photon < _LEAST_SHARE:
        raise SetupError(
            Problem(
                found=f"channel {channel.name!r} states {channel.flux.kind} but its spectrum has next to no "
                "light there",
                cure="state photon_flux_umol_s (all photons of 300-800 nm) or radiant_flux_w",
                place=channel.place,
            )
        )
    stated = channel.flux.value * (channel.flux.radiant_efficiency or 1.0)
    return distribution * (stated / per_photon)


def _stated_per_photon(flux: Flux, distribution: FloatArray, tables: ReferenceTables) -> float:
    """How much of the stated quantity goes with one micromole per second of this light."""
    if flux.kind == "photon_flux_umol_s":
        return 1.0
    if flux.kind == "ppf_umol_s":
        return float(distribution @ cells_in_band(PPFD_BAND.low_nm, PPFD_BAND.high_nm))
    if flux.kind == "luminous_flux_lm":
        return float(distribution @ lux_per_umol(GRID_NM, tables.photopic))
    return float(distribution @ joules_per_photon(GRID_NM))


def _led_photons(led: LedPeak) -> FloatArray:
    """Closed-form integral of wavelength times LED shape over each cell."""
    width = led.fwhm_nm / OHNO_FWHM_PER_D
    return (_gauss_photons(led.peak_nm, width) + 2 * _gauss_photons(led.peak_nm, width / math.sqrt(5.0))) / 3


def _gauss_photons(centre_nm: float, width_nm: float) -> FloatArray:
    """Integral of l exp(-((l - centre)/width)^2) over each cell."""
    u = (GRID_EDGES_NM - centre_nm) / width_nm
    error_function = np.array([math.erf(x) for x in u])
    antiderivative = centre_nm * width_nm * math.sqrt(
        math.pi
    ) / 2 * error_function - width_nm**2 / 2 * np.exp(-(u**2))
    return np.clip(np.diff(antiderivative), 0.0, None)


DOSE_WEIGHTINGS = (
    "ppfd",
    "photons",
    "uv_a",
    "blue",
    "green",
    "red",
    "far_red",
    "below_390",
    "lux",
    "usable_z1",
    "usable_z2",
    "usable_z4",
    "usable_tissue",
)

TEN_NM_WEIGHTINGS = tuple(f"nm_{low}_{low + 10}" for low in range(GRID_START_NM, GRID_END_NM, 10))
"""Photons in each 10 nm of the working grid."""

TRISTIMULUS_WEIGHTINGS = ("cie_x", "cie_y", "cie_z")
"""CIE 1931 tristimulus values X, Y, Z, scaled so that Y is the illuminance in lux."""

_SHORT_WAVE_LIMIT_NM = 390.0
"""Photons below count as ultraviolet for the caution about it: our choice, the evidence is at 380 nm."""


def weighting_matrix(tables: ReferenceTables, keys: Sequence[str] = DOSE_WEIGHTINGS) -> Weightings:
    """The rows that turn photons per cell into quantities: ``weigh`` multiplies by them.

    ppfd 400-700 nm; photons 300-800 nm; the colour bands of ``quantities``; below_390; lux; usable_* PPFD
    weighted by relative absorption of zooxanthellae; nm_400_410 and the like, photons of those 10 nm;
    cie_x, cie_y, cie_z tristimulus values.

    Parameters
    ----------
    tables : reference tables on the working grid
    keys : names of weightings, in the order wanted

    Returns
    -------
    Weightings, matrix of shape (n_key, 500)

    Raises
    ------
    SpectrumError
        If a key is not known; names the known ones.

    Source
    ------
    Bands: see ``quantities``. Lux: CIE 018:2019. Tristimulus values: CIE 015:2018. Usable light: after Morel
    1978 (from memory), curves modelled by us (spectra/zooxanthella).
    """
    return Weightings(tuple(keys), np.array([_row(key, tables) for key in keys]).reshape(len(keys), -1))


def weigh(cells: FloatArray, weightings: Weightings) -> FloatArray:
    """Quantities of one or many spectra: one matrix product.

    Parameters
    ----------
    cells : array, shape (..., 500); photons per cell
    weightings : n_weighting rows

    Returns
    -------
    array, shape (..., n_weighting)
    """
    return np.asarray(cells @ weightings.matrix.T)


def _row(key: str, tables: ReferenceTables) -> FloatArray:
    if key == "photons":
        return np.ones_like(GRID_NM)
    if key == "below_390":
        return cells_in_band(0.0, _SHORT_WAVE_LIMIT_NM)
    if key == "lux":
        return lux_per_umol(GRID_NM, tables.photopic)
    for band in (PPFD_BAND, *BANDS):
        if key == band.key:
            return cells_in_band(band.low_nm, band.high_nm)
    if key in TRISTIMULUS_WEIGHTINGS:
        return lux_per_umol(GRID_NM, tables.colour_matching[TRISTIMULUS_WEIGHTINGS.index(key)])
    if key in TEN_NM_WEIGHTINGS:
        _, low, high = key.split("_")
        return cells_in_band(float(low), float(high))
    curve = tables.zooxanthella.get(key.removeprefix("usable_"))
    if key.startswith("usable_") and curve is not None:
        return curve
    named = (name for name in DOSE_WEIGHTINGS if not name.startswith("usable_"))
    known = [*named, *(f"usable_{name}" for name in tables.zooxanthella)]
    raise SpectrumError(f"there is no weighting {key!r}; known: {', '.join(known)}")
