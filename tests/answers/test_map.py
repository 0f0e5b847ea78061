"""A map in words: where its brightest and dimmest cells lie."""

from __future__ import annotations

import numpy as np
import pytest

from lightdose.answers.map import Row
from lightdose.model.places import MapSlice, Plane, PlaneKind
from lightdose.model.setup import Tank
from lightdose.physics.slices import slice_cells


@pytest.mark.identity
@pytest.mark.parametrize(
    ("kind", "row", "column", "words"),
    [
        ("depth", 1, 2, "25, 15, 15"),
        ("depth", 0, 2, "25, front glass, 15"),
        ("depth", 3, 5, "back right corner, 15"),
        ("from_front", 0, 0, "left glass, 15, surface"),
        ("from_front", 2, 3, "35, 15, floor"),
        ("from_left", 1, 3, "15, back glass, 15"),
    ],
)
def test_cell_at_an_end_is_told_by_what_it_lies_against(
    kind: PlaneKind, row: int, column: int, words: str
) -> None:
    """The outermost cells lie at a pane, the surface or the floor; others are told by their centre."""
    cells = slice_cells(Tank(0.6, 0.4, 0.3), Plane(kind, 0.15), 0.1)
    dli = np.ones(cells.shape)
    dli[row, column] = 2.0
    none = np.nan * dli
    part = MapSlice(cells, dli, dli, dli, none, none)
    assert Row(part, "dli", "cm").place(np.argmax) == words
    assert Row(MapSlice(cells, dli, dli, 3 - dli, none, none), "dli", "cm").place(np.argmin) == words
