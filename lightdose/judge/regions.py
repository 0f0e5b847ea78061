"""Where in the tank a coral group would be within its usual range."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lightdose.model.coral import CoralGroup
from lightdose.model.maps import GroupRegion, MapSlice


def group_regions(slices: Sequence[MapSlice], groups: Sequence[CoralGroup]) -> tuple[GroupRegion, ...]:
    """Each group's share of every slice's area; groups that light does not judge are left out.

    Parameters
    ----------
    slices : sequence of MapSlice
        Their cells are of equal area.
    groups : sequence of CoralGroup

    Returns
    -------
    tuple of GroupRegion

    Source
    ------
    Definition: low <= DLI <= high is within, as for a coral at a site; bands carry their sources.
    """
    regions = []
    for group in groups:
        if group.band_dli is not None:
            low, high = group.band_dli
            shares = tuple(float(np.mean((s.dli >= low) & (s.dli <= high))) for s in slices)
            regions.append(GroupRegion(group, group.band_dli, shares))
    return tuple(regions)
