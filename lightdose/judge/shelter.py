"""Corals that rock and colonies keep dim although their group likes shade: no fault of the light."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from lightdose.judge.verdict import likes_shade
from lightdose.model.light import DayCurve
from lightdose.model.results import Verdict
from lightdose.model.setup import Setup
from lightdose.model.shadow import CAVE
from lightdose.physics.day_curve import full_output_hours
from lightdose.physics.light_field import PreparedField, normals_of
from lightdose.physics.shaded_by import kept_by_all

NEAR_LOW: Final = 1.5
"""From so many times the low end of its range on nothing is asked about a coral's shade. Our choice."""


def with_shelter(
    setup: Setup, ready: PreparedField, verdicts: Sequence[Verdict], curve: DayCurve
) -> tuple[Verdict, ...]:
    """The verdicts, those marked whose coral sits in a cave and likes shade.

    Parameters
    ----------
    setup : Setup
    ready : PreparedField
        With PPFD.
    verdicts : sequence of Verdict
        In the order of the setup.
    curve : DayCurve

    Source
    ------
    Our choice: a cave keeps ``CAVE`` or more of the light by rays; groups that like shade by ``likes_shade``.
    """
    standing, receivers = setup.standing, setup.receivers
    if standing is None or not standing.solids:
        return tuple(verdicts)
    asked = [
        n
        for n, v in enumerate(verdicts)
        if v.band_dli is not None
        and likes_shade(v.band_dli)
        and v.dli_mol_m2_d < NEAR_LOW * v.band_dli[0]
        and not receivers[v.receiver].own_sky
        and receivers[v.receiver].depth_m >= 0
    ]
    if not asked:
        return tuple(verdicts)
    at = [receivers[verdicts[n].receiver] for n in asked]
    points = np.array([(r.x_m, r.y_m, r.depth_m) for r in at])
    hours = full_output_hours(curve)
    kept = kept_by_all(ready.only("ppfd"), points, normals_of(at), standing.solids, hours)
    sheltered = {n for n, share in zip(asked, kept.tolist(), strict=True) if share >= CAVE}
    return tuple(replace(v, sheltered=n in sheltered) for n, v in enumerate(verdicts))
