"""Shade-loving corals in caves: dim, and no fault of the light."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from lightdose import read_setup
from lightdose.analysis import analyse
from lightdose.model.results import PENALTY, Judgement
from lightdose.model.setup import Coral, Setup
from lightdose.model.solids import Solid
from lightdose.workflows.advice import advised

CUBE = Path(__file__).parents[2] / "examples" / "crowded-cube" / "setup.toml"
ROOF = Solid("roof", "box", 0.25, 0.25, 0.20, (0.30, 0.30, 0.02))


def tank(*rocks: Solid, group: str = "mushroom") -> Setup:
    """The cube with one fixture and one coral on the sand under the middle."""
    setup = read_setup(CUBE)
    site = replace(setup.sites[0], name="cave", x_m=0.25, y_m=0.25, depth_m=0.30, open_sky=1.0, own_sky=False)
    coral = Coral("one", group, "cave")
    fixtures = setup.fixtures[:1]
    return replace(setup, fixtures=fixtures, sites=(site,), corals=(coral,), rocks=rocks, unplaced=())


@pytest.mark.identity
def test_a_mushroom_in_a_cave_counts_nothing_though_it_is_dim() -> None:
    """Its state stays "far below" and is counted so; its penalty is that of being too bright alone."""
    analysis = analyse(tank(ROOF))
    (verdict,) = analysis.verdicts
    assert verdict.dli_state in ("below", "far_below")
    assert verdict.sheltered
    assert verdict.penalty == pytest.approx(0, abs=1e-3)
    assert Judgement.of([verdict]).penalty == verdict.penalty
    assert replace(verdict, sheltered=False).penalty > 0.5
    assert verdict.penalties["above"] == PENALTY["above"]


@pytest.mark.identity
def test_an_acropora_in_the_same_cave_is_off() -> None:
    """Its group does not like shade: the light is at fault."""
    (verdict,) = analyse(tank(ROOF, group="sps-shallow"), certainty=False).verdicts
    assert not verdict.sheltered
    assert verdict.penalty == PENALTY["far_below"]


@pytest.mark.identity
def test_dim_without_rock_is_the_fault_of_the_light() -> None:
    """A mushroom in an open tank that is run at a hundredth of its light is not sheltered."""
    setup = tank()
    dim = tuple(replace(f, output_scale=0.01) for f in setup.fixtures)
    far = Solid("pebble", "box", 0.02, 0.02, 0.46, (0.01, 0.01, 0.01))
    (verdict,) = analyse(replace(setup, fixtures=dim, rocks=(far,)), certainty=False).verdicts
    assert verdict.dli_state == "far_below"
    assert not verdict.sheltered


@pytest.mark.identity
def test_no_advice_is_given_for_a_sheltered_coral() -> None:
    """With it alone in the tank there is nothing to mend, and it is not told to move."""
    advice = advised(tank(ROOF)).advice
    assert advice.unserved == ()
    assert all(action.kind in ("leave", "measure") for action in advice.actions)
