"""Colour beside dose: figure and words, from records made by hand."""

from __future__ import annotations

import pytest
from present.made_explaining import EVIDENCE, made_colour, made_span
from present.text_boxes import misplaced_words

from lightdose.answers.colour import NO_LIGHT, colour_finding, colour_sentences
from lightdose.model.changes import ALL_MIXES, WITHOUT_WARNINGS, IndexSpan
from lightdose.present.figures.canvas import render
from lightdose.present.figures.explaining import colour_drawing

LONG = "</script> $x_1$ ünï 😀 [/] =1+1 " + "nam e" * 34
NONE = IndexSpan(WITHOUT_WARNINGS, None, "no mix that gives as much light has blue at least 30 % of PPFD")

CASES = {
    "usual": made_colour(),
    "long name": made_colour(LONG),
    "no quiet mix": made_colour(quiet=NONE, warnings=("blue at least 30 % of PPFD",)),
    "one channel": made_colour(every=made_span(ALL_MIXES, 0.8, 0.8), quiet=NONE),
    "wide": made_colour(every=made_span(ALL_MIXES, 0.01, 0.9)),
}


@pytest.mark.identity
@pytest.mark.parametrize("case", CASES)
def test_words_stay_inside_and_apart(case: str) -> None:
    """No word leaves the canvas or meets another."""
    drawing = colour_drawing(CASES[case])
    assert misplaced_words(drawing) == []
    assert render(drawing, "svg") == render(drawing, "svg")


@pytest.mark.identity
def test_bars_are_the_spans_over_today() -> None:
    """One log axis, times today's value: dose, every mix, mixes without a warning."""
    record = CASES["usual"]
    axes = colour_drawing(record).figure.axes[0]
    assert axes.get_xscale() == "log"
    ends = [(b.get_x(), b.get_x() + b.get_width()) for b in axes.patches]
    expected = [(1.89 / 6.8, 22.68 / 6.8), (0.5 / 0.8, 0.9 / 0.8), (0.6 / 0.8, 0.9 / 0.8)]
    for end, wanted in zip(ends, expected, strict=True):
        assert end == pytest.approx(wanted)
    assert axes.get_xlabel() == "times today's value (dashed: today)"
    assert len(colour_drawing(CASES["no quiet mix"]).figure.axes[0].patches) == 2


@pytest.mark.identity
def test_sentences_hold_both_spans_both_sides_and_sources() -> None:
    """Numbers, "not growth", the bounded claim, and every finding with its source."""
    text = "\n".join(colour_sentences(CASES["usual"]))
    assert "dose 12 times, usable share 1.80 times" in text
    assert "usable share 0.50-0.90, 1.80 times; by the other curves 1.8-2.6; today 0.80" in text
    assert "4 by output and 3 by hours" in text
    assert "not growth" in text
    assert "as long as blue is present and red does not dominate" in text
    for evidence in EVIDENCE:
        assert f"{evidence.text} [{evidence.source}]" in text
    assert text.isascii()


@pytest.mark.identity
def test_single_channels_and_missing_mixes_are_said_plainly() -> None:
    """What cannot be changed is not given a factor; a red lamp has no mix without a warning."""
    one = CASES["one channel"]
    assert colour_finding(one).startswith("The colour of this light cannot be changed at equal photons")
    assert "the colour cannot be changed" in "\n".join(colour_sentences(one))
    lacking = "\n".join(colour_sentences(CASES["no quiet mix"]))
    assert "none, for no mix that gives as much light has blue at least 30 % of PPFD." in lacking
    assert colour_sentences(None) == [NO_LIGHT]


@pytest.mark.identity
def test_colour_leads_where_its_span_is_the_larger() -> None:
    """The sentence follows the record, not a habit."""
    from dataclasses import replace

    wide = replace(CASES["wide"], larger="colour")
    assert (
        colour_finding(wide)
        == "Here colour can be changed more than dose: usable share 90.0 times, dose 12 times"
    )


@pytest.mark.identity
def test_hostile_name_stands_literally_in_words() -> None:
    """Control characters are escaped, all else is printed as it is."""
    lines = colour_sentences(made_colour("a\x1b[31m\nb </script>"))
    assert lines[1].startswith("Place: a\\x1b[31m\\nb </script> (ridge)")
