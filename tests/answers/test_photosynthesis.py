"""Hours at Pmax and photons beyond saturation in words."""

from __future__ import annotations

import pytest

from lightdose.answers.photosynthesis import (
    ek_stands_on,
    hours_span,
    percent_span,
)


@pytest.mark.identity
def test_basis_of_ek_is_told_from_its_source() -> None:
    """Assumed ends are named; a keeper's range without a source says so; what we computed is called that."""
    cases = {
        "assumed": "assumed",
        "Pocillopora 209-467 computed by us from P1 [C]; low end assumed": "low end assumed",
        "the keeper's own group file, no source given": "no source given",
        "": "no source given",
    }
    for source, words in cases.items():
        assert ek_stands_on(source, assumed=True) == words
    assert ek_stands_on("computed by us from P1 [C]", assumed=False) == "computed from published data"
    assert ek_stands_on("a trial of 2020", assumed=False) == "a trial of 2020"


@pytest.mark.identity
def test_spans_that_agree_stand_once() -> None:
    """No "0-0"."""
    assert hours_span((0.0, 0.04)) == "0.0"
    assert percent_span((0.001, 0.004)) == "0"
    assert percent_span((0.1, 1.0)) == "10-100"
