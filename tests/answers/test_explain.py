"""Why a place is as bright as it is, in words, for terminals and pipes."""

from __future__ import annotations

from dataclasses import replace

import pytest
from answers.printed import as_one, on_terminal, piped
from present.made_analysis import made_analysis

from lightdose.answers.blocks import Points, Section, Table
from lightdose.answers.explain import explain_answer, share_words
from lightdose.model.places import ChannelShare, LightExplanation
from lightdose.model.results import Basis
from lightdose.model.setup import LengthUnit, Receiver

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
)


def told(why: LightExplanation, unit: LengthUnit = "cm") -> dict[str, str]:
    """What is told, by what it is about, in order."""
    (points,) = (b for b in explain_answer(why, unit).blocks if isinstance(b, Points))
    return {point.about: point.text for point in points.points}


def channels(why: LightExplanation, unit: LengthUnit = "cm") -> Table:
    """The table of channels."""
    (section,) = (b for b in explain_answer(why, unit).blocks if isinstance(b, Section))
    (table,) = section.blocks
    assert isinstance(table, Table)
    return table


@pytest.mark.pinned
def test_rows_read_as_agreed():
    """Ways, losses and sources in words and numbers, the larger first."""
    rows = told(WHY)
    assert rows["place"] == "corner: x 74, y 1 cm, 39 cm deep"
    assert rows["compared"].startswith("2.00 times the median of this depth (2.00 mol/m2/day at 39 cm")
    assert rows["walls"] == "67 % comes by the walls: 35 % off the front pane, 32 % off the right pane"
    assert rows["way in water"] == "42 cm on average, at a depth of 39 cm"
    assert rows["water"] == "absorbs 4.0 % of 400-700 nm: blue 3.0 %, green 3.0 %, red 13 %, far red 40 %"
    assert list(rows)[-2:] == ["fixture left", "fixture right"]
    cells = [column.cells for column in channels(WHY).columns]
    assert cells[:3] == [("right", "left"), ("white", "blue"), ("75 %", "25 %")]
    assert cells[3:] == [("3.00", "1.00"), ("380", "100"), ("41", "45")]
    assert told(WHY, "in")["way in water"].startswith("16.5 in")
    assert channels(WHY, "in").columns[-1].cells == ("16.1", "17.7")


@pytest.mark.pinned
def test_dark_and_idle_places_are_said():
    """No light, and no programme, each have their sentence."""
    dark = replace(WHY, part_share={}, dli_mol_m2_d=0.0, level_median_dli=0.0)
    assert list(told(dark).items())[-1] == ("why", "no light comes here")
    assert not any(isinstance(b, Section) for b in explain_answer(dark, "cm").blocks)
    idle = told(replace(WHY, by_day=False))
    assert idle["shares"] == "no programme runs: shares count every channel at full output"


@pytest.mark.identity
@pytest.mark.parametrize("width", [40, 80, 120])
def test_terminal_lines_fit_and_a_pipe_has_a_line_a_point(width):
    """No line is wider than the window; every point of both stands whole."""
    answer = explain_answer(WHY, "cm")
    lines, records = on_terminal(answer, width), piped(answer)
    assert max(map(len, lines)) <= width
    for about, text in told(WHY).items():
        assert f"- {about}: {text}" in records
        assert f"- {about}: {text}" in as_one(lines)


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("share", "words"), [(0, "0 %"), (1e-5, "below 0.1 %"), (0.034, "3.4 %"), (0.5, "50 %")]
)
def test_small_shares_keep_a_decimal(share, words):
    """A trace is not written as nothing."""
    assert share_words(share) == words
