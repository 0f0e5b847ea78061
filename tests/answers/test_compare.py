"""The words of `compare`: photons first, each direction by its own word, names as they stand."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache
from typing import Any

import pytest
from answers.printed import as_one, on_terminal, piped
from judge.made_tank import made_tank

from lightdose.answers.answer import envelope
from lightdose.answers.compare import (
    FIELDS,
    compare_answer,
    largest_changes_first,
    pairs_of,
    photons_sentence,
    worst_changes_first,
)
from lightdose.answers.field import Sheet
from lightdose.answers.photon_change import change_sentence, factor, photon_words
from lightdose.answers.verdicts import SEVERITY, octaves_off
from lightdose.judge.comparison import same_setup
from lightdose.model.comparison import Comparison, CoralComparison, PlaceChange, Split
from lightdose.model.identity import Program
from lightdose.model.results import Analysis, Caution, Span
from lightdose.model.setup import Electricity, Water
from lightdose.workflows.compare import compare

TANK = made_tank()
ODD = "</script>[red]=1+1 \U0001f420" + "x" * 180


def made_comparison(height_m: float = 0.4) -> Comparison:
    fixtures = tuple(replace(f, height_m=height_m) for f in TANK.fixtures)
    return compare(TANK, replace(TANK, fixtures=fixtures))


@cache
def plain() -> Comparison:
    return made_comparison()


def change(brighter: float, longer: float, colour: tuple[float, float, float] = (1, 1, 1)) -> PlaceChange:
    """A change by factors, on the light of an invented place."""
    logs = [math.log(x) for x in (brighter, longer, *colour)]
    ln_dli = logs[0] + logs[1]
    split = Split(ln_dli, ln_dli + logs[2], logs[0], logs[1], Span(*logs[2:]))
    site = plain().sites[0]
    return PlaceChange(site.before, site.after, math.exp(ln_dli), split, None)


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("made", "words"),
    [
        (
            (1.5, 1.2, (1.0, 0.9, 1.2)),
            "1.8 times the photons: 1.5 times as bright, 1.2 times as long; "
            "colour by usable share 1.00 (0.90-1.20), not growth",
        ),
        (
            (0.5, 1.0),
            "0.50 times the photons: 0.50 times as bright, same hours, same colour",
        ),
        (
            (1.0, 0.75),
            "0.75 times the photons: as bright, 0.75 times as long, same colour",
        ),
        (
            (1.0, 1.0, (0.8, 0.7, 0.9)),
            "the same photons: as bright, same hours; colour by usable share 0.80 (0.70-0.90), not growth",
        ),
    ],
)
def test_change_reads_photons_first(made: tuple[Any, ...], words: str) -> None:
    """Photons, then brightness and hours, then colour called what it is."""
    assert change_sentence(change(*made)) == words


@pytest.mark.pinned
def test_dark_places_are_called_dark() -> None:
    """A side without light is named; no factor is made up."""
    site = plain().sites[0]
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


def _step(coral: CoralComparison) -> int:
    return SEVERITY[coral.verdict_before.dli_verdict] - SEVERITY[coral.verdict_after.dli_verdict]


def _away(coral: CoralComparison) -> float:
    return octaves_off(coral.verdict_after) - octaves_off(coral.verdict_before)


@pytest.mark.identity
def test_what_gets_worse_comes_first_then_what_gets_better() -> None:
    """Nothing that gets better, or stays, stands before what gets worse; verdicts go before doses."""
    away = compare(TANK, replace(TANK, fixtures=tuple(replace(f, height_m=0.1) for f in TANK.fixtures)))
    for found in (plain(), away):
        ranked = worst_changes_first(found.corals)
        ways = [_step(c) or _away(c) for c in ranked]
        turns = [0 if way > 0 else 1 if way < 0 else 2 for way in ways]
        assert turns == sorted(turns)
        for turn in set(turns):
            sizes = [abs(_step(c)) for c, own in zip(ranked, turns, strict=True) if own == turn]
            assert sizes == sorted(sizes, reverse=True)
    back = [c.coral for c in worst_changes_first(compare(away.after.setup, TANK).corals) if _step(c) < 0]
    assert {c.coral for c in away.corals if _step(c) > 0} == set(back)
    changes = [abs(s.split.ln_dli) for s in largest_changes_first(plain().sites)]
    assert changes == sorted(changes, reverse=True)


@pytest.mark.identity
@pytest.mark.parametrize(
    ("kept", "words"), [(1, "1 coral changes verdict: "), (2, "2 corals change verdict: ")]
)
def test_corals_that_change_are_counted_in_good_grammar(kept: int, words: str) -> None:
    """One coral changes, two change."""
    few = replace(plain(), corals=tuple(c for c in plain().corals if c.changes_verdict)[:kept])
    assert any(words in line for line in piped(compare_answer(few)))


@pytest.mark.identity
def test_one_setup_beside_itself_is_one_line() -> None:
    """The same, read twice: one line and no table, whatever is asked for; the JSON stays whole."""
    answer = compare_answer(compare(TANK, made_tank()))
    line = piped(answer)
    assert line == piped(answer, everything=True)
    assert len(line) == 1
    assert line[0].startswith("The two are the same: ")
    assert len(answer.body()["sites"]) == len(TANK.sites)


@pytest.mark.identity
@pytest.mark.parametrize("part", ["groups", "water", "corals", "electricity", "uncertainty"])
def test_whatever_counts_makes_two_setups_differ(part: str) -> None:
    """A group's band, the water, a coral's group, a price or a stated uncertainty: no longer the same."""
    key = TANK.corals[0].group
    changes: dict[str, Any] = {
        "groups": {**TANK.groups, key: replace(TANK.groups[key], band_dli=(9.0, 14.0))},
        "water": Water(yellowing_440_per_m=0.3),
        "corals": (replace(TANK.corals[0], group="soft"), *TANK.corals[1:]),
        "electricity": Electricity(0.5, "EUR"),
        "uncertainty": {"model_fraction": 0.3},
    }
    assert same_setup(TANK, replace(TANK, title="elsewhere", path="b/setup.toml"))
    assert not same_setup(TANK, replace(TANK, **{part: changes[part]}))


@pytest.mark.identity
def test_cautions_are_compared_like_for_like() -> None:
    """A caution of both that concerns others is never called B's alone; one that goes is told as A's."""

    def warned(**names: tuple[str, ...]) -> Analysis:
        found = (Caution(code, f"{code} at {', '.join(at)}.", "ours", at) for code, at in names.items())
        return replace(plain().before, cautions=tuple(found))

    a, b = (
        warned(much_red=("x",), long_day=("x",), no_ramp=("x",)),
        warned(much_red=("x", "y"), no_ramp=("x",)),
    )
    found = replace(plain(), before=a, after=b, cautions=b.cautions[:1])
    lines = piped(compare_answer(found))
    assert "B gives cause for caution, A does not" not in lines
    at = lines.index("A gives cause for caution, B does not")
    assert "long_day at x" in lines[at + 1]
    at = lines.index("Cautions of both, as they read under B")
    assert "1 under A, 2 under B: much_red at x, y." in lines[at + 1]
    assert not any("no_ramp" in line for line in lines)


@pytest.mark.identity
def test_no_common_site_is_said() -> None:
    """Without a site in both there is nothing to divide, and that is the sentence."""
    other = replace(TANK, sites=(replace(TANK.sites[0], name="rock"),), corals=())
    found = compare(TANK, other, certainty=False)
    assert photons_sentence(found) == "No site stands in both, so no light can be set beside another."
    assert "In A only, not compared: 3 sites (ridge, shelf, sand)." in piped(compare_answer(found))


@pytest.mark.identity
@pytest.mark.parametrize("width", [60, 100, 200])
def test_terminal_shows_odd_names_literally(width: int) -> None:
    """Markup, scripts, formulas and 200 characters stand as they are, wherever lines break."""
    sites = (replace(TANK.sites[0], name=ODD), *TANK.sites[1:])
    corals = tuple(replace(c, site=ODD) if c.site == "ridge" else c for c in TANK.corals)
    odd = replace(TANK, sites=sites, corals=corals, title=ODD)
    low = tuple(replace(f, height_m=0.4) for f in odd.fixtures)
    answer = compare_answer(compare(odd, replace(odd, fixtures=low)))
    text = "".join(as_one(on_terminal(answer, width)).split())
    assert "\x1b" not in text
    assert "".join(ODD.split()) in text
    assert any(ODD in line for line in piped(answer, everything=True))


@pytest.mark.identity
def test_every_place_has_its_lines_on_every_surface() -> None:
    """Everything asked for: each coral in three tables, each site in two, in a pipe as on a terminal."""
    answer = compare_answer(plain())
    for lines in (piped(answer, everything=True), on_terminal(answer, 130, everything=True)):
        for names, tables in (([c.coral for c in plain().corals], 3), ([s.site for s in plain().sites], 2)):
            assert all(
                sum(line.lstrip(" !?").startswith(f"{name}  ") for line in lines) == tables for name in names
            )
    brief = as_one(piped(answer))
    assert "Sites, largest change first" not in brief
    assert "--all shows" in brief


@pytest.mark.identity
def test_answer_counts_corals_as_dose_does() -> None:
    """Both judgements are those of the two setups; the safety lines stand once, beside what B adds."""
    answer = compare_answer(plain())
    assert answer.judged == {"before": plain().before.judgement, "after": plain().after.judgement}
    told = envelope(answer, Program("0.0.0"))
    for key in ("counts", "calculated_counts"):
        assert told[key] == {
            when: getattr(one.judgement, key)
            for when, one in (("before", plain().before), ("after", plain().after))
        }
    codes = [caution.code for caution in answer.cautions]
    assert len(codes) == len(set(codes))
    assert {c.code for c in plain().after.cautions if c.code.startswith("safety_")} <= set(codes)


@pytest.mark.identity
def test_every_field_reads_a_pair() -> None:
    """Each column has a cell for a site and a coral, lit or dark, and each is printed for people."""
    dark = replace(plain().sites[0].before, looks=None)
    sites = (*plain().sites, replace(plain().sites[0], after=dark, dli_ratio=None, split=Split()))
    rows = pairs_of(plain(), (*sites, *plain().corals))
    sheet = Sheet(FIELDS, rows)
    assert {len(cells) for cells in sheet.values()} == {len(sheet.columns)}
    assert all(isinstance(one.shown(row), str) for one in FIELDS if one.at for row in rows)


@pytest.mark.identity
def test_factors_that_do_not_multiply_when_short_are_said_longer() -> None:
    """1.77 x 1.10 reads "1.94", for 1.8 x 1.10 would be 2.0; 1.5 x 1.2 stays short."""
    assert (
        photon_words(change(1.77, 1.096))
        == "1.94 times the photons: 1.77 times as bright, 1.10 times as long"
    )
    assert photon_words(change(1.5, 1.2)) == "1.8 times the photons: 1.5 times as bright, 1.2 times as long"
