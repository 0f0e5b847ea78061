"""Explanations in words, for terminals and pipes."""

from __future__ import annotations

from dataclasses import replace

import pytest
from present.made_analysis import made_analysis

from lightdose.model.places import ChannelShare, LightExplanation
from lightdose.model.results import Basis
from lightdose.model.setup import Receiver
from lightdose.present.explanation import explanation_lines, explanation_rows, share_words

WHY = LightExplanation(
    setup=made_analysis().setup,
    basis=Basis("data sheet", "Invented."),
    receiver=Receiver("corner", "corner", 0.74, 0.01, 0.39, 0.8),
    by_day=True,
    dli_mol_m2_d=4.0,
    peak_ppfd_umol_m2_s=120.0,
    full_output_ppfd_umol_m2_s=480.0,
    part_share={"direct": 0.32, "front": 0.35, "back": 0, "left": 0, "right": 0.32, "rim": 0, "floor": 0.01},
    mean_path_m=0.42,
    surface_loss_fraction=0.03,
    absorbed_fraction={"ppfd": 0.04, "uv_a": None, "blue": 0.03, "green": 0.03, "red": 0.13, "far_red": 0.4},
    channels=(
        ChannelShare("left", "blue", 0.25, 1.0, 100.0, 0.45, 0.03),
        ChannelShare("right", "white", 0.75, 3.0, 380.0, 0.41, 0.03),
    ),
    level_median_dli=2.0,
    level_rank=0.9,
    version="0",
)


@pytest.mark.pinned
def test_rows_read_as_agreed():
    """Ways, losses and sources in words and numbers, the larger first."""
    rows = dict(explanation_rows(WHY, "cm"))
    assert rows["place"] == "corner: x 74, y 1 cm, 39 cm deep"
    assert rows["compared"].startswith("2.00 times the median of this depth (2.00 mol/m2/day at 39 cm")
    assert rows["walls"] == "67 % comes by the walls: 35 % off the front pane, 32 % off the right pane"
    assert rows["way in water"] == "42 cm on average, at a depth of 39 cm"
    assert rows["water"] == "absorbs 4.0 % of 400-700 nm: blue 3.0 %, green 3.0 %, red 13 %, far red 40 %"
    assert list(rows)[-2:] == ["right: white", "left: blue"]
    assert rows["right: white"] == "75 %, 3.00 mol/m2/day, full 380 umol/m2/s, 41 cm in water"
    assert dict(explanation_rows(WHY, "in"))["way in water"].startswith("16.5 in")


@pytest.mark.pinned
def test_dark_and_idle_places_are_said():
    """No light, and no programme, each have their sentence."""
    dark = replace(WHY, part_share={}, dli_mol_m2_d=0.0, level_median_dli=0.0)
    assert explanation_rows(dark, "cm")[-1] == ("why", "no light comes here")
    idle = dict(explanation_rows(replace(WHY, by_day=False), "cm"))
    assert idle["shares"] == "no programme runs: shares count every channel at full output"


@pytest.mark.identity
@pytest.mark.parametrize("width", [40, 80, 120])
def test_terminal_lines_fit_and_pipes_get_records(width):
    """No line is wider than the window; a pipe gets one record a line with one tab."""
    lines = list(explanation_lines(WHY, "cm", width))
    assert max(map(len, lines)) <= width
    records = list(explanation_lines(WHY, "cm", None))[1:]
    assert all(record.count("\t") == 1 for record in records)
    assert len(records) == len(explanation_rows(WHY, "cm"))


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("share", "words"), [(0, "0 %"), (1e-5, "below 0.1 %"), (0.034, "3.4 %"), (0.5, "50 %")]
)
def test_small_shares_keep_a_decimal(share, words):
    """A trace is not written as nothing."""
    assert share_words(share) == words
