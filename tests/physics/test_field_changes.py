"""The changed light field against the whole model computed again."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from judge.full_model import dose_and_peak, small_setup, varied_fixture

from lightdose.analysis import scene_of
from lightdose.files.library import reference_tables
from lightdose.model.fixture import Aperture, CosineLobe, PhotometricLobe, TabulatedLobe
from lightdose.model.record import FloatArray
from lightdose.model.setup import Setup, Site, Wall
from lightdose.physics.emission import hemisphere_flux, weighting_matrix
from lightdose.physics.field_changes import FieldChanges, FixtureSteps, field_changes, scaled_beam
from lightdose.physics.light_field import prepare_field, response_at

STEPS = FixtureSteps((0.13, 0.17), (-0.1, 0.1))
YELLOWING = (0.1, 0.3)


def points(setup: Setup) -> FloatArray:
    return np.array([(s.x_m, s.y_m, s.depth_m) for s in setup.sites])


def response(setup: Setup, at_m: FloatArray | None = None) -> FloatArray:
    where = points(setup) if at_m is None else at_m
    return response_at(where, scene_of(setup), weighting_matrix(reference_tables(), ("ppfd",)))[..., 0]


def changes(setup: Setup, step_m: float = 0.01) -> FieldChanges:
    ready = prepare_field(scene_of(setup), weighting_matrix(reference_tables(), ("ppfd",)), for_points=3)
    return field_changes(ready, points(setup), step_m, [STEPS] * len(setup.fixtures), YELLOWING)


@pytest.mark.identity
@pytest.mark.parametrize("assumed", [False, True])
def test_heights_and_beams_are_those_of_the_whole_model(assumed: bool) -> None:
    """Within 0.3 %: only the floor's bounce is scaled instead of solved."""
    setup = small_setup(assumed=assumed)
    stated, found = response(setup), changes(setup)
    assert found.stated == pytest.approx(stated, rel=1e-9)
    for n in range(2):
        higher = [replace(f, height_m=STEPS.height_m[n]) for f in setup.fixtures]
        wider = [varied_fixture(f, 0.0, STEPS.ln_beam[n], 0.0) for f in setup.fixtures]
        for fixtures, ln in ((higher, found.ln_height[n]), (wider, found.ln_beam[n])):
            whole = response(replace(setup, fixtures=tuple(fixtures)))
            assert np.exp(ln) == pytest.approx(whole / stated, rel=3e-3)


@pytest.mark.identity
def test_yellowing_is_that_of_the_whole_model() -> None:
    """Within 0.1 % at 0.1 and 0.3 per m more: the mean path tells all that matters."""
    setup = small_setup()
    stated, found = response(setup), changes(setup)
    for n, added in enumerate(YELLOWING):
        water = replace(setup.water, yellowing_440_per_m=setup.water.yellowing_440_per_m + added)
        whole = response(replace(setup, water=water))
        assert np.exp(found.ln_yellowing[n]) == pytest.approx(whole / stated, rel=1e-3)


@pytest.mark.identity
def test_moves_are_those_of_the_whole_model() -> None:
    """Along one axis exactly; corner moves, as products, within 5 %: the worst stands beside the glass."""
    setup, step = small_setup(), 0.012
    found = changes(setup, step).moved.reshape(3, 4, 3, 3, 3)
    for axis, index in ((0, (2, 1, 1)), (1, (1, 2, 1)), (2, (1, 1, 2))):
        moved = points(setup) + step * np.eye(3)[axis]
        assert found[:, :, *index] == pytest.approx(response(setup, moved), rel=1e-9)
    corner = response(setup, points(setup) + step * np.array([-1.0, 1.0, -1.0]))
    assert found[:, :, 0, 2, 0] == pytest.approx(corner, rel=0.05)


@pytest.mark.identity
def test_places_stay_inside_the_tank() -> None:
    """A place at the glass, on the floor or at the surface is not moved through it."""
    setup = small_setup()
    edge = tuple(
        replace(s, x_m=x, y_m=y, depth_m=z)
        for s, (x, y, z) in zip(setup.sites, [(0, 0.1, 0), (0.3, 0.3, 0.3), (0.1, 0, 0.2)], strict=True)
    )
    found = changes(replace(setup, sites=edge)).moved.reshape(3, 4, 3, 3, 3)
    assert found[0, :, 0, 1, 1] == pytest.approx(found[0, :, 1, 1, 1], rel=1e-12)
    assert found[0, :, 1, 1, 0] == pytest.approx(found[0, :, 1, 1, 1], rel=1e-12)
    assert found[1, :, 2, 2, 2] == pytest.approx(found[1, :, 1, 1, 1], rel=1e-12)


@pytest.mark.identity
def test_dark_place_stays_dark_and_finite() -> None:
    """A narrow table that leaves a place dark gives zeros, not NaN."""
    setup = small_setup(floor=0.0)
    spot = TabulatedLobe(np.array([0.0, 5.0]), np.array([1.0, 1.0]))
    channels = tuple(replace(c, beam=spot) for c in setup.fixtures[0].type.channels)
    lamp = replace(setup.fixtures[0], type=replace(setup.fixtures[0].type, channels=channels))
    found = changes(replace(setup, fixtures=(lamp,)))
    assert found.stated[1].max() == 0
    for values in (found.moved, found.ln_height, found.ln_beam, found.ln_yellowing):
        assert np.all(np.isfinite(values))
    assert found.moved[1].max() == 0


@pytest.mark.identity
@pytest.mark.filterwarnings("error")
def test_place_at_the_rim_of_light_that_is_hardly_there_has_ratios_that_are_numbers() -> None:
    """1e-312 of a lobe, and all of it a centimetre away, under another height or beam.

    The ratio is held: divided first, it overflowed.
    """
    faint = TabulatedLobe(np.array([0.0, 20.0, 20.5, 60.0, 61.0]), np.array([1e-312, 1e-312, 1.0, 1.0, 0.0]))
    setup = small_setup(floor=0.0)
    channels = tuple(replace(c, beam=faint) for c in setup.fixtures[0].type.channels)
    kind = replace(setup.fixtures[0].type, channels=channels, aperture=Aperture())
    lamp = replace(setup.fixtures[0], type=kind, x_m=0.15, y_m=0.15)
    dark = replace(setup.tank, walls={side: Wall("dark") for side in setup.tank.walls})
    sites = tuple(Site(f"at {n}", 0.15 + 0.002 * n, 0.15, 0.06) for n in range(60))
    found = changes(replace(setup, tank=dark, fixtures=(lamp,), sites=sites, corals=()))
    faintly = found.stated[:, 0] < 1e-300
    assert faintly.any()
    assert not faintly.all()
    assert found.moved[faintly].max() > 1e-250, "a centimetre away it is brighter"
    assert found.ln_height[:, faintly].max() == pytest.approx(math.log(30.0)), "as far as changes are held"
    for values in (found.moved, found.ln_height, found.ln_beam, found.ln_yellowing):
        assert np.all(np.isfinite(values))


@pytest.mark.identity
def test_wider_lobes_keep_their_kind_and_limits() -> None:
    """Cosine widths scale and stop at 175 deg; tables scale their angles and end at 90 deg; flux stays."""
    assert scaled_beam(CosineLobe(90.0), 1.1) == CosineLobe(90.0 * 1.1)
    assert scaled_beam(CosineLobe(120.0, assumed=True), 2.0) == CosineLobe(175.0, assumed=True)
    table = TabulatedLobe(np.array([0.0, 60.0, 80.0]), np.array([1.0, 0.5, 0.1]))
    wide = scaled_beam(table, 1.5)
    assert isinstance(wide, TabulatedLobe)
    assert wide.angle_deg.tolist() == [0.0, 90.0]
    assert hemisphere_flux(scaled_beam(table, 1.0)) == pytest.approx(hemisphere_flux(table))
    planes = PhotometricLobe(
        np.array([0.0, 360.0]), np.array([0.0, 40.0]), np.array([[1.0, 0.2], [1.0, 0.2]])
    )
    level = TabulatedLobe(np.array([0.0, 89.0, 90.0]), np.array([0.0, 0.0, 1.0]))
    assert scaled_beam(level, 1.2) is level, "nothing of it would be left below 90 deg"
    narrow = scaled_beam(planes, 0.5)
    assert isinstance(narrow, PhotometricLobe)
    assert narrow.gamma_deg.tolist() == [0.0, 20.0]


@pytest.mark.identity
def test_simulation_of_the_tests_agrees_with_the_program() -> None:
    """The helper that draws the whole model gives the stated dose for stated inputs."""
    from lightdose.analysis import analyse

    setup = small_setup()
    dose = analyse(setup, certainty=False).dose
    got = dose_and_peak(setup, np.ones(4))
    assert got[0] == pytest.approx(dose.dli, rel=1e-7)
    assert got[1] == pytest.approx(dose.peak_ppfd, rel=1e-7)
    assert math.isfinite(got.sum())


@pytest.mark.identity
def test_rough_changes_leave_the_rim_out_and_are_near_the_fine_ones(monkeypatch: pytest.MonkeyPatch) -> None:
    """The light itself is the same to rounding; what changes make of it within 1 %, of moves 2 %."""
    setup = small_setup()
    setup = replace(setup, tank=replace(setup.tank, rim_m=0.04))
    fine = changes(setup)
    monkeypatch.setattr("lightdose.physics.field_changes.RAYS_FINELY", 0)
    rough = changes(setup)
    assert rough.stated == pytest.approx(fine.stated, rel=1e-9)
    assert not np.array_equal(rough.ln_height, fine.ln_height)
    for name in ("ln_height", "ln_beam", "ln_yellowing"):
        assert np.exp(getattr(rough, name)) == pytest.approx(np.exp(getattr(fine, name)), rel=0.01)
    assert rough.moved == pytest.approx(fine.moved, rel=0.02)
