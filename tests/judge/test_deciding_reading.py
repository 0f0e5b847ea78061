"""Which reading would settle open verdicts."""

from __future__ import annotations

import math

import numpy as np
import pytest

from lightdose.judge.uncertainty import READING_FRACTION, OpenVerdict, best_reading

MARKS = (1.0, 4.0, 9.0, 20.0)
RNG = np.random.default_rng(11)
SHARED, OWN = RNG.standard_normal((2, 4000))


def columns(*mixes: tuple[float, float], middle: float = 4.0) -> np.ndarray:
    """ln DLI around the lower edge: a shared part and an own one for each column."""
    own = RNG.standard_normal((len(mixes), 4000))
    return np.column_stack(
        [math.log(middle) + s * SHARED + o * e for (s, o), e in zip(mixes, own, strict=True)]
    )


@pytest.mark.identity
def test_site_that_shares_most_with_the_coral_is_read() -> None:
    """The coral's own place tells more than one that shares half of its errors."""
    ln = columns((0.2, 0.0), (0.1, 0.17), (0.0, 0.2))
    found = best_reading(ln, [1, 2, 0], [OpenVerdict(0, MARKS)])
    assert found is not None
    assert found.site == 0


@pytest.mark.identity
def test_one_site_that_settles_two_beats_the_own_site_of_one() -> None:
    """Errors that two corals share are settled by one reading of what they share."""
    shared = np.column_stack(
        [math.log(4.0) + 0.2 * SHARED, math.log(4.0) + 0.2 * SHARED, math.log(4.0) + 0.2 * OWN]
    )
    found = best_reading(
        shared, [2, 0], [OpenVerdict(0, MARKS), OpenVerdict(1, MARKS), OpenVerdict(2, MARKS)]
    )
    assert found is not None
    assert found.site == 0
    assert found.chances[0] == found.chances[1] > 0.6
    assert found.chances[2] < 0.05


@pytest.mark.identity
def test_chance_is_that_of_the_conditional_normal() -> None:
    """By hand for a coral on an edge that is read itself: how often the new mean leaves the open span."""
    sd = 0.2
    ln = math.log(4.0) + sd * SHARED[:, None]
    mean, sd = float(ln.mean()), float(ln.std())
    found = best_reading(ln, [0], [OpenVerdict(0, (1e-9, 4.0, 1e9, 1e10))])
    assert found is not None
    share = sd**2 / (sd**2 + READING_FRACTION**2)
    # decided where |ln 4 - centre| / left >= 0.4307, the 2/3 quantile of the normal distribution
    open_span = 0.4307 * sd * math.sqrt(1 - share)
    centre = mean + sd * math.sqrt(share) * np.linspace(-6, 6, 200_001)
    weight = np.exp(-0.5 * np.linspace(-6, 6, 200_001) ** 2)
    by_hand = weight[np.abs(centre - math.log(4.0)) >= open_span].sum() / weight.sum()
    assert found.chances[0] == pytest.approx(by_hand, abs=0.06)


@pytest.mark.identity
def test_nothing_undecided_or_no_light_needs_no_reading() -> None:
    """Without an open verdict, or where every place is dark, there is nothing to read."""
    ln = columns((0.2, 0.0))
    assert best_reading(ln, [0], []) is None
    dark = np.full((4000, 1), -np.inf)
    assert best_reading(np.hstack([ln, dark]), [1], [OpenVerdict(0, MARKS)]) is None
    assert best_reading(np.hstack([ln, dark]), [0], [OpenVerdict(1, MARKS)]) is None
