"""The light of one place by its ways, its channels and its losses, each channel counted by its day."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from lightdose.model.arrays import FloatArray
from lightdose.model.maps import ChannelShare
from lightdose.model.record import dataclass
from lightdose.model.results import LIGHT_PARTS, DayCurve, LightFieldParts
from lightdose.physics.day_curve import full_output_hours
from lightdose.physics.slices import day_weights
from lightdose.quantities import BANDS, MOL_PER_UMOL_S_H

SHARE_WEIGHTINGS = ("ppfd", *(band.key for band in BANDS))
"""What ``light_shares`` needs of the light field's parts."""

SMALLEST_BAND = 1e-6
"""A colour band with less than this part of the PPFD has no absorption worth a number. Our choice."""


@dataclass(frozen=True)
class LightShares:
    """Shares of one place's light; see ``LightExplanation``."""

    part_share: Mapping[str, float]
    mean_path_m: float | None
    surface_loss_fraction: float | None
    absorbed_fraction: Mapping[str, float | None]
    channels: tuple[ChannelShare, ...]


def light_shares(parts: LightFieldParts, curve: DayCurve, site: int = 0) -> LightShares:
    """By which ways, from which channels and with which losses light comes to one place.

    Parameters
    ----------
    parts : LightFieldParts
        With the weightings of ``SHARE_WEIGHTINGS``.
    curve : DayCurve
        Outputs of the same channels.
    site : int
        Which receiver.

    Returns
    -------
    LightShares
        Shares are of PPFD, each channel counted by its photons of the day, or alike at full output where
        nothing runs; mean path and surface loss are means over the light that arrives without the floor.

    Source
    ------
    Weighted sums; surface loss and absorption by definition, 1 - arriving / what would arrive without it.
    """
    weight = day_weights(curve)
    ppfd = parts.response[site, :, :, parts.weightings.index("ppfd")]
    counted = ppfd * weight
    total = float(counted.sum())
    by_rays = counted[: LIGHT_PARTS.index("floor")].sum(axis=0)
    path, loss = parts.mean_path_m[site], parts.surface_loss_fraction[site]
    # What was lost is counted before the surface, so the share of several channels is of their light there.
    before = np.where(loss < 1, by_rays / (1 - np.where(loss < 1, loss, 0)), 0.0)
    return LightShares(
        part_share={n: float(v) / total for n, v in zip(LIGHT_PARTS, counted.sum(axis=1), strict=True)}
        if total > 0
        else {},
        mean_path_m=_mean(path, by_rays),
        surface_loss_fraction=_mean(loss, before),
        absorbed_fraction=_absorbed(parts, site, weight),
        channels=_channels(parts, curve, site, counted.sum(axis=0), total),
    )


def _mean(values: FloatArray, weight: FloatArray) -> float | None:
    known = np.isfinite(values) & (weight > 0)
    return float(np.average(values[known], weights=weight[known])) if np.any(known) else None


def _absorbed(parts: LightFieldParts, site: int, weight: FloatArray) -> dict[str, float | None]:
    arriving = np.einsum("pcw,c->w", parts.response[site], weight)
    without = np.einsum("cw,c->w", parts.unabsorbed[site], weight)
    enough = SMALLEST_BAND * without[parts.weightings.index("ppfd")]
    return {
        key: 1 - float(arriving[i] / without[i]) if without[i] > enough else None
        for key in SHARE_WEIGHTINGS
        for i in (parts.weightings.index(key),)
    }


def _channels(
    parts: LightFieldParts, curve: DayCurve, site: int, counted: FloatArray, total: float
) -> tuple[ChannelShare, ...]:
    ppfd = parts.response[site, :, :, parts.weightings.index("ppfd")].sum(axis=0)
    dli = MOL_PER_UMOL_S_H * ppfd * full_output_hours(curve)
    return tuple(
        ChannelShare(
            fixture=key.fixture,
            channel=key.channel,
            share=float(counted[i] / total) if total > 0 else 0.0,
            dli_mol_m2_d=float(dli[i]),
            full_output_ppfd_umol_m2_s=float(ppfd[i]),
            mean_path_m=_known(parts.mean_path_m[site, i]),
            surface_loss_fraction=_known(parts.surface_loss_fraction[site, i]),
        )
        for i, key in enumerate(parts.channels)
    )


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
