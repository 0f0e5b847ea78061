"""The figure and the words of `match`, from records made by hand."""

from __future__ import annotations

import io

import numpy as np
import pytest
from present.text_boxes import misplaced_words

from lightdose.answers.verdicts import SINGLE_VALUES
from lightdose.model.matching import ChannelSetting, Match, PairMatch, UnmatchedBand
from lightdose.model.results import Caution, ChannelKey
from lightdose.present.figures.canvas import render
from lightdose.present.figures.match import PAIRS_DRAWN, match_drawing
from lightdose.present.match_text import closing_sentence, match_lines, show_match, unmatched_sentence

LONG = "$x_1$ ünï 😀 [/] " + "nam e" * 38


def made_pair(here: str, there: str, factor: float) -> PairMatch:
    wanted = np.zeros(50)
    wanted[14:18], wanted[36] = 1.0, 0.5
    got = np.zeros(50)
    got[14:18] = 1.125 * factor
    return PairMatch(here, there, 4.5, 4.5 * factor, 2.0, 150.0, 150.0 * factor, wanted, got)


def made_match(*pairs: PairMatch, reached: bool = True, measure_first: bool = True) -> Match:
    factors = [p.factor for p in pairs]
    keys = [("lamp", "blue 450"), ("lamp", LONG)]
    return Match(
        "a",
        "b",
        "data sheet",
        "Measure first, here and there.",
        measure_first,
        pairs,
        float(np.exp(np.mean(np.log(factors)))),
        (min(factors), max(factors)),
        reached,
        0.111,
        (UnmatchedBand(660.0, 670.0, 0.111, 1.0),),
        tuple(ChannelSetting(ChannelKey(*k), o, o, o == 1) for k, o in zip(keys, (1.0, 0.0), strict=True)),
        {},
        (Caution("only_these_places", "Only the named places were matched.", "our choice"),),
        "0",
        {},
    )


CASES = {
    "one pair": made_match(made_pair("ridge", "rock", 1.0)),
    "two pairs": made_match(made_pair("ridge", "rock", 1.25), made_pair("sand", "floor", 0.8)),
    "many pairs": made_match(*(made_pair(f"a{i}", f"b{i}", 1.0) for i in range(9))),
    "long names": made_match(made_pair(LONG, "W" * 200, 1.0)),
    "not reached": made_match(made_pair("ridge", "rock", 0.4), reached=False),
}


@pytest.mark.identity
@pytest.mark.parametrize("case", CASES)
def test_words_of_the_figure_lie_inside_and_apart(case: str) -> None:
    """No label is clipped, and no two labels meet."""
    assert misplaced_words(match_drawing(CASES[case])) == []


@pytest.mark.identity
def test_figure_draws_the_record() -> None:
    """Bars are what is got, steps what is wanted, on one scale."""
    match = CASES["two pairs"]
    panels = match_drawing(match).figure.axes
    assert len(panels) == 2
    assert panels[0].get_ylim() == panels[1].get_ylim()
    for axes, pair in zip(panels, match.pairs, strict=True):
        bars = [patch.get_height() for patch in axes.containers[0]]  # type: ignore[attr-defined]
        assert bars == pytest.approx(pair.band_got.tolist())
        steps = next(p for p in axes.patches if hasattr(p, "get_data"))
        assert steps.get_data().values.tolist() == pair.band_target.tolist()
    assert panels[-1].get_xlabel() == "wavelength [nm]"
    assert len(match_drawing(CASES["many pairs"]).figure.axes) == PAIRS_DRAWN


@pytest.mark.identity
def test_figure_file_is_the_same_twice() -> None:
    """Two runs write the same bytes."""
    first, second = (render(match_drawing(CASES["one pair"]), "svg") for _ in range(2))
    assert first == second


@pytest.mark.pinned
def test_words_of_what_is_missing_and_of_the_verdict() -> None:
    """Neighbouring bands stand together; the verdict never claims more than the readings allow."""
    assert unmatched_sentence(CASES["one pair"]) == (
        "Cannot be matched: 660-670 nm missing (11.1 % of the photons)."
    )
    assert closing_sentence(CASES["not reached"]).startswith("Not matched: 40 % of the dose")
    assert closing_sentence(made_match(made_pair("a", "b", 1.0), measure_first=False)) == (
        "Matched, with 11.1 % of the photons in other colours."
    )


@pytest.mark.identity
@pytest.mark.parametrize("width", [60, 120])
@pytest.mark.parametrize("case", CASES)
def test_terminal_and_pipe_say_the_same_verdict(case: str, width: int) -> None:
    """The basis stands first, with what doses lack, and the verdict last, in both."""
    match = CASES[case]
    lines = list(match_lines(match))
    stream = io.StringIO()
    show_match(match, stream, colour=False, width=width)
    shown = " ".join(stream.getvalue().split())
    assert lines[0] == f"{match.basis_sentence} {SINGLE_VALUES}"
    assert shown.startswith(lines[0])
    assert shown.endswith(lines[-1])
    assert "\x1b" not in stream.getvalue()
