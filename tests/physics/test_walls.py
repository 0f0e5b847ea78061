"""Walls as mirrors."""

from __future__ import annotations

import numpy as np
import pytest

from lightdose.model.setup import Wall
from lightdose.physics.walls import (
    axis_images,
    behind_reflectance,
    pane_crossing,
    pane_reflectance,
    pane_stay,
    wall_reflectance,
)
from lightdose.physics.water import surface_reflectance_from_below

CLEAN, PAINTED, DARK, LEAST = Wall(), Wall("painted"), Wall("dark"), Wall("reflectance", 5e-324)


@pytest.mark.published
def test_pane_in_air_reflects_by_both_faces():
    """An upright pane of n = 1.52 in air reflects 2 r / (1 + r) = 8.2 %, r = 4.26 % a face."""
    # Source: Fresnel's equations; Born & Wolf, Principles of Optics, 1.5.2 and 1.6.4 (incoherent sum).
    r = ((1.52 - 1) / (1.52 + 1)) ** 2
    upright = np.array([1.0])
    assert pane_reflectance(upright, 1.0, 1.52, painted=True)[0] == pytest.approx(r, rel=1e-12)
    assert pane_reflectance(upright, 1.0, 1.52)[0] == pytest.approx(2 * r / (1 + r), rel=1e-12)


@pytest.mark.identity
def test_wall_that_mirrors_next_to_nothing_has_the_images_of_a_dark_one():
    """A reflectance of 5e-324 took as long as one of 1; what 0.1 leaves after 15 hits is nothing too."""
    least, dark = (axis_images(0.4, 40, wall, Wall("reflectance", 0.5), 0.0) for wall in (LEAST, DARK))
    assert least.number.tolist() == dark.number.tolist()
    tenth = axis_images(0.4, 40, Wall("reflectance", 0.1), Wall("reflectance", 1.0), 0.0)
    assert tenth.low_hits.max() == 15


@pytest.mark.published
def test_clear_pane_reflects_totally_up_to_its_limit():
    """Under water a clear pane is a full mirror while k_x^2 < n^2 - 1, then falls to a few percent."""
    # Source: total reflection, Born & Wolf, Principles of Optics, 1.5.4.
    limit = np.sqrt(1.34**2 - 1)
    k = np.array([0.01, limit - 1e-6, limit + 1e-3, 1.34])
    below, just_below, beyond, upright = wall_reflectance(CLEAN, k, 1.34, 1.52)
    assert (below, just_below) == (1.0, 1.0)
    assert beyond < 1
    assert upright == pytest.approx(0.0449, abs=2e-3)  # both faces: 0.40 % and 4.26 %


@pytest.mark.identity
def test_pane_with_the_index_of_the_water_has_no_inner_face():
    """Bonded black it reflects nothing; clear, it reflects at its outer face as water against air does."""
    k = np.linspace(0.01, 1.34, 40)
    assert pane_reflectance(k, 1.34, 1.34, painted=True) == pytest.approx(0, abs=1e-9)
    as_water = surface_reflectance_from_below(k / 1.34, 1.34)
    assert pane_reflectance(k, 1.34, 1.34) == pytest.approx(as_water, abs=1e-9)
    assert wall_reflectance(CLEAN, k, 1.34, 1.34) == pytest.approx(as_water, abs=1e-9)


@pytest.mark.identity
@pytest.mark.parametrize("index", [1.0, 1.34])
@pytest.mark.parametrize("glass_index", [1.34, 1.52])
def test_light_along_a_pane_is_reflected_whole(index: float, glass_index: float):
    """At grazing incidence every face is a mirror, and the displacement in the pane is none."""
    along = np.zeros(1)
    assert pane_reflectance(along, index, glass_index)[0] == 1
    assert pane_reflectance(along, index, glass_index, painted=True)[0] == 1
    for behind in (False, True):
        stay, lost, _ = pane_crossing(along, along + 0.02, index, glass_index, behind=behind)
        assert np.isfinite(stay).all()
        assert np.isfinite(lost).all()


@pytest.mark.identity
@pytest.mark.parametrize("behind", [False, True])
def test_crossing_of_a_pane_fits_its_stay(behind):
    """The stay is that of ``pane_stay``, the slope that of k stay, and what passes the face its 1 - R1."""
    k, step = np.linspace(0.02, 1.3, 50) * np.tile([1.0, -1.0], 25), 1e-5
    stay, slope, passed = pane_crossing(k, 0.02, 1.34, 1.52, behind=behind)
    assert stay == pytest.approx(pane_stay(k, 0.02, 1.34, 1.52, behind=behind), rel=1e-12)
    low, high = (at * pane_stay(at, 0.02, 1.34, 1.52, behind=behind) for at in (k - step, k + step))
    assert slope == pytest.approx((high - low) / (2 * step), rel=1e-6)
    if behind:
        front = pane_reflectance(np.abs(k), 1.34, 1.52, painted=True)
        assert passed == pytest.approx(1 - front, rel=1e-12)
        whole = wall_reflectance(CLEAN, np.abs(k), 1.34, 1.52)
        assert behind_reflectance(k, passed, 1.34, 1.52) == pytest.approx(whole - front, abs=1e-12)
    else:
        assert passed is None


@pytest.mark.identity
def test_four_kinds_of_wall():
    """Painted reflects by the inner face alone, dark not at all, a stated mirror as stated."""
    k = np.linspace(0.05, 1.3, 20)
    painted = wall_reflectance(PAINTED, k, 1.34, 1.52)
    assert np.all(painted < wall_reflectance(CLEAN, k, 1.34, 1.52))
    assert np.all(np.diff(painted) < 0)
    assert np.all(wall_reflectance(DARK, k, 1.34, 1.52) == 0)
    assert np.all(wall_reflectance(Wall("reflectance", 0.7), k, 1.34, 1.52) == 0.7)


@pytest.mark.identity
def test_images_unfold_the_tank():
    """Odd images are mirrored, even ones moved; the hits count the planes between."""
    images = axis_images(2.0, 3, CLEAN, CLEAN, 0.01)
    by_number = {int(i): n for n, i in enumerate(images.number)}
    for number, place, low, high in (
        (0, 0.5, 0, 0),
        (1, 3.5, 0, 1),
        (-1, -0.5, 1, 0),
        (2, 4.5, 1, 1),
        (-2, -3.5, 1, 1),
        (3, 7.5, 1, 2),
        (-3, -4.5, 2, 1),
    ):
        n = by_number[number]
        assert images.sign[n] * 0.5 + images.offset_m[n] == place
        assert (images.low_hits[n], images.high_hits[n]) == (low, high)
        assert images.glass_m[n] == pytest.approx(0.02 * abs(number))


@pytest.mark.identity
def test_images_that_need_a_dark_wall_are_left_out():
    """With one dark wall only the tank and the image in the other wall remain."""
    assert sorted(axis_images(2.0, 3, DARK, CLEAN, 0.01).number) == [0, 1]
    assert sorted(axis_images(2.0, 3, DARK, DARK, 0.01).number) == [0]
    mirror = axis_images(2.0, 2, Wall("reflectance", 1.0), PAINTED, 0.01)
    assert np.all(mirror.glass_m == 0)
