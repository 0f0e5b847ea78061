"""Angular distributions of a channel's light, normalised to a flux of one.

Angles are those in the air: from straight down, and counter-clockwise from the fixture's own x axis.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from lightdose.model.arrays import FloatArray
from lightdose.model.fixture import Beam, CosineLobe, PhotometricLobe, TabulatedLobe


def cosine_exponent(fwhm_deg: float) -> float:
    """Exponent m of a cos^m lobe from its full width at half maximum.

    m = ln 0.5 / ln cos(FWHM / 2): 60 deg 4.82, 90 deg 2, 120 deg 1.

    Parameters
    ----------
    fwhm_deg : float
        Full width at half maximum. [deg]

    Returns
    -------
    float
        Exponent.

    Source
    ------
    Definition of the half-width of cos^m.
    """
    return math.log(0.5) / math.log(math.cos(math.radians(fwhm_deg) / 2))


def _cone_integrals(angle_rad: FloatArray, relative: FloatArray) -> FloatArray:
    """Integral of I sin(angle) over the angle for I linear between nodes, along the last axis."""
    low, high = angle_rad[:-1], angle_rad[1:]
    slope = (relative[..., 1:] - relative[..., :-1]) / (high - low)
    parts = (
        relative[..., :-1] * np.cos(low)
        - relative[..., 1:] * np.cos(high)
        + slope * (np.sin(high) - np.sin(low))
    )
    return np.asarray(parts.sum(axis=-1))


def hemisphere_flux(beam: Beam) -> float:
    """Flux of the lobe into the lower hemisphere, in the lobe's own intensity unit times steradian.

    Exact for each kind: 2 pi / (m + 1) for cos^m at an axial intensity of 1, closed segments for tables that
    are linear in angle.

    Parameters
    ----------
    beam : CosineLobe, TabulatedLobe or PhotometricLobe

    Returns
    -------
    float
        Integral of intensity over solid angle. [unit sr]

    Source
    ------
    Definition of flux; integral of (p + q t) sin t in closed form.
    """
    if isinstance(beam, CosineLobe):
        return 2 * math.pi / (cosine_exponent(beam.fwhm_deg) + 1)
    if isinstance(beam, TabulatedLobe):
        return 2 * math.pi * float(_cone_integrals(np.radians(beam.angle_deg), beam.relative))
    planes = _cone_integrals(np.radians(beam.gamma_deg), beam.relative)
    return float(np.sum(np.diff(np.radians(beam.c_deg)) * 0.5 * (planes[1:] + planes[:-1])))


def _axial(beam: PhotometricLobe, angle_deg: FloatArray, turn_deg: FloatArray) -> FloatArray:
    """Bilinear intensity between the planes of a photometric distribution; zero beyond its last angle."""
    turn = np.mod(turn_deg, 360.0)
    plane = np.clip(np.searchsorted(beam.c_deg, turn, side="right") - 1, 0, beam.c_deg.size - 2)
    ring = np.clip(np.searchsorted(beam.gamma_deg, angle_deg, side="right") - 1, 0, beam.gamma_deg.size - 2)
    along = (turn - beam.c_deg[plane]) / (beam.c_deg[plane + 1] - beam.c_deg[plane])
    out = (angle_deg - beam.gamma_deg[ring]) / (beam.gamma_deg[ring + 1] - beam.gamma_deg[ring])
    table = beam.relative
    near = table[plane, ring] * (1 - out) + table[plane, ring + 1] * out
    far = table[plane + 1, ring] * (1 - out) + table[plane + 1, ring + 1] * out
    return np.where(angle_deg > beam.gamma_deg[-1], 0.0, near * (1 - along) + far * along)


def intensity_per_flux(
    beam: Beam, tangent: FloatArray, cosine: FloatArray, turn_rad: FloatArray | None = None
) -> FloatArray:
    """Intensity of a lobe whose flux is one, towards directions in the air.

    Parameters
    ----------
    beam : CosineLobe, TabulatedLobe or PhotometricLobe
    tangent, cosine : array, shape (n,)
        Tangent and cosine of the angle from straight down.
    turn_rad : array, shape (n,), optional
        Direction counter-clockwise from the fixture's own x axis; only a PhotometricLobe needs it. [rad]

    Returns
    -------
    array, shape (n,)
        Intensity per unit flux. [sr-1]

    Source
    ------
    I = I0 cos^m with I0 = flux (m + 1) / (2 pi); tables linear in angle, CIE 121 axes C and gamma.
    """
    scale = 1 / hemisphere_flux(beam)
    if isinstance(beam, CosineLobe):
        exponent = cosine_exponent(beam.fwhm_deg)
        whole = round(exponent)
        if abs(exponent - whole) < 1e-12 and 1 <= whole <= 3:
            powers = {1: cosine, 2: cosine * cosine, 3: cosine * cosine * cosine}
            return scale * powers[whole]
        return scale * np.exp(exponent * np.log(cosine))
    angle_deg = np.degrees(np.arctan(tangent))
    if isinstance(beam, TabulatedLobe):
        return scale * np.interp(angle_deg, beam.angle_deg, beam.relative, right=0.0)
    turn = np.zeros_like(angle_deg) if turn_rad is None else np.degrees(turn_rad)
    return scale * _axial(beam, angle_deg, turn)


def same_beam(one: Beam, other: Beam) -> bool:
    """Whether two lobes give the same light in every direction.

    Parameters
    ----------
    one, other : CosineLobe, TabulatedLobe or PhotometricLobe

    Returns
    -------
    bool

    Source
    ------
    Equality of the stated data.
    """
    if one is other:
        return True
    if isinstance(one, CosineLobe) and isinstance(other, CosineLobe):
        return one.fwhm_deg == other.fwhm_deg
    if isinstance(one, TabulatedLobe) and isinstance(other, TabulatedLobe):
        return np.array_equal(one.angle_deg, other.angle_deg) and np.array_equal(one.relative, other.relative)
    if isinstance(one, PhotometricLobe) and isinstance(other, PhotometricLobe):
        return all(
            np.array_equal(getattr(one, name), getattr(other, name))
            for name in ("c_deg", "gamma_deg", "relative")
        )
    return False


def distinct_beams(beams: Sequence[Beam]) -> tuple[tuple[Beam, ...], tuple[int, ...]]:
    """The different lobes of a fixture, and for each channel which of them it has.

    Parameters
    ----------
    beams : sequence of lobes, one a channel

    Returns
    -------
    tuple of lobes, tuple of int
        Distinct lobes in order of appearance, and an index into them for each channel.

    Source
    ------
    Bookkeeping: channels that share a lobe share their light field.
    """
    found: list[Beam] = []
    which: list[int] = []
    for beam in beams:
        for index, known in enumerate(found):
            if same_beam(known, beam):
                which.append(index)
                break
        else:
            which.append(len(found))
            found.append(beam)
    return tuple(found), tuple(which)
