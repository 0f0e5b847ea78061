"""Odds and verdicts in words."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from answers.printed import piped
from present.made_analysis import made_analysis

from lightdose.answers.dose import closing_line, dose_answer
from lightdose.answers.verdicts import (
    brief_words,
    deciding_sentence,
    interval_text,
    odds,
    table_words,
    verdict_sentence,
    verdict_words,
    worst_first,
)
from lightdose.model.results import Analysis, Certainty, DecidingReading, DliVerdict, Uncertainty, Verdict
from lightdose.present.figures.day import dose_drawings

STATES = ("far_below", "below", "within", "above", "far_above")


def sure(
    verdict: Verdict, word: DliVerdict, share: float, at: str | None = None, chance: float | None = None
) -> Verdict:
    """The verdict with a leading state of this share."""
    lead = verdict.dli_state if word == "undecided" else word
    rest = (1 - share) / 4
    probability = {s: share if s == lead else rest for s in STATES}
    dli = verdict.dli_mol_m2_d
    known = Certainty(word, probability, (0.7 * dli, 1.1 * dli), (70.0, 110.0), at, chance)  # type: ignore[arg-type]
    return replace(verdict, certainty=known)


def made(settles: float = 1.0) -> Analysis:
    """The made analysis with one coral left open at a time."""
    analysis = made_analysis()
    judged = [v for v in analysis.verdicts if v.dli_state != "not_judged"]
    verdicts = [sure(v, v.dli_state, 0.83) for v in judged]
    verdicts[0] = sure(judged[0], "undecided", 0.55, "terrace", 0.8)
    verdicts[1] = sure(judged[1], "undecided", 0.5, "terrace", 0.3)
    n = len(analysis.light_field.receivers)
    ends = np.column_stack((0.7 * analysis.dose.dli, 1.1 * analysis.dose.dli))
    known = Uncertainty(ends, np.zeros((n, 2)), (), 4000, 1, DecidingReading("terrace", 0.07, settles, 2))
    return replace(analysis, verdicts=tuple(verdicts), uncertainty=known)


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("probability", "text"),
    [
        (0.667, "about 2 in 3"),
        (0.75, "about 3 in 4"),
        (0.84, "about 5 in 6"),
        (0.9, "about 9 in 10"),
        (0.95, "about 19 in 20"),
        (1.0, "about 19 in 20"),
    ],
)
def test_odds_are_the_nearest_that_people_say(probability: float, text: str) -> None:
    """Words, not decimals."""
    assert odds(probability) == text


@pytest.mark.pinned
def test_verdicts_read_as_sentences() -> None:
    """Sure, probable, open with a reading that would tell, and one that leads elsewhere than stated."""
    within = next(v for v in made_analysis().verdicts if v.dli_state == "within")
    assert verdict_words(within) == "within common practice"
    assert verdict_words(sure(within, "within", 0.99)) == "within common practice"
    assert verdict_words(sure(within, "within", 0.83)) == "probably within (about 5 in 6)"
    assert verdict_words(sure(within, "far_above", 0.75)) == (
        "probably far above (about 3 in 4), by the stated values within"
    )
    assert verdict_words(sure(within, "undecided", 0.5, "A3", 0.7)) == (
        "undecided: one reading at A3 would settle it"
    )
    assert verdict_words(sure(within, "undecided", 0.5, "A3", 0.3)) == (
        "undecided: a reading at A3 would help most"
    )
    assert verdict_words(sure(within, "undecided", 0.5)) == "undecided"
    assert table_words(sure(within, "undecided", 0.5, "A3", 0.7)) == "undecided"
    assert brief_words(sure(within, "within", 0.99)) == "within"
    assert brief_words(sure(within, "far_above", 0.75)) == "probably far above"
    assert brief_words(sure(within, "undecided", 0.5, "A3", 0.7)) == "undecided"


@pytest.mark.pinned
def test_deciding_sentence_names_whom_it_would_settle() -> None:
    """All of them, some of them, or none for sure."""
    assert deciding_sentence(made(2.0)) == (
        "Undecided: staghorn frag, blue tip. One reading at terrace would settle them."
    )
    assert deciding_sentence(made(1.1)).endswith("One reading at terrace would settle about 1 of 2 corals.")
    assert deciding_sentence(made(0.3)).endswith("A reading at terrace would help most.")
    assert deciding_sentence(made_analysis()) == ""


@pytest.mark.identity
def test_open_verdicts_are_counted_apart_and_stand_before_those_within() -> None:
    """The closing line counts them; they come after those that are surely off."""
    analysis = made()
    assert "2 undecided" in verdict_sentence(analysis.verdicts)
    assert "2 undecided" in closing_line(analysis)
    words = [v.dli_verdict for v in worst_first(analysis.verdicts)]
    assert max(words.index(s) for s in ("far_below", "above") if s in words) < words.index("undecided")
    assert words.index("undecided") < words.index("within")


@pytest.mark.identity
def test_every_coral_and_site_shows_its_interval_in_pipes() -> None:
    """The 95 % stands beside each dose."""
    analysis = made()
    lines = piped(dose_answer(analysis, "cm").blocks, everything=True)
    known = analysis.uncertainty
    assert known is not None
    for v in analysis.verdicts:
        assert v.certainty is not None
        assert any(v.coral in line and interval_text(v.certainty.interval_dli) in line for line in lines)
    for site, (low, high) in zip(analysis.setup.sites, known.dli, strict=False):
        ends = interval_text((float(low), float(high)))
        assert any(line.startswith(site.name) and ends in line for line in lines)
    assert interval_text((2.514, 3.96)) == "2.51-3.96"
    assert interval_text((0.0, 0.0)) == "0"


@pytest.mark.identity
def test_figure_draws_each_interval_inside_its_axes() -> None:
    """One line a coral, from the lower to the upper end."""
    analysis = made()
    axes = dose_drawings(analysis)[0].figure.axes[0]
    lines = [line for line in axes.lines if len(line.get_xdata()) == 2 and line.get_linestyle() == "-"]
    drawn = sorted(tuple(round(float(x), 9) for x in line.get_xdata()) for line in lines)
    wanted = sorted(
        tuple(round(x, 9) for x in v.certainty.interval_dli) for v in analysis.verdicts if v.certainty
    )
    assert drawn == wanted
    for text in axes.texts:
        assert axes.figure.bbox.containsx(text.get_window_extent().x1), text.get_text()
    low, high = axes.get_xlim()
    assert all(low <= a and b <= high for a, b in drawn)
