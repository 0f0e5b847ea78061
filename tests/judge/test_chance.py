"""How often counts come by chance alone, against published and computed tables."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from lightdose.judge.chance import chance_of_as_many


@pytest.mark.published
def test_eight_cups_of_tea_come_by_chance_one_time_in_seventy() -> None:
    """All four cups told apart: 1 in 70; three of four or better: 17 in 70."""
    # Source: Fisher, The Design of Experiments, 1935, chapter 2.
    assert chance_of_as_many(4, 4, 0, 4) == pytest.approx(1 / 70, rel=1e-15)
    assert chance_of_as_many(3, 4, 1, 4) == pytest.approx(17 / 70, rel=1e-15)


@pytest.mark.published
def test_chance_is_that_of_a_library_in_random_tables() -> None:
    """200 random tables, some of them empty in a row or a column."""
    # Source: scipy.stats.fisher_exact, alternative "greater"; its own rounding is about 1e-12.
    rng = np.random.default_rng(7)
    for _ in range(200):
        changed, others = (int(n) for n in rng.integers(0, 40, 2))
        bad, others_bad = int(rng.integers(0, changed + 1)), int(rng.integers(0, others + 1))
        counts = [[bad, changed - bad], [others_bad, others - others_bad]]
        wanted = stats.fisher_exact(counts, alternative="greater").pvalue
        assert chance_of_as_many(bad, changed, others_bad, others) == pytest.approx(wanted, rel=1e-9)


@pytest.mark.identity
def test_impossible_counts_are_refused() -> None:
    """More in trouble than there are."""
    with pytest.raises(ValueError, match="no more are bad"):
        chance_of_as_many(3, 2, 0, 4)
