"""The spline of the fit against scipy's."""

from __future__ import annotations

import numpy as np
import pytest

from lightdose.fit.response_shape import NodeSpline


@pytest.mark.published
def test_spline_agrees_with_scipy() -> None:
    """Values and slopes, at nodes, between and beyond them, on uneven nodes and for arrays."""
    # Source: scipy.interpolate.CubicSpline, whose default ends are not-a-knot too.
    interpolate = pytest.importorskip("scipy.interpolate")
    nodes = np.array([-1.2, -0.3, 0.0, 0.4, 1.5, 1.7, 3.0])
    values = np.random.default_rng(4).normal(size=(7, 2, 3))
    ours, theirs = NodeSpline(nodes, values), interpolate.CubicSpline(nodes, values)
    for at in (-1.5, *nodes, -0.7, 0.1, 1.6, 2.5, 3.2):
        assert ours(at) == pytest.approx(theirs(at), abs=1e-11)
        assert ours(at, 1) == pytest.approx(theirs(at, 1), abs=1e-10)


@pytest.mark.identity
def test_spline_of_a_cubic_is_the_cubic() -> None:
    """A polynomial of the third degree comes back exactly."""
    nodes = np.linspace(0, 2, 5)
    spline = NodeSpline(nodes, nodes**3 - 2 * nodes)
    assert spline(1.23) == pytest.approx(1.23**3 - 2 * 1.23)
    assert spline(1.23, 1) == pytest.approx(3 * 1.23**2 - 2)
