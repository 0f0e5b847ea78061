"""A quick part of the table of coverage: what is stated holds where readings or statements are wrong."""

from __future__ import annotations

import pytest
from fit.measured_tanks import CASES, Case, run_trial

pytestmark = [pytest.mark.slow, pytest.mark.identity]

TANKS = 60
CHANCE = 0.001
"""A mark that holds is missed this seldom, by the binomial distribution."""

SOME = ("15 readings, assumptions true", "3 readings", "dead", "wild", "site", "1.6 or 0.6")


@pytest.mark.parametrize(
    "case", [c for c in CASES if any(part in c.name for part in SOME)], ids=lambda case: case.name
)
def test_intervals_hold_what_they_promise(case: Case) -> None:
    """One site of each of 60 true tanks, so that they are independent: as often inside as the mark asks."""
    stats = pytest.importorskip("scipy.stats")
    trials = [run_trial(case, index) for index in range(TANKS)]
    inside = sum(t.covered[n % len(t.covered)] for n, t in enumerate(trials))
    covered = stats.binomtest(inside, TANKS, case.low, alternative="less").pvalue > CHANCE
    told = [name for t in trials for name in t.named]
    if case.named is None:
        assert covered, (case.name, inside)
        return
    said = stats.binomtest(sum(told), len(told), case.named, alternative="less").pvalue > CHANCE
    assert (covered or said) if case.or_named else (covered and said), (case.name, inside, sum(told))


def test_a_wrong_statement_of_the_meter_would_be_found() -> None:
    """The check can fail: intervals that ignore a scale out by 25 % hold far too seldom."""
    stats = pytest.importorskip("scipy.stats")
    case = Case("meter out by 25 %", 15, 0.93, scale_sd=0.25)
    trials = [run_trial(case, index) for index in range(TANKS)]
    inside = sum(t.covered[n % len(t.covered)] for n, t in enumerate(trials))
    assert stats.binomtest(inside, TANKS, case.low, alternative="less").pvalue < CHANCE
