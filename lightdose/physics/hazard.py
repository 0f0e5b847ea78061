"""Eye and skin hazard of a fixture through air: weighted irradiance, radiance of an emitter, time to limits.

Weighted powers are columns in the order blue light, actinic UV, UV-A.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from lightdose.model.fixture import (
    Aperture,
    Beam,
    CosineLobe,
    Emitters,
    FixtureType,
    PhotometricLobe,
    TabulatedLobe,
)
from lightdose.model.record import FloatArray
from lightdose.model.spectrum import GRID_NM, HazardTables
from lightdose.physics.emission import distinct_beams, intensity_per_flux
from lightdose.physics.photons import cells_in_band, joules_per_photon
from lightdose.quantities import BANDS

WORKING_DAY_S = 8 * 3600.0
BLUE_DOSE_J_M2, BLUE_LONG_W_M2 = 100.0, 1.0
BLUE_RADIANCE_DOSE_J_M2_SR, BLUE_RADIANCE_LONG_W_M2_SR = 1e6, 100.0
ACTINIC_DOSE_J_M2 = 30.0
UV_A_DOSE_J_M2, UV_A_LONG_W_M2 = 1e4, 10.0

_CELLS_PER_DISTANCE, _CELLS_PER_LOBE, _CELLS_A_SIDE = 8, 4, 400
_PAIRS_AT_ONCE, _PAIRS_AT_MOST = 200_000, 10_000_000
_TILT_STEP_DEG, _TURN_STEP_DEG, _LAST_TILT_DEG, _LAST_PEAK_DEG = 5.0, 30.0, 85.0, 89.9


class Geometry(NamedTuple):
    """Where eyes may be, and what comes there of each channel per unit flux.

    ``irradiance_per_m2`` has the shape (n_place, n_channel), ``intensity_per_sr`` (n_direction, n_channel).
    """

    irradiance_per_m2: FloatArray
    intensity_per_sr: FloatArray


def weighted_power(emission: FloatArray, tables: HazardTables) -> FloatArray:
    """Radiant flux of channels, weighted by each hazard.

    Parameters
    ----------
    emission : array, shape (n_channel, 500)
        Photons in the 1 nm cells of 300-800 nm. [umol s-1]
    tables : HazardTables

    Returns
    -------
    array, shape (n_channel, 3), in the order blue light, actinic UV, UV-A. [W]

    Source
    ------
    B: IEC 62471:2006. S: IEC 62471-6:2022, here from 300 nm up. UV-A 315-400 nm: CIE S 017:2020.
    """
    uv_a = next(band for band in BANDS if band.key == "uv_a")
    rows = np.stack((tables.blue_light, tables.actinic_uv, cells_in_band(uv_a.low_nm, uv_a.high_nm)))
    return np.asarray(emission @ (rows * joules_per_photon(GRID_NM)).T)


@lru_cache(maxsize=64)
def worst_view(fixture_type: FixtureType, distance_m: float) -> Geometry:
    """What an eye can get of a fixture's light at a distance, looking straight into it through air.

    Where all lobes are strongest straight down, the eye is straight below the middle of the aperture. Else it
    is moved around the edge of the aperture at that distance, looking back at its nearest point, and below
    its middle it looks up in every direction.

    Parameters
    ----------
    fixture_type : FixtureType
    distance_m : float
        From the emitting rectangle to the eye. [m]

    Source
    ------
    E = sum of I cos(angle at the eye) / r^2 over small cells of the aperture: the inverse-square law.
    """
    beams, which = distinct_beams([c.beam for c in fixture_type.channels])
    tilt, turn = _directions(beams, fixture_type.aperture)
    intensity = np.array([intensity_per_flux(b, np.tan(tilt), np.cos(tilt), turn) for b in beams]).T
    views = 1 if len(tilt) == 1 else 2 * len(tilt)
    cells = _cells(fixture_type.aperture, distance_m, float(intensity.max()), views)
    half = np.array([fixture_type.aperture.length_m, fixture_type.aperture.width_m, 0.0]) / 2
    look = np.column_stack((np.sin(tilt) * np.cos(turn), np.sin(tilt) * np.sin(turn), -np.cos(tilt)))
    eye = np.sign(np.round(look, 9)) * half + distance_m * look
    if len(look) > 1:
        below = np.broadcast_to(np.array([0.0, 0.0, -distance_m]), look.shape)
        eye, look = np.concatenate((eye, below)), np.concatenate((look, look))
    at_once = max(1, _PAIRS_AT_ONCE // cells[0].size)
    irradiance = [
        _irradiance(beams, eye[n : n + at_once], look[n : n + at_once], cells)
        for n in range(0, len(eye), at_once)
    ]
    columns = list(which)
    return Geometry(np.concatenate(irradiance)[:, columns], intensity[:, columns])


def _irradiance(
    beams: tuple[Beam, ...], eye: FloatArray, look: FloatArray, cells: tuple[FloatArray, FloatArray]
) -> FloatArray:
    """Irradiance of each lobe's unit flux on eyes that look back, shape (n_eye, n_beam). [m-2]"""
    way_x, way_y = eye[:, :1] - cells[0], eye[:, 1:2] - cells[1]
    down = np.broadcast_to(-eye[:, 2:], way_x.shape)
    aside = np.hypot(way_x, way_y)
    distance = np.hypot(aside, down)
    towards = (way_x * look[:, :1] + way_y * look[:, 1:2] - down * look[:, 2:]) / distance
    spread = np.clip(towards, 0.0, None) / distance**2 / cells[0].size
    angles = [a.ravel() for a in (aside / down, down / distance, np.arctan2(way_y, way_x))]
    per_beam = [intensity_per_flux(b, *angles).reshape(distance.shape) * spread for b in beams]
    return np.column_stack([light.sum(axis=1) for light in per_beam])


def largest_irradiance(geometry: Geometry, output: FloatArray, power_w: FloatArray) -> FloatArray:
    """The highest weighted irradiance over all places of the eye and all given outputs.

    Parameters
    ----------
    geometry : Geometry
    output : array, shape (n_time, n_channel); 0-1, or above with an output scale
    power_w : array, shape (n_channel, 3)
        From ``weighted_power``. [W]

    Returns
    -------
    array, shape (3,). [W m-2]
    """
    return _largest(geometry.irradiance_per_m2, output, power_w)


def emitter_radiance(
    geometry: Geometry, output: FloatArray, power_w: FloatArray, emitters: Emitters
) -> float:
    """Blue-light weighted radiance of a single emitter, the mean of all of a fixture.

    L = I_max / (count pi d^2 / 4); never from the aperture, which would understate it.

    Parameters
    ----------
    geometry : Geometry
    output : array, shape (n_time, n_channel)
    power_w : array, shape (n_channel, 3). [W]
    emitters : Emitters

    Returns
    -------
    float. [W m-2 sr-1]

    Source
    ------
    Definition of radiance.
    """
    intensity = _largest(geometry.intensity_per_sr, output, power_w[:, :1])
    return float(intensity[0]) / (emitters.count * math.pi * emitters.diameter_m**2 / 4)


def blue_irradiance_time_s(e_b_w_m2: float) -> float | None:
    """How long a small source may be stared into by its blue-light irradiance.

    E_B <= 100/t up to 100 s, 1 W m-2 beyond; None for ever. [s]

    Source
    ------
    IEC 62471:2006; ICNIRP 2013, from memory.
    """
    return BLUE_DOSE_J_M2 / e_b_w_m2 if e_b_w_m2 > BLUE_LONG_W_M2 else None


def blue_radiance_time_s(l_b_w_m2_sr: float) -> float | None:
    """How long an emitter may be stared into by its blue-light radiance.

    L_B <= 1e6/t up to 1e4 s, 100 W m-2 sr-1 beyond; None for ever. [s]

    Source
    ------
    IEC 62471:2006; Directive 2006/25/EC.
    """
    above = l_b_w_m2_sr > BLUE_RADIANCE_LONG_W_M2_SR
    return BLUE_RADIANCE_DOSE_J_M2_SR / l_b_w_m2_sr if above else None


def actinic_uv_time_s(h_eff_8h_j_m2: float) -> float | None:
    """How long until the actinic UV exposure of a day is reached; None where 8 h do not reach it. [s]

    H_eff = E_S t <= 30 J m-2 in 8 h, of which ``h_eff_8h_j_m2`` is the whole.

    Source
    ------
    Directive 2006/25/EC.
    """
    above = h_eff_8h_j_m2 > ACTINIC_DOSE_J_M2
    return WORKING_DAY_S * ACTINIC_DOSE_J_M2 / h_eff_8h_j_m2 if above else None


def uv_a_time_s(e_uv_a_w_m2: float) -> float | None:
    """How long until the UV-A limit of the eye is reached; None where it never is. [s]

    10 W m-2 beyond 1000 s, before that the 10 kJ m-2 that this comes to.

    Source
    ------
    IEC 62471:2006, from memory.
    """
    return UV_A_DOSE_J_M2 / e_uv_a_w_m2 if e_uv_a_w_m2 > UV_A_LONG_W_M2 else None


def _largest(per_flux: FloatArray, output: FloatArray, power_w: FloatArray) -> FloatArray:
    found = np.zeros(power_w.shape[1])
    for row in per_flux:
        found = np.maximum(found, (output @ (row[:, None] * power_w)).max(axis=0, initial=0.0))
    return found


def _cells(
    aperture: Aperture, distance_m: float, intensity_per_sr: float, views: int
) -> tuple[FloatArray, FloatArray]:
    """Middles of cells, small beside the distance and beside the lobe's width there. [m]"""
    lobe_rad = 1 / math.sqrt(math.pi * intensity_per_sr) if intensity_per_sr > 0 else math.inf
    largest = distance_m * min(1 / _CELLS_PER_DISTANCE, lobe_rad / _CELLS_PER_LOBE)
    most, sides = int(min(_CELLS_A_SIDE, math.sqrt(_PAIRS_AT_MOST / views))), []
    for side in (aperture.length_m, aperture.width_m):
        count = min(most, max(1, math.ceil(side / largest)))
        sides.append(((np.arange(count) + 0.5) / count - 0.5) * side)
    x, y = np.meshgrid(*sides)
    return x.ravel(), y.ravel()


def _directions(beams: tuple[Beam, ...], aperture: Aperture) -> tuple[FloatArray, FloatArray]:
    """Tilt from straight down and turn of the directions to try; one where all lobes are strongest there."""
    peaks = [peak for beam in beams if (peak := _off_axis_peak(beam)) is not None]
    if not peaks:
        return np.zeros(1), np.zeros(1)
    # Round lobes look the same all around a point, and in all four quarters of a rectangle.
    last = 0.0 if aperture.length_m == aperture.width_m == 0 else 90.0
    if any(isinstance(b, PhotometricLobe) for b in beams):
        last = 359.0
    tilts = np.append(np.arange(0.0, _LAST_TILT_DEG + 1, _TILT_STEP_DEG), [p[0] for p in peaks])
    turns = np.append(np.arange(0.0, last + 1, _TURN_STEP_DEG), [p[1] for p in peaks])
    tilt, turn = np.meshgrid(np.radians(tilts), np.radians(turns))
    return tilt.ravel(), turn.ravel()


def _off_axis_peak(beam: Beam) -> tuple[float, float] | None:
    """Angle and turn of a lobe's strongest direction, None where it is straight down. [deg]"""
    if isinstance(beam, CosineLobe):
        return None
    if isinstance(beam, TabulatedLobe):
        at = int(np.argmax(beam.relative))
        return (min(float(beam.angle_deg[at]), _LAST_PEAK_DEG), 0.0) if at else None
    plane, ring = np.unravel_index(int(np.argmax(beam.relative)), beam.relative.shape)
    if beam.relative[:, 0].min() >= beam.relative.max():
        return None
    return min(float(beam.gamma_deg[ring]), _LAST_PEAK_DEG), float(beam.c_deg[plane])
