"""The words of `compare`: photons first, each direction by its own word, names as they stand."""

from __future__ import annotations

import io
import math
from dataclasses import replace

import pytest
from judge.made_tank import made_tank

from lightdose.model.comparison import Comparison, CoralComparison, PlaceChange, Split
from lightdose.model.results import Span
from lightdose.model.sensitivity import SEVERITY
from lightdose.present.comparison_text import compare_lines, show_comparison
from lightdose.present.comparison_words import (
    change_sentence,
    factor,
    largest_changes_first,
    photon_words,
    photons_sentence,
    worst_changes_first,
)
from lightdose.workflows.compare import compare

TANK = made_tank()
ODD = "</script>[red]=1+1 \U0001f420" + "x" * 180


def made_comparison(height_m: float = 0.4) -> Comparison:
    fixtures = tuple(replace(f, height_m=height_m) for f in TANK.fixtures)
    return compare(TANK, replace(TANK, fixtures=fixtures))


PLAIN = made_comparison()


def change(brighter: float, longer: float, colour: tuple[float, float, float] = (1, 1, 1)) -> PlaceChange:
    """A change by factors, on the light of an invented place."""
    logs = [math.log(x) for x in (brighter, longer, *colour)]
    ln_dli = logs[0] + logs[1]
    split = Split(ln_dli, ln_dli + logs[2], logs[0], logs[1], Span(*logs[2:]))
    site = PLAIN.sites[0]
    return PlaceChange(site.before, site.after, math.exp(ln_dli), split, None)


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("made", "words"),
    [
        (
            change(1.5, 1.2, (1.0, 0.9, 1.2)),
            "1.8 times the photons: brighter 1.5, longer 1.2; colour by absorption index 1.00 (0.90-1.20), "
            "not growth",
        ),
        (
            change(0.5, 1.0),
            "0.50 times the photons: dimmer 0.50, as long; colour by absorption index 1.00, not growth",
        ),
        (
            change(1.0, 0.75),
            "0.75 times the photons: as bright, shorter 0.75; colour by absorption index 1.00, not growth",
        ),
        (
            change(1.0, 1.0, (0.8, 0.7, 0.9)),
            "the same photons: as bright, as long; colour by absorption index 0.80 (0.70-0.90), not growth",
        ),
    ],
)
def test_change_reads_photons_first(made: PlaceChange, words: str) -> None:
    """Photons, then brightness and hours, then colour called what it is."""
    assert change_sentence(made) == words


@pytest.mark.pinned
def test_dark_places_are_called_dark() -> None:
    """A side without light is named; no factor is made up."""
    site = PLAIN.sites[0]
    dark = replace(site.before, dli_mol_m2_d=0.0)
    assert change_sentence(PlaceChange(dark, site.after, None, Split(), None)) == "dark under A"
    assert change_sentence(PlaceChange(site.before, dark, 0.0, Split(), None)) == "dark under B"
    assert change_sentence(PlaceChange(dark, dark, None, Split(), None)) == "dark under both"


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("ratio", "text"),
    [(1.0, "1.00"), (0.973, "0.97"), (1.84, "1.8"), (0.5, "0.50"), (12.3, "12"), (0.052, "0.052")],
)
def test_factor_keeps_two_digits(ratio: float, text: str) -> None:
    """Two significant digits, three near to 1."""
    assert factor(ratio) == text


def _worse(coral: CoralComparison) -> int:
    return SEVERITY[coral.verdict_after.dli_state] - SEVERITY[coral.verdict_before.dli_state]


@pytest.mark.identity
def test_worst_changes_come_first() -> None:
    """Corals that get worse stand before those that stay and those that mend; sites by their change."""
    rank = {c.coral: _worse(c) for c in worst_changes_first(PLAIN.corals)}
    assert len(set(rank.values())) > 1
    assert list(rank.values()) == sorted(rank.values(), reverse=True)
    sizes = [abs(s.split.ln_dli) for s in largest_changes_first(PLAIN.sites)]
    assert sizes == sorted(sizes, reverse=True)


@pytest.mark.identity
@pytest.mark.parametrize(("kept", "words"), [(1, "1 coral changes state: "), (2, "2 corals change state: ")])
def test_corals_that_change_are_counted_in_good_grammar(kept: int, words: str) -> None:
    """One coral changes, two change."""
    few = replace(PLAIN, corals=tuple(c for c in PLAIN.corals if c.changes_state)[:kept])
    assert any(f"By the stated values {words}" in line for line in compare_lines(few))


@pytest.mark.identity
def test_one_setup_beside_itself_is_said_to_be_the_same() -> None:
    """Nothing differs, the photons are the same, no step is called for."""
    lines = list(compare_lines(compare(TANK, TANK)))
    assert lines[2] == "B differs in nothing that gives light."
    assert lines[3] == (
        "The same photons: as bright, as long; colour by absorption index 1.00, not growth (at all 3 sites)."
    )
    assert "acclimate" not in lines[-1]


@pytest.mark.identity
def test_no_common_site_is_said() -> None:
    """Without a site in both there is nothing to divide, and that is the sentence."""
    other = replace(TANK, sites=(replace(TANK.sites[0], name="rock"),), corals=())
    found = compare(TANK, other, certainty=False)
    assert photons_sentence(found) == "No site stands in both, so no light can be set beside another."
    assert "In A only, not compared: 3 sites (ridge, shelf, sand)." in list(compare_lines(found))


@pytest.mark.identity
@pytest.mark.parametrize("width", [60, 100, 200])
def test_terminal_shows_odd_names_literally(width: int) -> None:
    """Markup, scripts, formulas and 200 characters stand as they are; colour off means no escape byte."""
    sites = (replace(TANK.sites[0], name=ODD), *TANK.sites[1:])
    corals = tuple(replace(c, site=ODD) if c.site == "ridge" else c for c in TANK.corals)
    odd = replace(TANK, sites=sites, corals=corals, title=ODD)
    stream = io.StringIO()
    show_comparison(compare(odd, odd), stream, colour=False, width=width)
    text = stream.getvalue()
    assert "\x1b" not in text
    assert ODD in text.replace("\n", "")
    assert any(ODD in line for line in compare_lines(compare(odd, odd)))


@pytest.mark.identity
def test_every_place_has_one_record_line() -> None:
    """Piped: a line a coral and site, fields parted by tabs, photosynthesis of both sides with it."""
    lines = list(compare_lines(PLAIN))
    assert sum(line.startswith("site ") for line in lines) == 3
    corals = [line for line in lines if line.startswith("coral ")]
    assert len(corals) == 4
    assert any("A: gross photosynthesis" in line and "B: gross photosynthesis" in line for line in corals)


@pytest.mark.identity
def test_factors_that_do_not_multiply_when_short_are_said_longer() -> None:
    """1.77 x 1.10 reads "1.94", for 1.8 x 1.10 would be 2.0; 1.5 x 1.2 stays short."""
    assert photon_words(change(1.77, 1.096)) == "1.94 times the photons: brighter 1.77, longer 1.10"
    assert photon_words(change(1.5, 1.2)) == "1.8 times the photons: brighter 1.5, longer 1.2"
