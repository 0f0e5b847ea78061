"""Walls as mirrors."""

from __future__ import annotations

import numpy as np
import pytest

from lightdose.model.setup import Wall
from lightdose.physics.walls import axis_images, pane_reflectance, wall_reflectance

CLEAN, PAINTED, DARK = Wall(), Wall("painted"), Wall("dark")


@pytest.mark.published
def test_pane_in_air_reflects_by_both_faces():
    """An upright pane of n = 1.52 in air reflects 2 r / (1 + r) = 8.2 %, r = 4.26 % a face."""
    # Source: Fresnel's equations; Born & Wolf, Principles of Optics, 1.5.2 and 1.6.4 (incoherent sum).
    r = ((1.52 - 1) / (1.52 + 1)) ** 2
    upright = np.array([1.0])
    assert pane_reflectance(upright, 1.0, 1.52, painted=True)[0] == pytest.approx(r, rel=1e-12)
    assert pane_reflectance(upright, 1.0, 1.52)[0] == pytest.approx(2 * r / (1 + r), rel=1e-12)


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
