"""What more light brings: figure and words, from records made by hand."""

from __future__ import annotations

import numpy as np
import pytest
from matplotlib.collections import PolyCollection
from present.made_explaining import made_diminishing, made_return
from present.text_boxes import misplaced_words

from lightdose.answers.photosynthesis import NOT_IN_IT, coral_sentence, return_finding, return_sentences
from lightdose.model.changes import DiminishingReturn
from lightdose.present.figures.canvas import render
from lightdose.present.figures.explaining import MOST_CORALS, diminishing_drawing

LONG = "</script> $x_1$ ünï 😀 [/] =1+1 " + "nam e" * 34

CASES = {
    "one coral": made_diminishing(made_return("brain")),
    "two corals": made_diminishing(made_return("a"), made_return("b", 3.0, assumed=False)),
    "three corals, long names": made_diminishing(*(made_return(LONG + str(i)) for i in range(3))),
    "70 corals": made_diminishing(*(made_return(f"coral {i}", 3 - i / 30) for i in range(70))),
    "today at full": made_diminishing(made_return("brain", today=1.0), today=1.0),
    "today near nothing": made_diminishing(made_return("brain", 0.1, today=0.02), today=0.02),
}


@pytest.mark.identity
@pytest.mark.parametrize("case", CASES)
def test_words_stay_inside_and_apart(case: str) -> None:
    """No word leaves the canvas or meets another, with few and many corals and long names."""
    drawing = diminishing_drawing(CASES[case])
    assert drawing is not None
    assert misplaced_words(drawing) == []
    assert render(drawing, "svg") == render(drawing, "svg")


@pytest.mark.identity
def test_panels_hold_band_today_and_units() -> None:
    """The band's edges are the record's arrays, today stands as a line, axes carry units."""
    record = CASES["two corals"]
    drawing = diminishing_drawing(record)
    assert drawing is not None
    assert len(drawing.figure.axes) == 2
    for axes, coral in zip(drawing.figure.axes, record.corals, strict=True):
        low, high, today, mark = (line.get_xydata() for line in axes.lines)
        assert np.array_equal(np.asarray(low)[:, 1], coral.hours_low)
        assert np.array_equal(np.asarray(high)[:, 1], coral.hours_high)
        assert np.asarray(today)[:, 0].tolist() == [40, 40]
        assert np.asarray(mark)[:, 1].tolist() == list(coral.today_h)
        assert any(isinstance(c, PolyCollection) for c in axes.collections)
        assert axes.get_xlabel() == "overall output, share of all in today's mix [%]"
    assert drawing.figure.axes[0].get_ylabel() == "hours at Pmax [h]"
    assert drawing.figure.axes[0].get_ylim() == drawing.figure.axes[1].get_ylim()


@pytest.mark.identity
def test_many_corals_are_shown_from_brightest_to_dimmest_or_at_sites() -> None:
    """At most six panels, the ends among them; the count of all is said; named sites choose."""
    record = CASES["70 corals"]
    drawing = diminishing_drawing(record)
    assert drawing is not None
    words = "\n".join(t.get_text() for a in drawing.figure.axes for t in a.texts)
    assert len(drawing.figure.axes) == MOST_CORALS
    assert "coral 0" in words
    assert "coral 69" in words
    assert "6 of 70 corals" in "\n".join(t.get_text() for t in drawing.figure.texts)
    chosen = diminishing_drawing(record, ["site of coral 7", "nowhere"])
    assert chosen is not None
    assert len(chosen.figure.axes) == 1
    assert "coral 7:" in chosen.description


@pytest.mark.identity
def test_words_carry_the_numbers_and_what_is_assumed() -> None:
    """Gross, relative, and assumed where it is; the finding names both factors."""
    record = CASES["two corals"]
    sentences = return_sentences(record)
    gain = record.gain_at_full
    assert gain is not None
    assert sentences[0].startswith("Full output instead of today's 40 %: 2.5 times the photons, ")
    assert f"{gain[0]:.1f}-{gain[1]:.1f} times the photosynthesis" in sentences[0]
    assert "assumed, all of it or one end, for 1 of 2 corals" in sentences[2]
    assert sentences[-1] == NOT_IN_IT
    assert "umol/m2/s, assumed" in coral_sentence(record.corals[0])
    assert "umol/m2/s, Smith fit, computed from published data" in coral_sentence(record.corals[1])
    assert return_finding(CASES["today at full"]).startswith("Half of today's output keeps ")
    assert "optimal" not in " ".join(sentences)


@pytest.mark.identity
def test_nothing_to_show_gives_no_figure_and_says_so() -> None:
    """Without a coral that has light and an Ek there is a sentence and no drawing."""
    empty = DiminishingReturn(np.linspace(0, 1, 11), 0.0, (), ("sun coral",))
    assert diminishing_drawing(empty) is None
    assert return_sentences(empty) == ["No coral here has both light and a known onset of saturation."]
