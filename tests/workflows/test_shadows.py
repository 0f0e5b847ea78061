"""Corals in the shade of solids: who keeps the light, whose fault it is, and the way out of the shadow."""

from __future__ import annotations

from dataclasses import replace

import pytest
from answers.printed import piped
from judge.made_tank import made_tank

from lightdose.analysis import analyse, light_of
from lightdose.answers.dose import dose_answer
from lightdose.model.results import Analysis
from lightdose.model.setup import Coral, Setup, Site
from lightdose.model.shadow import Shadow
from lightdose.model.solids import FACES, Solid
from lightdose.workflows.shadows import shadows

SLAB = Solid("ledge", "box", 0.3, 0.33, 0.2, (0.3, 0.14, 0.02))


def roofed(group: str, **site: object) -> Setup:
    """The made tank with a ledge along its back and one coral in the cave under it."""
    places = (Site("cave", 0.3, 0.33, 0.3, **site),)  # type: ignore[arg-type]
    return made_tank(sites=places, corals=(Coral("deep one", group, "cave"),), rocks=(SLAB,))


def found(setup: Setup) -> tuple[Analysis, tuple[Shadow, ...]]:
    analysis = analyse(setup, certainty=False)
    return analysis, shadows(analysis, light_of(setup)[0])


@pytest.mark.identity
def test_light_out_of_the_shadow_is_that_of_the_tank_with_the_coral_there() -> None:
    """The dose that is promised beside the ledge is what a run with the coral there finds."""
    setup = roofed("mushroom")
    _, (shadow,) = found(setup)
    assert list(shadow.shaded_by) == ["ledge"]
    assert 0.5 < shadow.kept_fraction <= 1
    assert shadow.out is not None
    assert shadow.out.towards == "front"
    moved = replace(setup.sites[0], y_m=setup.sites[0].y_m - shadow.out.distance_m)
    there = analyse(replace(setup, sites=(moved,)), certainty=False).verdicts[0]
    assert shadow.out.dli_mol_m2_d == pytest.approx(there.dli_mol_m2_d, rel=0.01)  # bounce of other patches
    assert there.dli_state == "within"


@pytest.mark.identity
def test_a_cave_is_no_fault_of_the_light_for_a_group_that_likes_shade() -> None:
    """The same place: a mushroom's is told apart from what is not usual, a staghorn's is not."""
    for group, faultless in (("mushroom", True), ("sps-shallow", False)):
        analysis, (shadow,) = found(roofed(group))
        assert shadow.faultless == faultless
        text = "\n".join(piped(dose_answer(replace(analysis, shadows=(shadow,)), "cm").blocks))
        assert ("no fault of the light" in text) == faultless
        assert ("Not usual: deep one" in text) == (not faultless)
        assert "ledge keeps" in text


@pytest.mark.identity
def test_stated_sky_and_open_water_have_no_shadow() -> None:
    """Where the sky was stated nothing else counts; without solids nothing is looked for."""
    assert found(roofed("mushroom", open_sky=0.1, own_sky=True))[1] == ()
    assert found(replace(roofed("mushroom", open_sky=0.01), rocks=()))[1] == ()


@pytest.mark.identity
def test_sentence_of_a_verdict_names_its_receiver_where_solids_or_faces_matter() -> None:
    """A face leads, else a flat spot; a tank without either says nothing of it."""
    flat = analyse(roofed("mushroom"), certainty=False).verdicts[0].advice
    face = analyse(roofed("mushroom", face=FACES["front"]), certainty=False).verdicts[0].advice
    plain = analyse(replace(roofed("mushroom"), rocks=()), certainty=False).verdicts[0].advice
    assert "on a flat spot" in flat
    assert "on its front face" in face
    assert "flat" not in plain
