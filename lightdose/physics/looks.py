"""What places get beside how they look: peak PPFD and lux, and white light of the same photons."""

from __future__ import annotations

import numpy as np

from lightdose.model.appearance import Appearance, LooksAndGets, WhiteLight
from lightdose.model.arrays import FloatArray
from lightdose.model.record import dataclass
from lightdose.model.results import DayCurve, LightField
from lightdose.model.spectrum import GRID_NM, ReferenceTables, SpectralDistribution
from lightdose.physics.appearance import PlanckianLocus, appearances, planckian_locus
from lightdose.physics.dose import value_at_peak
from lightdose.physics.emission import photon_distribution
from lightdose.physics.weightings import TRISTIMULUS_WEIGHTINGS, weigh, weighting_matrix


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

    Parameters
    ----------
    tables : ReferenceTables
    white : spectrum of the white light
    name : what it is called on screen

    Returns
    -------
    Eye

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
