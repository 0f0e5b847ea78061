"""Blocks of points, computed by several threads."""

from __future__ import annotations

import numpy as np
import pytest
from physics.reference_scenes import irradiance, lamp, water_of

from lightdose.model.fixture import CosineLobe
from lightdose.model.setup import Tank
from lightdose.physics import light_field
from lightdose.physics.in_threads import in_threads

TANK = Tank(0.6, 0.4, 0.35, rim_m=0.03)
LAMPS = [lamp("one", CosineLobe(90), 0.2, 0.1, 0.2, (0.1, 0.1)), lamp("two", CosineLobe(60), 0.5, 0.3, 0.1)]


@pytest.mark.identity
def test_blocks_and_threads_do_not_matter(monkeypatch):
    """Places get the same light alone, together, in one thread and in two, in however many blocks."""
    places = np.random.default_rng(4).random((3000, 3)) * [0.6, 0.4, 0.4] - [0, 0, 0.02]
    together = irradiance(places, LAMPS, [1.0, 2.0], TANK, water_of(1.34, 0.2))
    monkeypatch.setattr(light_field, "THREADS", 1)
    assert irradiance(places, LAMPS, [1.0, 2.0], TANK, water_of(1.34, 0.2)) == pytest.approx(
        together, rel=1e-12
    )
    monkeypatch.setattr(light_field, "THREADS", 3)
    monkeypatch.setattr("lightdose.physics.lit_tank.RAYS_AT_ONCE", 20_000)
    assert irradiance(places, LAMPS, [1.0, 2.0], TANK, water_of(1.34, 0.2)) == pytest.approx(
        together, rel=1e-12
    )


@pytest.mark.identity
def test_what_fails_in_a_thread_is_told_and_ends_the_others():
    """The first failure comes out, wherever it happened, and numbers that nobody began are left."""
    begun = []

    def task(number: int) -> None:
        begun.append(number)
        if number == 2:
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        in_threads(task, 10_000)
    assert len(begun) < 10_000
