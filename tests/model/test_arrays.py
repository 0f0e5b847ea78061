"""Small array helpers against numpy's own."""

import numpy as np
import pytest

from lightdose.model.record import distinct, quantiles


@pytest.mark.published
def test_distinct_values_equal_those_of_numpy() -> None:
    """Repeated, unordered and no values at all give what numpy.unique gives."""
    # Source: numpy.unique.
    values = np.random.default_rng(3).integers(0, 40, (7, 30)) / 8
    np.testing.assert_array_equal(distinct(values), np.unique(values))
    assert distinct([]).size == 0


@pytest.mark.published
@pytest.mark.parametrize("count", [2, 3, 4000])
def test_quantiles_equal_those_of_numpy(count: int) -> None:
    """Both ends, the middle and a 95 % interval equal numpy.quantile's linear method."""
    # Source: numpy.quantile.
    values = np.random.default_rng(4).lognormal(size=(5, count))
    shares = (0.0, 0.025, 0.5, 0.975, 1.0)
    np.testing.assert_allclose(quantiles(values, shares), np.quantile(values, shares, axis=1).T, rtol=1e-14)
