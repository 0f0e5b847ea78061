"""Refraction and reflection at the flat surface."""

from __future__ import annotations

import math

import numpy as np
import pytest

from lightdose.physics.water import (
    entry_tangent,
    horizontal_reach,
    surface_reflectance_from_below,
    surface_transmittance,
)

N_WATER = 1.333


def air_reflectance(angle_deg: float) -> float:
    return 1 - float(surface_transmittance(np.cos(np.radians([angle_deg])), N_WATER)[0])


@pytest.mark.published
def test_fresnel_reflectance_upright_and_at_60_deg():
    """R(0) = ((n-1)/(n+1))^2 and R(60 deg) of unpolarised light."""
    # Source: Fresnel's equations, Born & Wolf, Principles of Optics, 1.5.2; n = 1.333.
    assert air_reflectance(0) == pytest.approx(0.020373, abs=1e-6)
    assert air_reflectance(60) == pytest.approx(0.05969, abs=1e-5)


@pytest.mark.published
def test_snell_refracts_60_deg_to_40_5_deg():
    """The sideways way in water follows sin(60)/1.333: 40.518 deg."""
    # Source: Snell's law, Born & Wolf, Principles of Optics, 1.5.1.
    slope = horizontal_reach(math.tan(math.radians(60)), 0.0, 1.0, N_WATER)
    assert math.degrees(math.atan(float(slope))) == pytest.approx(40.518, abs=1e-3)


@pytest.mark.published
def test_total_reflection_begins_at_48_6_deg():
    """From below the surface is a mirror beyond asin(1/n)."""
    # Source: Born & Wolf, Principles of Optics, 1.5.4; asin(1/1.333) = 48.607 deg.
    angles = np.radians([48.60, 48.61])
    below, beyond = surface_reflectance_from_below(np.cos(angles), N_WATER)
    assert below < 1
    assert beyond == 1


@pytest.mark.published
@pytest.mark.parametrize("from_below", [False, True])
def test_diffuse_reflectance_of_the_surface(from_below):
    """Lambertian light: 6.64 % reflected from air to water, 47.46 % from water to air."""
    # Source: Judd 1942, J. Res. NBS 29:329 (form, from memory); numbers: Fresnel integrated, n = 1.333.
    sine_square = (np.arange(200_000) + 0.5) / 200_000
    cosine = np.sqrt(1 - sine_square)
    if from_below:
        mean = surface_reflectance_from_below(cosine, N_WATER).mean()
        assert mean == pytest.approx(0.47459, abs=1e-4)
    else:
        assert 1 - surface_transmittance(cosine, N_WATER).mean() == pytest.approx(0.06641, abs=1e-4)


@pytest.mark.identity
@pytest.mark.parametrize("index", [1.0, 1.333, 1.34, 1.5])
def test_newton_finds_the_ray_again(index):
    """The tangent found for a reach gives that reach, from upright to grazing."""
    tangent = np.concatenate(([0.0], np.geomspace(1e-4, 200, 60)))
    for air, water in ((0.2, 0.4), (0.01, 2.0), (3.0, 0.0)):
        reach = horizontal_reach(tangent, air, water, index)
        found = entry_tangent(reach, air, np.full_like(reach, water), index)
        assert found == pytest.approx(tangent, rel=1e-9, abs=1e-12)


@pytest.mark.identity
def test_what_passes_down_passes_up():
    """Both directions along one ray lose the same share at the surface."""
    air = np.radians(np.linspace(0, 89, 30))
    water = np.arcsin(np.sin(air) / N_WATER)
    down = surface_transmittance(np.cos(air), N_WATER)
    up = 1 - surface_reflectance_from_below(np.cos(water), N_WATER)
    assert down == pytest.approx(up, abs=1e-12)
