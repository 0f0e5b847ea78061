"""The reef-depth equivalent in words."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from present.made_analysis import made_analysis

from lightdose.answers.field import as_json
from lightdose.answers.light import LIGHT, Row
from lightdose.answers.reef import depth_words, reef_cell


@pytest.mark.pinned
def test_depths_are_told_in_whole_metres() -> None:
    """A range a water; where every surface is dimmer a dash; where the table ends, "or more"."""
    depths = {"clear": (8.7, 23.6), "coastal": (3.6, 9.9)}
    assert reef_cell(depths) == "9-24 / 4-10"
    assert depth_words((None, None)) == "-"
    assert depth_words((75.2, None)) == "75 or more"


@pytest.mark.identity
def test_json_and_csv_hold_the_same_depths() -> None:
    """Depths stand by water in JSON and in four columns; what is unknown is null, and empty."""
    analysis = made_analysis()
    many = len(analysis.light_field.receivers)
    depths = {"clear": np.full((many, 2), (8.0, np.nan)), "coastal": np.full((many, 2), (3.0, 9.0))}
    known, unknown = Row(replace(analysis, reef_depth_m=depths), 0), Row(analysis, 0)
    assert as_json(LIGHT, known)["reef_depth_m"] == {"clear": [8.0, None], "coastal": [3.0, 9.0]}
    assert as_json(LIGHT, unknown)["reef_depth_m"] is None
    parts = [(f, n, name) for f in LIGHT for n, (name, _) in enumerate(f.parts)]
    columns = {name: f.cells([known])[n][0] for f, n, name in parts}
    assert [columns[f"reef_depth_{water}_{end}_m"] for water in depths for end in ("low", "high")] == [
        8.0,
        None,
        3.0,
        9.0,
    ]
