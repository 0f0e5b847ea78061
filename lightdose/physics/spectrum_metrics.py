"""Figures of a spectrum, and how its light looks: photons in bands, chromaticity, colour on a screen."""

from __future__ import annotations

import numpy as np

from lightdose.model.comparison import Appearance, LooksAndGets, Swatch, WhiteLight
from lightdose.model.light import DayCurve, LightField
from lightdose.model.record import FloatArray, dataclass, distinct
from lightdose.model.spectrum import (
    GRID_NM,
    NodeTables,
    ReferenceTables,
    SpectralDistribution,
    SpectralTable,
    SpectrumMetrics,
)
from lightdose.physics.dose import value_at_peak
from lightdose.physics.emission import TRISTIMULUS_WEIGHTINGS, photon_distribution, weigh, weighting_matrix
from lightdose.physics.photons import (
    PhotonNodes,
    band_integral,
    cut_to_band,
    joules_per_photon,
    photon_nodes,
    trapezoid,
)
from lightdose.quantities import BANDS, GRID_END_NM, GRID_START_NM, LUMINOUS_EFFICACY_LM_W, PPFD_BAND

_FARTHEST_DUV = 0.05
"""Beyond this distance from the Planckian locus a colour temperature means nothing. Source: CIE 015:2018."""

_COLDEST_K, _WARMEST_K = 1000.0, 100_000.0
"""Range of colour temperatures that are stated: the range of Ohno's method as colour-science has it."""

_C2_M_K = 1.4388e-2
"""Second radiation constant as colour temperatures are defined with. Source: CIE 015:2018. [m K]"""

_LOCUS_STEP = 0.01
"""Step of the locus in ln T: a parabola through three points is then right to 0.01 %."""

_NEWTON_STEPS = 4

XYZ_TO_SRGB = np.array([[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]])
"""X, Y, Z to linear sRGB. Source: IEC 61966-2-1:1999, equation 7, four decimals."""

_CLIPPED_BELOW = -0.005
"""A primary this far below 0, with the strongest at 1, counts as out of what a screen shows: our choice,
about a step and a half of 255 in the dark."""


@dataclass(frozen=True, eq=False)
class PlanckianLocus:
    """The chromaticity of black bodies, even in ln T.

    Attributes
    ----------
    ln_k : array, shape (n,); ln of temperature
    uv : array, shape (n, 2); CIE 1960
    """

    ln_k: FloatArray
    uv: FloatArray


def planckian_locus(wavelength_nm: FloatArray, colour_matching: FloatArray) -> PlanckianLocus:
    """The locus from a little below 1,000 K to a little above 100,000 K.

    Parameters
    ----------
    wavelength_nm : array, shape (n,), evenly spaced. [nm]
    colour_matching : array, shape (3, n); CIE 1931 x, y, z

    Source
    ------
    Planck's law with c2 = 0.014388 m K, CIE 015:2018.
    """
    ends = np.log(_COLDEST_K) - _LOCUS_STEP, np.log(_WARMEST_K) + 2 * _LOCUS_STEP
    ln_k = np.arange(*ends, _LOCUS_STEP)
    metres = 1e-9 * np.asarray(wavelength_nm, dtype=np.float64)
    power = metres**-5 / np.expm1(_C2_M_K / (np.exp(ln_k)[:, None] * metres))
    return PlanckianLocus(ln_k, _uv_of(power @ colour_matching.T))


def chromaticity_xy(tristimulus: FloatArray) -> tuple[float, float] | None:
    """CIE 1931 chromaticity.

    Parameters
    ----------
    tristimulus : array, shape (3,); X, Y, Z in any one unit

    Returns
    -------
    x, y, or None without visible light

    Source
    ------
    CIE 015:2018.
    """
    total = float(np.sum(tristimulus))
    if not total > 0:
        return None
    return float(tristimulus[0]) / total, float(tristimulus[1]) / total


def colour_temperatures(tristimulus: FloatArray, locus: PlanckianLocus) -> tuple[FloatArray, FloatArray]:
    """Correlated colour temperature and distance from the Planckian locus of many lights.

    The point of the locus nearest in CIE 1960 (u, v), by Newton's method on the parabola through the nearest
    three of its points.

    Parameters
    ----------
    tristimulus : array, shape (n, 3); X, Y, Z in any one unit, each light visible
    locus : PlanckianLocus

    Returns
    -------
    cct : array, shape (n,); NaN where the distance is beyond 0.05, as for every single-colour LED. [K]
    duv : array, shape (n,); positive above the locus, NaN where its nearest point is beyond the locus's ends

    Source
    ------
    Definition and limit of 0.05: CIE 015:2018; range: Ohno 2014, LEUKOS 10:47, as coded in colour-science.
    """
    own = _uv_of(np.asarray(tristimulus, dtype=np.float64).reshape(-1, 3))
    apart = np.hypot(own[:, None, 0] - locus.uv[:, 0], own[:, None, 1] - locus.uv[:, 1])
    middle = np.clip(np.argmin(apart, axis=1), 1, locus.ln_k.size - 2)
    before, at, after = (locus.uv[middle + k] for k in (-1, 0, 1))
    slope, bend = 0.5 * (after - before), after - 2 * at + before
    along = np.zeros(len(own))
    for _ in range(_NEWTON_STEPS):
        gap = at + along[:, None] * (slope + 0.5 * along[:, None] * bend) - own
        tangent = slope + along[:, None] * bend
        curvature = (tangent**2).sum(axis=1) + np.maximum((gap * bend).sum(axis=1), 0.0)
        along = np.clip(along - (gap * tangent).sum(axis=1) / curvature, -1.0, 1.0)
    gap = own - at - along[:, None] * (slope + 0.5 * along[:, None] * bend)
    cct = np.exp(locus.ln_k[middle] + _LOCUS_STEP * along)
    duv = np.copysign(np.hypot(gap[:, 0], gap[:, 1]), gap[:, 1])
    inside = (cct > _COLDEST_K) & (cct < _WARMEST_K)
    near = inside & (np.abs(duv) <= _FARTHEST_DUV)
    return np.where(near, cct, np.nan), np.where(inside, duv, np.nan)


def colour_temperature(xy: tuple[float, float], locus: PlanckianLocus) -> tuple[float | None, float | None]:
    """The same as ``colour_temperatures`` for one chromaticity.

    Returns
    -------
    cct : None where it means nothing. [K]
    duv : None where the method finds no point
    """
    cct, duv = colour_temperatures(np.array([[xy[0], xy[1], 1 - xy[0] - xy[1]]]), locus)
    return _finite(cct[0]), _finite(duv[0])


def linear_srgb(tristimulus: FloatArray) -> FloatArray:
    """Linear amounts of the sRGB primaries; negative where a colour is out of their reach.

    Parameters
    ----------
    tristimulus : array, shape (..., 3); X, Y, Z with Y = 1 for the screen's white, no adaptation

    Returns
    -------
    array, shape (..., 3)

    Source
    ------
    IEC 61966-2-1:1999, equation 7.
    """
    return np.asarray(np.asarray(tristimulus, dtype=np.float64) @ XYZ_TO_SRGB.T)


def encoded_srgb(linear: FloatArray) -> FloatArray:
    """Values 0-1 as they are stored, from linear amounts of the primaries.

    Parameters
    ----------
    linear : array of any shape, 0-1

    Returns
    -------
    array of the same shape

    Source
    ------
    IEC 61966-2-1:1999, equations 9 and 10.
    """
    amount = np.asarray(linear, dtype=np.float64)
    curved = 1.055 * np.maximum(amount, 0.0031308) ** (1 / 2.4) - 0.055
    return np.where(amount <= 0.0031308, 12.92 * amount, curved)


def swatch_of(tristimulus: FloatArray) -> Swatch:
    """The colour of a light as a screen can show it at its full brightness; approximate.

    Primaries below 0 are clipped to 0, which makes saturated light paler than it is; the strongest is then
    set to 1, so that a swatch tells colour and not brightness.

    Parameters
    ----------
    tristimulus : array, shape (3,); X, Y, Z in any one unit, visible

    Source
    ------
    IEC 61966-2-1:1999; clipping and full brightness are our choice.
    """
    amounts = linear_srgb(tristimulus)
    strongest = float(amounts.max())
    shown = encoded_srgb(np.clip(amounts / strongest, 0.0, 1.0))
    digits = "".join(f"{round(255 * float(v)):02x}" for v in shown)
    return Swatch(f"#{digits}", bool((amounts / strongest).min() < _CLIPPED_BELOW))


def appearances(tristimulus: FloatArray, locus: PlanckianLocus) -> tuple[Appearance | None, ...]:
    """The look of many lights.

    Parameters
    ----------
    tristimulus : array, shape (n, 3); X, Y, Z in any one unit
    locus : PlanckianLocus

    Returns
    -------
    tuple of n; None without visible light
    """
    lit = np.flatnonzero(np.asarray(tristimulus).sum(axis=1) > 0)
    found: list[Appearance | None] = [None] * len(tristimulus)
    cct, duv = colour_temperatures(tristimulus[lit], locus)
    for row, light in enumerate(lit):
        xy = chromaticity_xy(tristimulus[light])
        assert xy is not None  # it is lit
        swatch = swatch_of(tristimulus[light])
        found[light] = Appearance(xy, _finite(cct[row]), _finite(duv[row]), swatch)
    return tuple(found)


def _uv_of(tristimulus: FloatArray) -> FloatArray:
    """CIE 1960 u, v; shape (n, 3) to (n, 2)."""
    x, y, z = tristimulus.T
    uv: FloatArray = np.stack((4 * x, 6 * y), axis=1) / (x + 15 * y + 3 * z)[:, None]
    return uv


def _finite(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


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
    Bands: see ``quantities``. Lux: CIE 018:2019. Chromaticity: CIE 015:2018. Usable light: nine
    published action and absorption spectra (spectra/zooxanthella/published.csv).
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
            name: _usable(nodes, curve) / ppfd if per_ppfd else None for name, curve in tables.usable.items()
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

    Returns
    -------
    SpectralDistribution
        Photons on the nodes that integrals use; the area over 300-800 nm is 1. [nm-1]
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
    inside = (curve.wavelength_nm > wavelength[0]) & (curve.wavelength_nm < wavelength[-1])
    nodes_nm = distinct(np.concatenate((wavelength, curve.wavelength_nm[inside])))
    photon = np.interp(nodes_nm, wavelength, photons)
    weight = np.interp(nodes_nm, curve.wavelength_nm, curve.values, left=0.0, right=0.0)
    # Both are straight between these nodes, so their product is integrated exactly.
    ends = 2 * (photon[:-1] * weight[:-1] + photon[1:] * weight[1:])
    across = photon[:-1] * weight[1:] + photon[1:] * weight[:-1]
    return float(np.diff(nodes_nm) @ (ends + across)) / 6


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


@dataclass(frozen=True, eq=False)
class Eye:
    """What looking needs: the Planckian locus, and the white light to set beside.

    Attributes
    ----------
    white_lux_per_umol : illuminance of 1 umol m-2 s-1 of the white. [lx]
    """

    locus: PlanckianLocus
    white_name: str
    white_source: str
    white_lux_per_umol: float
    white: Appearance


def eye(tables: ReferenceTables, white: SpectralDistribution, name: str) -> Eye:
    """An eye that knows one white light.

    Raises
    ------
    ValueError
        If the white light is dark.

    Source
    ------
    Lux: CIE 018:2019; colour: CIE 015:2018.
    """
    locus = planckian_locus(GRID_NM, tables.colour_matching)
    rows = weighting_matrix(tables, ("ppfd", "lux", *TRISTIMULUS_WEIGHTINGS))
    ppfd, lux, *tristimulus = weigh(photon_distribution(white), rows)
    look = appearances(np.array([tristimulus]), locus)[0]
    if look is None or not ppfd > 0:
        raise ValueError(f"{name} gives no light of 400-700 nm")
    return Eye(locus, name, white.origin, float(lux / ppfd), look)


def looks_and_gets(
    field: LightField, curve: DayCurve, tristimulus: FloatArray, seen: Eye
) -> tuple[LooksAndGets | None, ...]:
    """What every place of a light field gets and how it looks, at the time of its peak.

    Parameters
    ----------
    field : LightField
        With the weightings "ppfd" and "lux".
    curve : DayCurve
        Outputs of the same channels.
    tristimulus : array, shape (n_site, n_channel, 3)
        X, Y, Z of each channel at full output, Y in lux. [lx]
    seen : Eye

    Returns
    -------
    tuple of n_site; None for a place without light

    Source
    ------
    Superposition of channels at the first moment of the highest PPFD.
    """
    ppfd = field.of("ppfd")
    peak, lux = (value_at_peak(ppfd, values, curve) for values in (ppfd, field.of("lux")))
    mixed = np.stack([value_at_peak(ppfd, tristimulus[:, :, i], curve) for i in range(3)], axis=1)
    names = [r.name for r in field.receivers]
    return tuple(
        None
        if look is None or not peak[i] > 0
        else LooksAndGets(names[i], i, float(peak[i]), float(lux[i]), look, _white_of(float(peak[i]), seen))
        for i, look in enumerate(appearances(mixed, seen.locus))
    )


def _white_of(ppfd: float, seen: Eye) -> WhiteLight:
    per_umol = seen.white_lux_per_umol
    return WhiteLight(seen.white_name, seen.white_source, per_umol, per_umol * ppfd, seen.white)


def tristimulus_of(spectra: FloatArray, tables: ReferenceTables) -> FloatArray:
    """X, Y, Z of photon spectra, Y in lux.

    Parameters
    ----------
    spectra : array, shape (..., 500); photons in the cells of the working grid. [umol m-2 s-1]
    tables : ReferenceTables

    Returns
    -------
    array, shape (..., 3). [lx]

    Source
    ------
    CIE 015:2018, scaled with 683.002 lm/W (CIE 018:2019).
    """
    return weigh(spectra, weighting_matrix(tables, TRISTIMULUS_WEIGHTINGS))
