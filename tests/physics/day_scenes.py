"""Small fixtures, light fields and programmes for tests of days and verdicts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from lightdose.model.fixture import (
    Channel,
    ChannelProgramme,
    CosineLobe,
    DimmingCurve,
    Fixture,
    FixtureType,
    Programme,
)
from lightdose.model.light import ChannelKey, LightField
from lightdose.model.record import FloatArray
from lightdose.model.setup import Receiver
from lightdose.model.spectrum import LedPeak

Points = Sequence[tuple[float, float]]

TRAPEZOID: Points = ((8, 0), (10, 1), (16, 1), (18, 0))
"""Ramps of 2 h around a plateau of 6 h."""


def programme(points: Points) -> ChannelProgramme:
    time, level = zip(*points, strict=True)
    return ChannelProgramme(np.array(time, dtype=float), np.array(level, dtype=float))


def fixture(
    name: str = "left",
    programmes: Mapping[str, Points] | None = None,
    *,
    dimming: DimmingCurve | None = None,
    channels: Sequence[str] | None = None,
    electrical_w: Mapping[str, float] | None = None,
    output_scale: float = 1.0,
) -> Fixture:
    """A fixture with one channel a programme; ``channels`` may name more, in the type's order."""
    runs = {"blue": TRAPEZOID} if programmes is None else programmes
    names = list(runs) if channels is None else list(channels)
    watts = electrical_w or {}
    made = tuple(
        Channel(
            n, LedPeak(450, 20), CosineLobe(120), dimming or DimmingCurve.linear(), electrical_w=watts.get(n)
        )
        for n in names
    )
    return Fixture(
        name,
        FixtureType("made", made),
        0.1,
        0.1,
        0.2,
        Programme({n: programme(p) for n, p in runs.items()}),
        output_scale=output_scale,
    )


def field(ppfd: Sequence[Sequence[float]] | FloatArray, **other: Sequence[Sequence[float]]) -> LightField:
    """A light field with the given PPFD of each site and channel; other weightings follow the PPFD."""
    response = np.asarray(ppfd, dtype=float)
    share = {"ppfd": 1.0, "photons": 1.0, "uv_a": 0.0, "blue": 1.0, "red": 0.0, "below_390": 0.0, "lux": 20.0}
    columns = [np.asarray(other[k], dtype=float) if k in other else s * response for k, s in share.items()]
    n_site, n_channel = response.shape
    return LightField(
        tuple(Receiver(f"S{i + 1}", f"S{i + 1}", 0.1 * (i + 1), 0.1, 0.1, 1.0) for i in range(n_site)),
        tuple(ChannelKey("left", str(i)) for i in range(n_channel)),
        tuple(share),
        np.stack(columns, axis=2),
    )
