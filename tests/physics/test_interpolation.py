"""Sprague and monotone cubic interpolation, against two general-purpose libraries."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lightdose.errors import SpectrumError
from lightdose.physics.photons import pchip, sprague


@pytest.mark.published
@pytest.mark.parametrize("illuminant", ["D65", "LED-B1", "LED-V2", "FL12"])
def test_sprague_equals_colour_science(illuminant):
    """The quintic, its outer coefficients included, on four CIE illuminants."""
    # Source: CIE 167:2005 as coded in colour-science (SpragueInterpolator).
    import colour

    distribution = colour.SDS_ILLUMINANTS[illuminant]
    nodes, values = distribution.wavelengths, distribution.values
    fine = np.arange(nodes[0], nodes[-1] + 0.25, 0.5)
    expected = colour.SpragueInterpolator(nodes, values)(fine)
    np.testing.assert_allclose(sprague(nodes, values, fine), expected, atol=1e-12 * values.max(), rtol=1e-11)


@pytest.mark.published
@given(
    st.lists(st.floats(0.1, 20), min_size=1, max_size=40).flatmap(
        lambda steps: st.tuples(
            st.just(steps),
            st.lists(
                st.sampled_from([0.0, 0.5, 1.0, 2.0, 7.0, 30.0]),
                min_size=len(steps) + 1,
                max_size=len(steps) + 1,
            ),
        )
    )
)
def test_pchip_equals_scipy(table):
    """Slopes, flat stretches and ends on any uneven table."""
    # Source: scipy.interpolate.PchipInterpolator.
    from scipy.interpolate import PchipInterpolator

    steps, values = table
    nodes = 400 + np.concatenate([[0.0], np.cumsum(steps)])
    fine = np.linspace(nodes[0], nodes[-1], 301)
    expected = PchipInterpolator(nodes, values)(fine) if len(nodes) > 2 else np.interp(fine, nodes, values)
    np.testing.assert_allclose(pchip(nodes, np.array(values), fine), expected, atol=1e-9)


@pytest.mark.identity
def test_sprague_is_exact_for_a_quartic():
    """A polynomial of degree four comes back, two steps from the ends and further in."""
    nodes = np.arange(400.0, 451.0, 5.0)
    fine = np.arange(410.0, 440.5, 0.5)

    def quartic(x):
        u = (x - 420) / 20
        return 1 + u - 2 * u**2 + 0.5 * u**3 + 0.25 * u**4

    np.testing.assert_allclose(sprague(nodes, quartic(nodes), fine), quartic(fine), atol=1e-11)


@pytest.mark.identity
def test_both_pass_through_their_nodes():
    """Interpolation changes no node."""
    nodes = np.arange(400.0, 450.0, 5.0)
    values = np.array([0, 1, 5, 2, 2, 7, 0, 0, 3, 1.0])
    np.testing.assert_allclose(sprague(nodes, values, nodes), values, atol=1e-12)
    np.testing.assert_allclose(pchip(nodes, values, nodes), values, atol=1e-12)


@pytest.mark.identity
def test_pchip_never_leaves_its_neighbours():
    """Between two nodes the curve stays between their values."""
    rng = np.random.default_rng(7)
    nodes = np.sort(rng.uniform(400, 700, 40))
    values = rng.uniform(0, 1, 40)
    fine = np.linspace(nodes[0], nodes[-1], 4001)
    curve = pchip(nodes, values, fine)
    segment = np.clip(np.searchsorted(nodes, fine, side="right") - 1, 0, 38)
    low = np.minimum(values[segment], values[segment + 1])
    high = np.maximum(values[segment], values[segment + 1])
    assert np.all((curve >= low - 1e-12) & (curve <= high + 1e-12))


@pytest.mark.identity
@pytest.mark.parametrize(
    "nodes", [np.array([400.0, 405, 410, 415, 420]), np.array([400.0, 405, 410, 415, 420, 426])]
)
def test_sprague_refuses_few_or_uneven_nodes(nodes):
    """The formula holds for six or more evenly spaced nodes only."""
    with pytest.raises(SpectrumError, match="six or more evenly spaced"):
        sprague(nodes, np.ones_like(nodes), nodes)


@pytest.mark.identity
@pytest.mark.filterwarnings("error")
def test_pchip_after_a_step_that_hardly_rises_starts_level() -> None:
    """A value of 1e-320 beside one of 0.4: the harmonic mean of both slopes is 0."""
    nodes, values = np.array([400.0, 405, 410, 415]), np.array([0, 1e-320, 0.4, 0.5])
    curve = pchip(nodes, values, np.linspace(400, 415, 151))
    assert np.all(curve[:51] <= 1e-319)
    assert np.all(np.diff(curve) >= 0)
    level = pchip(nodes, np.array([0, 0, 0.4, 0.5]), np.linspace(400, 415, 151))
    np.testing.assert_allclose(curve, level, atol=1e-15)
