"""Photon figures of a spectrum, integrated on its own nodes wherever these are fine enough."""

from __future__ import annotations

import numpy as np

from lightdose.model.arrays import FloatArray
from lightdose.model.results import SpectrumMetrics
from lightdose.model.spectrum import NodeTables, SpectralDistribution, SpectralTable
from lightdose.physics.appearance import (
    PlanckianLocus,
    chromaticity_xy,
    colour_temperature,
    planckian_locus,
)
from lightdose.physics.bands import band_integral, cut_to_band, trapezoid
from lightdose.physics.photons import joules_per_photon
from lightdose.physics.resolution import PhotonNodes, photon_nodes
from lightdose.quantities import BANDS, GRID_END_NM, GRID_START_NM, LUMINOUS_EFFICACY_LM_W, PPFD_BAND

_VISIBLE_START_NM, _VISIBLE_END_NM = 360.0, 830.0
_TAIL_SHARE = 0.001
"""Photons beyond the table are mentioned from this share on: 0.1 %."""

_LEAST_PPFD_SHARE = 1e-4
"""Ratios to PPFD are not stated where less of the photons lies in 400-700 nm: our choice."""

_TAIL_SPAN_NM = 10.0
_SHORTEST_TAIL_NM, _LONGEST_TAIL_NM = 1.0, 50.0
"""A tail is continued with the fall of the table's last 10 nm, taken as exponential within these lengths."""


def spectrum_metrics(
    file: str, spectrum: SpectralDistribution, tables: NodeTables, *, with_colour: bool = True
) -> SpectrumMetrics:
    """Every figure that `spectrum` reports.

    Parameters
    ----------
    file : name to report
    spectrum : on its own nodes
    tables : weighting functions on theirs
    with_colour : chromaticity and colour temperature too

    Returns
    -------
    SpectrumMetrics
        Absolute figures are None for relative spectra; bands, lux, usable light and colour are None where the
        table is too coarse for its peaks; ratios to PPFD are None with next to no light in 400-700 nm.

    Source
    ------
    Bands: see ``quantities``. Lux: CIE 018:2019. Chromaticity: CIE 015:2018. Usable light: after Morel 1978
    (from memory), curves modelled by us (spectra/zooxanthella).
    """
    nodes = photon_nodes(spectrum)
    wavelength, photons = nodes.wavelength_nm, nodes.photons_per_nm
    ppfd = band_integral(wavelength, photons, PPFD_BAND.low_nm, PPFD_BAND.high_nm)
    in_grid = band_integral(wavelength, photons, GRID_START_NM, GRID_END_NM)
    resolved = nodes.resolution != "too coarse"
    per_ppfd = resolved and ppfd > _LEAST_PPFD_SHARE * trapezoid(wavelength, photons)
    xy = chromaticity_xy(_tristimulus(nodes, tables)) if resolved and with_colour else None
    cct, duv = colour_temperature(xy, _locus(tables)) if xy is not None else (None, None)
    return SpectrumMetrics(
        file=file,
        ppfd_umol_m2_s=ppfd if spectrum.absolute_unit in ("W m-2 nm-1", "umol m-2 s-1 nm-1") else None,
        ppf_umol_s=ppfd if spectrum.absolute_unit in ("W nm-1", "umol s-1 nm-1") else None,
        umol_per_j=_photons_per_joule(nodes, ppfd),
        lux_per_umol=_lux(nodes, tables) / ppfd if per_ppfd else None,
        band_fraction={
            band.key: band_integral(wavelength, photons, band.low_nm, band.high_nm) / ppfd
            if per_ppfd
            else None
            for band in BANDS
        },
        outside_400_700_fraction=_outside(nodes) / in_grid if in_grid > 0 else None,
        usable_fraction={
            name: _usable(nodes, curve) / ppfd if per_ppfd else None
            for name, curve in tables.zooxanthella.items()
        },
        chromaticity_xy=xy,
        cct_k=cct,
        duv=duv,
        notes=(*spectrum.notes, *_resolution_notes(nodes), *_tail_notes(nodes)),
    )


def _outside(nodes: PhotonNodes) -> float:
    """Photons of 300-800 nm that PPFD leaves out."""
    wavelength, photons = nodes.wavelength_nm, nodes.photons_per_nm
    return band_integral(wavelength, photons, GRID_START_NM, PPFD_BAND.low_nm) + band_integral(
        wavelength, photons, PPFD_BAND.high_nm, GRID_END_NM
    )


def photon_shares(name: str, spectrum: SpectralDistribution) -> SpectralDistribution:
    """A spectrum as shares of its photons per nanometre, for drawing several on one scale.

    Parameters
    ----------
    name : name of the curve
    spectrum : on its own nodes

    Returns
    -------
    SpectralDistribution
        Photons on the nodes that integrals use; the area over 300-800 nm is 1. [nm-1]

    Source
    ------
    Definition.
    """
    nodes = photon_nodes(spectrum)
    wavelength, photons = cut_to_band(nodes.wavelength_nm, nodes.photons_per_nm, GRID_START_NM, GRID_END_NM)
    return SpectralDistribution(
        name=name,
        wavelength_nm=wavelength,
        values=photons / trapezoid(wavelength, photons),
        quantity="photons",
    )


def _photons_per_joule(nodes: PhotonNodes, ppfd: float) -> float | None:
    wavelength, photons = cut_to_band(
        nodes.wavelength_nm, nodes.photons_per_nm, PPFD_BAND.low_nm, PPFD_BAND.high_nm
    )
    if not ppfd > 0:
        return None
    return ppfd / trapezoid(wavelength, photons * joules_per_photon(wavelength))


def _weighted_power(nodes: PhotonNodes, table: SpectralTable) -> float:
    """Integral of spectral power times a weighting over the visible range, at the spectrum's nodes."""
    wavelength, photons = cut_to_band(
        nodes.wavelength_nm, nodes.photons_per_nm, _VISIBLE_START_NM, _VISIBLE_END_NM
    )
    if not wavelength.size:
        return 0.0
    weight = np.interp(wavelength, table.wavelength_nm, table.values, left=0.0, right=0.0)
    return trapezoid(wavelength, photons * joules_per_photon(wavelength) * weight)


def _lux(nodes: PhotonNodes, tables: NodeTables) -> float:
    return LUMINOUS_EFFICACY_LM_W * _weighted_power(nodes, tables.photopic)


def _tristimulus(nodes: PhotonNodes, tables: NodeTables) -> FloatArray:
    return np.array([_weighted_power(nodes, table) for table in tables.colour_matching])


def _locus(tables: NodeTables) -> PlanckianLocus:
    curves = tables.colour_matching
    return planckian_locus(curves[0].wavelength_nm, np.array([c.values for c in curves]))


def _usable(nodes: PhotonNodes, curve: SpectralTable) -> float:
    wavelength, photons = cut_to_band(
        nodes.wavelength_nm, nodes.photons_per_nm, PPFD_BAND.low_nm, PPFD_BAND.high_nm
    )
    weight = np.interp(wavelength, curve.wavelength_nm, curve.values, left=0.0, right=0.0)
    return trapezoid(wavelength, photons * weight)


def _resolution_notes(nodes: PhotonNodes) -> tuple[str, ...]:
    if nodes.resolution == "too coarse":
        return (f"{nodes.notes[0]}; they are left out, PPFD is good to some percent", *nodes.notes[1:])
    return nodes.notes


def _tail_notes(nodes: PhotonNodes) -> list[str]:
    """Where the table ends in light, how much could lie beyond its ends."""
    wavelength, photons = nodes.wavelength_nm, nodes.photons_per_nm
    total = trapezoid(wavelength, photons)
    notes = []
    for below, x, p in ((True, wavelength, photons), (False, wavelength[::-1], photons[::-1])):
        end = float(x[0])
        if p[0] <= 0 or (end <= GRID_START_NM if below else end >= GRID_END_NM):
            continue
        inner = float(np.interp(_TAIL_SPAN_NM, np.abs(x - end), p))
        fall = np.log(inner / p[0]) if inner > p[0] else 0.0
        length = np.clip(_TAIL_SPAN_NM / max(fall, 1e-9), _SHORTEST_TAIL_NM, _LONGEST_TAIL_NM)
        share = float(p[0] * length / total)
        if share > _TAIL_SHARE:
            notes.append(
                f"the table ends in light at {end:g} nm: {'shorter' if below else 'longer'} wavelengths "
                f"count as zero, about {100 * share:.2g} % could be missing"
            )
    return notes
