"""Regions of groups, and what a map shows where nobody says."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from present.made_analysis import GROUPS, made_analysis

from lightdose.judge.map_choice import (
    cell_count,
    default_cell_m,
    default_depths,
    default_groups,
    default_side_view,
    group_regions,
)
from lightdose.model.places import MapSlice, Plane
from lightdose.model.setup import Tank
from lightdose.physics.slices import slice_cells

SETUP = made_analysis().setup


def made_slice(dli: np.ndarray) -> MapSlice:
    """A slice with these doses, one row a row of the array."""
    cells = slice_cells(Tank(dli.shape[1] / 10, dli.shape[0] / 10, 0.4), Plane("depth", 0.1), 0.1)
    return MapSlice(cells, dli, dli, dli, np.zeros(dli.shape), np.zeros(dli.shape))


@pytest.mark.identity
def test_area_counts_cells_within_the_band_ends_included():
    """low <= DLI <= high, as for a coral; groups that light does not judge are left out."""
    slices = [made_slice(np.array([[7.9, 8.0], [15.0, 15.1]])), made_slice(np.array([[9.0]]))]
    (region,) = group_regions(slices, [GROUPS["sps-shallow"], GROUPS["non-photosynthetic"]])
    assert region.group.key == "sps-shallow"
    assert region.area_fraction == (0.5, 1.0)


@pytest.mark.identity
def test_depths_are_those_of_corals_and_inside_the_water():
    """Shallowest, middle and deepest, none twice, and a sentence that says so."""
    planes, words = default_depths(SETUP)
    depths = [p.at_m for p in planes]
    assert depths == sorted(depths)
    assert all(b - a >= 0.03 for a, b in pairwise(depths))
    assert all(0 <= d <= SETUP.tank.water_depth_m for d in depths)
    assert "coral" in words
    assert default_side_view(SETUP)[0].kind == "from_front"


@pytest.mark.identity
def test_tank_without_places_gets_depths_of_its_own():
    """Sites without corals count next, then the water's depth."""
    bare = replace(SETUP, corals=())
    assert "site" in default_depths(bare)[1]
    empty = replace(bare, sites=())
    planes, words = default_depths(empty)
    assert [p.at_m for p in planes] == pytest.approx([0.1, 0.2, 0.4])
    assert "no sites" in words
    assert default_side_view(empty)[0] == Plane("from_front", 0.225)
    groups, words = default_groups(bare)
    assert groups == ()
    assert "--group" in words


@pytest.mark.identity
def test_groups_are_those_kept_in_the_order_of_the_corals():
    """Each once, without those that light does not judge."""
    groups, words = default_groups(SETUP)
    assert [g.key for g in groups] == ["sps-shallow", "lps-branching", "mushroom"]
    assert words == ""


@pytest.mark.identity
@pytest.mark.parametrize(
    ("length_m", "unit", "cell_m"), [(0.75, "cm", 0.01), (2.4, "cm", 0.05), (0.61, "in", 0.0127)]
)
def test_spacing_is_round_in_the_setups_unit(length_m, unit, cell_m):
    """Some tens of cells along the longest side."""
    setup = replace(SETUP, tank=replace(SETUP.tank, length_m=length_m), length_unit=unit)
    assert default_cell_m(setup) == pytest.approx(cell_m)


@pytest.mark.identity
def test_count_agrees_with_the_cells_made():
    """The limit is checked against what would be computed."""
    planes = [Plane("depth", 0.1), Plane("from_front", 0.1), Plane("from_left", 0.1)]
    made = sum(int(np.prod(slice_cells(SETUP.tank, p, 0.013).shape)) for p in planes)
    assert cell_count(SETUP, planes, 0.013) == made
