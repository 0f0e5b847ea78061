"""What stands for all in figures: named places, else ends and middles."""

from __future__ import annotations

from dataclasses import replace

import pytest
from judge.made_tank import made_tank
from present.made_analysis import made_analysis

from lightdose.errors import SetupError
from lightdose.judge.map_choice import shown_planes, shown_receivers, shown_sites
from lightdose.model.places import PlaceWishes
from lightdose.workflows.compare import compare
from lightdose.workflows.placing import place

EXAMPLE = made_analysis()
TANK = made_tank()
RAISED = replace(TANK, fixtures=tuple(replace(f, height_m=0.3) for f in TANK.fixtures))


@pytest.mark.identity
def test_shown_sites_are_brightest_middle_and_dimmest_with_corals() -> None:
    """Without names the choice spans the doses; names are taken as given, once each."""
    analysis = EXAMPLE
    names = [s.name for s in analysis.setup.sites]
    assert [names[i] for i in shown_receivers(analysis)] == ["ridge", "sand left", "cave mouth"]
    assert shown_receivers(analysis, ["front glass", "ridge", "ridge"]) == (names.index("front glass"), 0)
    assert shown_receivers(made_analysis(corals=(), bare_sites=())) == ()


@pytest.mark.pinned
def test_unknown_site_is_named_with_the_known_ones() -> None:
    """A typo gets the close match."""
    with pytest.raises(SetupError, match="there is no site 'rigde'") as refusal:
        shown_receivers(EXAMPLE, ["rigde"])
    assert "did you mean 'ridge'?" in str(refusal.value)


@pytest.mark.identity
def test_shown_sites_follow_names_or_changes() -> None:
    """Named sites in their order; else the largest change first; a strange name is refused with a hint."""
    found = compare(TANK, RAISED, certainty=False)
    assert [s.site for s in shown_sites(found, ["sand", "ridge"])] == ["sand", "ridge"]
    assert abs(shown_sites(found)[0].split.ln_dli) == max(abs(s.split.ln_dli) for s in found.sites)
    with pytest.raises(SetupError, match="did you mean 'ridge'"):
        shown_sites(found, ["rigde"])


@pytest.mark.identity
def test_planes_lie_in_the_middle_of_the_placed_corals() -> None:
    """As many tops lie above the level slice as below it; without corals the tank is cut in its middle."""
    placement = place(TANK, PlaceWishes())
    level, upright = shown_planes(placement)
    tops = [c.after.spot.depth_m - c.height_m for c in placement.corals if c.after]
    assert sum(top < level.at_m - 1e-3 for top in tops) == sum(top > level.at_m + 1e-3 for top in tops)
    assert (level.kind, upright.kind) == ("depth", "from_front")
    bare = shown_planes(replace(placement, corals=()))
    assert [p.at_m for p in bare] == [TANK.tank.water_depth_m / 2, TANK.tank.width_m / 2]
