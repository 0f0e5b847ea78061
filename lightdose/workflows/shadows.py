"""Corals below their range that stand in the shade of rock or colonies, and the way out of the shadow."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np

from lightdose.analysis import Analysis
from lightdose.judge.verdict import likes_shade
from lightdose.model.record import FloatArray
from lightdose.model.results import Verdict
from lightdose.model.setup import Receiver
from lightdose.model.shadow import OutOfShadow, Shadow, Side
from lightdose.model.solids import Solid
from lightdose.physics.day_curve import full_output_hours
from lightdose.physics.light_field import PreparedField, normals_of
from lightdose.physics.shaded_by import kept_by_all, kept_by_each, named_shares, rays_among
from lightdose.quantities import MOL_PER_UMOL_S_H

SHADED: Final = 0.2
"""A coral stands in the shade from this share of its light on. Our choice."""

STEPS_M: Final = (0.02, 0.03, 0.04, 0.06, 0.08, 0.1, 0.12, 0.15, 0.2)
WAYS: Final[dict[Side, tuple[int, int]]] = {
    "front": (0, -1),
    "back": (0, 1),
    "left": (-1, 0),
    "right": (1, 0),
}
SPARE: Final = 1.1
"""A place out of the shadow keeps so far from both ends of the range. Our choice."""

NEARLY: Final = 1.3
"""A place is looked at closely from so near its range on. Our choice."""

MOST_CORALS: Final = 12
"""The dimmest that are looked at. Our choice."""


def shadows(analysis: Analysis, ready: PreparedField) -> tuple[Shadow, ...]:
    """The corals below their range from which solids keep ``SHADED`` or more of the light.

    Parameters
    ----------
    analysis : Analysis
    ready : PreparedField
        Of its setup, with PPFD.
    """
    standing = analysis.setup.standing
    if standing is None or not standing.solids:
        return ()
    bare, hours = ready.only("ppfd"), full_output_hours(analysis.day_curve)
    low = ("below", "far_below")
    dim = [v for v in analysis.verdicts if v.dli_state in low or v.dli_verdict in low]
    dim.sort(key=lambda v: v.dli_mol_m2_d / (v.band_dli or (1.0, 1.0))[0])
    receivers = analysis.light_field.receivers
    places = [(v, receivers[v.receiver]) for v in dim[:MOST_CORALS]]
    places = [(v, r) for v, r in places if not r.own_sky and r.depth_m >= 0]
    if not places:
        return ()
    at, looks = _points([r for _, r in places]), normals_of([r for _, r in places])
    each = kept_by_each(bare, at, looks, standing.solids, hours)
    whole = kept_by_all(bare, at, looks, standing.solids, hours)
    found = []
    for n, (verdict, receiver) in enumerate(places):
        if whole[n] >= SHADED:
            others = tuple(s for s in standing.solids if s.coral != verdict.coral)
            by = {k: s for k, s in named_shares(standing.solids, each[:, n]).items() if k != verdict.coral}
            out = _way_out(analysis, bare, verdict, receiver, others, hours)
            found.append(Shadow(verdict.coral, float(whole[n]), by, likes_shade(verdict.band_dli), out))
    return tuple(found)


def _points(receivers: Sequence[Receiver]) -> FloatArray:
    return np.array([(r.x_m, r.y_m, r.depth_m) for r in receivers]).reshape(-1, 3)


def _way_out(
    analysis: Analysis,
    bare: PreparedField,
    verdict: Verdict,
    receiver: Receiver,
    others: Sequence[Solid],
    hours: FloatArray,
) -> OutOfShadow | None:
    """The nearest place beside it that gives it a usual amount, with its own colony out of the way."""
    if verdict.band_dli is None:
        return None
    coral = next(c for c in analysis.setup.corals if c.name == verdict.coral)
    look, (low, high) = normals_of([receiver]), verdict.band_dli
    steps = list(_free_steps(analysis, receiver, others, 0.5 * coral.diameter_m))
    if not steps:
        return None
    points = np.array([(receiver.x_m, receiver.y_m, receiver.depth_m), *(point for _, _, point in steps)])
    normals = None if look is None else np.repeat(look, len(points), axis=0)
    by_rays = rays_among(bare, points, normals, others)[0]

    def dose(n: int, bounced: FloatArray) -> float:
        return MOL_PER_UMOL_S_H * receiver.open_sky * float((by_rays[n] + bounced) @ hours)

    # Light off floor and rock changes little from here to there: it is computed where it may decide.
    here = bare.bounced(points[:1], look)[0, :, 0]
    for n, (distance, towards, _) in enumerate(steps, start=1):
        if not low * SPARE / NEARLY <= dose(n, here) <= high / SPARE * NEARLY:
            continue
        dli = dose(n, bare.bounced(points[n : n + 1], look)[0, :, 0])
        if low * SPARE <= dli <= high / SPARE:
            return OutOfShadow(distance, towards, dli)
    return None


def _free_steps(
    analysis: Analysis, receiver: Receiver, others: Sequence[Solid], radius_m: float
) -> Iterator[tuple[float, Side, tuple[float, float, float]]]:
    """Places beside it in the water and clear of all that is solid, the nearest first."""
    tank = analysis.setup.tank
    for distance in STEPS_M:
        for towards, (dx, dy) in WAYS.items():
            x, y = receiver.x_m + distance * dx, receiver.y_m + distance * dy
            clear = radius_m <= x <= tank.length_m - radius_m and radius_m <= y <= tank.width_m - radius_m
            if clear and all(s.inside_m(x, y, receiver.depth_m) <= -radius_m for s in others):
                yield distance, towards, (x, y, receiver.depth_m)
