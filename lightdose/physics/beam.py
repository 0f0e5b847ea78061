"""How a fixture sends its light: an emitting rectangle in cells, and each channel's lobe, of a flux of one.

Angles are those in the air: from straight down, and counter-clockwise from the fixture's own x axis.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from lightdose.errors import Problem, SetupError
from lightdose.model.fixture import Beam, CosineLobe, Fixture, PhotometricLobe, TabulatedLobe
from lightdose.model.record import FloatArray, dataclass


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

    Returns
    -------
    tuple of lobes, tuple of int
        Distinct lobes in order of appearance, and an index into them for each channel.
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


LARGEST_CELL_M = 0.06
"""Side of a cell at most; the image edges are softened over its width. Our choice, by trial."""

CELL_PER_HEIGHT = 0.4
"""Side of a cell at most, in heights of the lamp above the water. Our choice, by trial."""

SMALLEST_CUT_M = 0.012
"""Sides below this are not cut."""

CELLS_AT_MOST = 4096


@dataclass(frozen=True, eq=False)
class SourceCells:
    """Point sources that stand for a fixture, each with an equal share of its light.

    Attributes
    ----------
    x_m, y_m : array, shape (n_cell,); where rays start. [m]
    inset_x_m, inset_y_m : array, shape (n_cell,); from there to the middle of the cell. [m]
    height_m : height above the water. [m]
    spread_x_m, spread_y_m : width of a cell as seen along x and y, 0 for a point. [m]
    turn_rad : rotation of the fixture, counter-clockwise from above. [rad]
    """

    x_m: FloatArray
    y_m: FloatArray
    inset_x_m: FloatArray
    inset_y_m: FloatArray
    height_m: float
    spread_x_m: float
    spread_y_m: float
    turn_rad: float


def _cut(side_m: float, largest_m: float) -> tuple[FloatArray, FloatArray, float]:
    """Starts of rays and middles of the cells along one side, about its middle; width of a cell. [m]

    With two or more cells, rays start a little further out than the middles, so that they have the same
    second moment as the whole side: the error then falls with the fourth power of the cell, not the second.
    """
    count = max(1 if side_m < SMALLEST_CUT_M else 2, math.ceil(side_m / largest_m - 1e-9))
    middles = ((np.arange(count) + 0.5) / count - 0.5) * side_m
    starts = middles / math.sqrt(1 - 1 / count**2) if count > 1 else middles
    return starts, middles, side_m / count


def source_cells(fixture: Fixture, coarseness: float = 1.0) -> SourceCells:
    """Cut a fixture's aperture into cells of at most ``LARGEST_CELL_M``, smaller ones for a low lamp.

    Parameters
    ----------
    fixture : Fixture
    coarseness : float
        Multiplies the largest side of a cell.

    Raises
    ------
    SetupError
        If the aperture needs more than ``CELLS_AT_MOST`` cells.

    Source
    ------
    Two-point and midpoint rules with the exact second moment.
    """
    aperture = fixture.type.aperture
    largest = coarseness * min(LARGEST_CELL_M, max(CELL_PER_HEIGHT * fixture.height_m, SMALLEST_CUT_M))
    xs, middle_xs, length = _cut(aperture.length_m, largest)
    ys, middle_ys, width = _cut(aperture.width_m, largest)
    if xs.size * ys.size > CELLS_AT_MOST:
        raise SetupError(
            Problem(
                f"the aperture of fixture {fixture.name!r}, {aperture.length_m:g} x {aperture.width_m:g} m, "
                f"needs {xs.size * ys.size} cells of {100 * largest:.2g} cm "
                f"when hung {100 * fixture.height_m:.3g} cm high",
                allowed=f"at most {CELLS_AT_MOST} cells",
                cure="check the unit of the aperture, or describe it as several fixtures",
                place=fixture.type.aperture_place,
            )
        )
    along, aside = (grid.ravel() for grid in np.meshgrid(xs, ys))
    in_x, in_y = (grid.ravel() for grid in np.meshgrid(middle_xs - xs, middle_ys - ys))
    turn = math.radians(fixture.rotation_deg % 360.0)
    cosine, sine = math.cos(turn), math.sin(turn)
    return SourceCells(
        fixture.x_m + cosine * along - sine * aside,
        fixture.y_m + sine * along + cosine * aside,
        cosine * in_x - sine * in_y,
        sine * in_x + cosine * in_y,
        fixture.height_m,
        abs(cosine) * length + abs(sine) * width,
        abs(sine) * length + abs(cosine) * width,
        turn,
    )


def bounded_source_cells(fixture: Fixture) -> SourceCells:
    """The cells of a fixture, coarser than ``source_cells`` cuts them where these would be too many.

    For small changes of a fixture whose own cells are few enough: what a shift does matters there, not the
    last percent.

    Source
    ------
    Our choice: a quarter coarser, again and again, until at most ``CELLS_AT_MOST`` are left.
    """
    coarseness = 1.0
    while True:
        try:
            return source_cells(fixture, coarseness)
        except SetupError:
            coarseness *= 1.25
