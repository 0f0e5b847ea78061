"""Hours at Pmax and photons beyond saturation in words."""

from __future__ import annotations

from dataclasses import replace

import pytest
from present.made_analysis import GROUPS, made_analysis

from lightdose.answers.photosynthesis import (
    ek_basis,
    hours_span,
    percent_span,
    saturation_fields,
)
from lightdose.model.results import Verdict


def verdict(coral: str, beyond: tuple[float, float] | None = (0.0, 0.214)) -> Verdict:
    found = next(v for v in made_analysis().verdicts if v.coral == coral)
    return replace(
        found,
        hours_at_pmax_h=(3.46, 6.97),
        hours_above_saturation_h=(0.0, 6.2),
        photons_beyond_saturation_fraction=beyond,
    )


@pytest.mark.pinned
def test_figures_stand_with_their_ek_and_what_it_stands_on() -> None:
    """Spans to the tenth of an hour and the percent; assumed is said where it is."""
    torch = GROUPS["lps-branching"]
    assert saturation_fields(torch, verdict("torch head")) == [
        "gross photosynthesis 3.5-7.0 h at Pmax (tanh)",
        "above saturation 0.0-6.2 h",
        "beyond saturation 0-21 % of photons",
        "Ek 80-250 umol/m2/s (assumed)",
    ]
    shallow = GROUPS["sps-shallow"]
    assert saturation_fields(shallow, verdict("staghorn frag"))[-1] == "Ek 200-500 umol/m2/s"
    smith = replace(shallow, ek_model="smith")
    told = "of a Smith fit, tanh gives a little more)"
    assert saturation_fields(smith, verdict("staghorn frag"))[-1] == f"Ek 200-500 umol/m2/s ({told}"


@pytest.mark.identity
def test_basis_of_ek_is_told_from_its_source() -> None:
    """Assumed ends are named; a keeper's range without a source says so; a sourced one needs no word."""
    group = GROUPS["lps-branching"]
    cases = {
        "assumed": "assumed",
        "Pocillopora 209-467 computed by us from P1 [C]; low end assumed": "low end assumed",
        "the keeper's own group file, no source given": "no source given",
        "": "no source given",
        "computed by us from P1 [C]": "",
        "a trial of 2020": "",
    }
    for source, words in cases.items():
        assert ek_basis(replace(group, ek_source=source)) == words


@pytest.mark.identity
def test_corals_without_ek_or_light_have_no_figures() -> None:
    """A dash in the table, no fields, no sentence."""
    sun = GROUPS["non-photosynthetic"]
    bare = next(v for v in made_analysis().verdicts if v.coral == "sun coral")
    assert saturation_fields(sun, bare) == []
    assert saturation_fields(GROUPS["lps-branching"], verdict("torch head", None)) == []


@pytest.mark.identity
def test_spans_that_agree_stand_once() -> None:
    """No "0-0"."""
    assert hours_span((0.0, 0.04)) == "0.0"
    assert percent_span((0.001, 0.004)) == "0"
    assert percent_span((0.1, 1.0)) == "10-100"
