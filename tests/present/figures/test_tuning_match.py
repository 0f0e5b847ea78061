"""The figure of `match`, from records made by hand."""

from __future__ import annotations

import pytest
from present.made_match import MATCHES
from present.text_boxes import misplaced_words

from lightdose.present.figures.canvas import render
from lightdose.present.figures.tuning import PAIRS_DRAWN, match_drawing


@pytest.mark.identity
@pytest.mark.parametrize("case", MATCHES)
def test_words_of_the_figure_lie_inside_and_apart(case: str) -> None:
    """No label is clipped, and no two labels meet."""
    assert misplaced_words(match_drawing(MATCHES[case])) == []


@pytest.mark.identity
def test_figure_draws_the_record() -> None:
    """Bars are what is got, steps what is wanted, on one scale."""
    match = MATCHES["two pairs"]
    panels = match_drawing(match).figure.axes
    assert len(panels) == 2
    assert panels[0].get_ylim() == panels[1].get_ylim()
    for axes, pair in zip(panels, match.chosen.pairs, strict=True):
        bars = [patch.get_height() for patch in axes.containers[0]]  # type: ignore[attr-defined]
        assert bars == pytest.approx(pair.band_got.tolist())
        steps = next(p for p in axes.patches if hasattr(p, "get_data"))
        assert steps.get_data().values.tolist() == pair.band_target.tolist()
    assert panels[-1].get_xlabel() == "wavelength [nm]"
    assert len(match_drawing(MATCHES["many pairs"]).figure.axes) == PAIRS_DRAWN


@pytest.mark.identity
def test_figure_file_is_the_same_twice() -> None:
    """Two runs write the same bytes."""
    first, second = (render(match_drawing(MATCHES["one pair"]), "svg") for _ in range(2))
    assert first == second
