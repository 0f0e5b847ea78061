"""Outlines and insides of solids."""

from __future__ import annotations

import math

import pytest

from lightdose.model.solids import Shape, Solid


@pytest.mark.identity
@pytest.mark.parametrize("shape", ["box", "ellipsoid", "cylinder"])
def test_outline_lies_on_the_skin_and_within_the_extent(shape: Shape) -> None:
    """From above every corner of a turned solid lies on its skin; from the side it fills its extent."""
    solid = Solid("s", shape, 0.3, 0.2, 0.25, (0.2, 0.1, 0.3), 30.0)
    for x, y in solid.outline_m(0, 1):
        assert solid.inside_m(x, y, 0.25) == pytest.approx(0, abs=1e-9)
    side = solid.outline_m(0, 2)
    for axis, at in ((0, 0), (2, 1)):
        low, high = solid.extent_m[axis]
        assert min(p[at] for p in side) == pytest.approx(low, abs=2e-3)
        assert max(p[at] for p in side) == pytest.approx(high, abs=2e-3)


@pytest.mark.identity
def test_ways_out_end_on_the_skin() -> None:
    """Each way out of a place inside ends on the skin; straight up keeps x and y."""
    solid = Solid("s", "ellipsoid", 0.3, 0.2, 0.25, (0.2, 0.2, 0.3))
    ways = solid.ways_out(0.32, 0.21, 0.24)
    assert ways[0][:2] == (0.32, 0.21)
    for way in ways:
        assert solid.inside_m(*way) == pytest.approx(0, abs=1e-9)
    assert math.dist(ways[1], (0.32, 0.21, 0.24)) < 0.1
