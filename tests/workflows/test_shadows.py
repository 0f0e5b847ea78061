"""Corals in the shade of solids: who keeps the light, whose fault it is, and the way out of the shadow."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from answers.printed import piped
from judge.made_tank import made_tank

from lightdose import read_setup
from lightdose.analysis import analyse, light_of, scene_of
from lightdose.answers.dose import dose_answer
from lightdose.model.results import Analysis
from lightdose.model.setup import Coral, Setup, Site
from lightdose.model.shadow import Shadow
from lightdose.model.solids import FACES, Solid
from lightdose.physics.day_curve import day_curve, full_output_hours
from lightdose.physics.emission import weighting_matrix
from lightdose.physics.light_field import prepare_field
from lightdose.physics.shaded_by import kept_by_all, kept_by_each, rays_among
from lightdose.workflows.shadows import shadows

CUBE = Path(__file__).parents[2] / "examples" / "crowded-cube" / "setup.toml"
KNOBS = (
    Solid("plate", "box", 0.25, 0.25, 0.30, (0.20, 0.20, 0.02)),
    Solid("ball", "ellipsoid", 0.15, 0.25, 0.25, (0.08, 0.08, 0.10)),
    Solid("branches", "cylinder", 0.38, 0.20, 0.25, (0.12, 0.12, 0.06), passes=0.4, through_m=0.12),
)

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


@pytest.mark.identity
def test_what_each_solid_keeps_is_found_in_one_pass_as_one_by_one() -> None:
    """Shares of several solids at several places, faces too, are those of runs with each solid alone."""
    setup = read_setup(CUBE)
    setup = replace(setup, corals=(), rocks=KNOBS)
    scene = scene_of(setup)
    ready = prepare_field(scene, weighting_matrix(scene.tables, ("ppfd",)), for_points=3)
    points = np.array([(0.25, 0.25, 0.42), (0.12, 0.30, 0.40), (0.40, 0.20, 0.35)])
    looks = np.array([(0.0, 0.0, 1.0), (0.0, -1.0, 0.0), (0.6, 0.0, 0.8)])
    hours = full_output_hours(day_curve(setup.lit_fixtures))
    each = kept_by_each(ready, points, looks, KNOBS, hours)
    whole, *alone = rays_among(ready, points, looks, (), *((knob,) for knob in KNOBS)) @ hours
    assert each == pytest.approx(1 - np.array(alone) / whole, abs=1e-9)
    assert (each > 0.02).any(axis=1).all()
    together = kept_by_all(ready, points, looks, KNOBS, hours)
    assert (together >= each.max(axis=0) - 1e-12).all()
    assert (together <= each.sum(axis=0) + 1e-12).all()
