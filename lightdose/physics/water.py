"""The water: how its flat surface bends and reflects rays, what it absorbs, and light between absorptions.

Throughout, a ray is named by k, its horizontal wave vector in units of the vacuum wave number: the sine of
its angle in the air. The surface and upright walls keep it (Snell's law).

Geometry sees the spectrum only through the water's absorption a(lambda): the light at a place is
F(a) = sum over paths of g exp(-a l), an entire function of a. It is computed at a few absorptions, the
Chebyshev points of the range that the lamps use, and interpolated by the polynomial through them. That is
linear in F, so spectral sums fold into one small matrix, whatever the number of places, and F = 0 stays 0.

The number of points is chosen so that every channel and weighting is exact to 1e-8 for any path in the tank.
"""

from __future__ import annotations

import numpy as np

from lightdose.model.record import FloatArray, dataclass, read_only
from lightdose.model.setup import Water
from lightdose.model.spectrum import GRID_NM, ReferenceTables


def horizontal_reach(
    tangent: FloatArray | float, air_m: FloatArray | float, water_m: FloatArray | float, index: float
) -> FloatArray:
    """How far a ray moves sideways through air, then water: u (h + s / sqrt(n^2 + (n^2 - 1) u^2)).

    Parameters
    ----------
    tangent : array
        Tangent u of the angle in the air.
    air_m, water_m : array
        Heights of air h and of water s that the ray crosses. [m]
    index : float
        Refractive index of the water.

    Returns
    -------
    array
        Sideways distance. [m]

    Source
    ------
    Snell's law.
    """
    u = np.asarray(tangent)
    return np.asarray(u * (air_m + water_m / np.sqrt(index**2 + (index**2 - 1) * u * u)))


def newton_step(
    tangent: FloatArray, reach_m: FloatArray, air_m: FloatArray | float, water_m: FloatArray, index: float
) -> FloatArray:
    """The change of the tangent that one Newton step asks for; adds to ``tangent``.

    Parameters
    ----------
    tangent, reach_m, air_m, water_m : array
        As in ``horizontal_reach``; ``reach_m`` is the distance that is wanted. [m]
    index : float
        Refractive index of the water.

    Returns
    -------
    array
        Step in the tangent.

    Source
    ------
    Newton's method on ``horizontal_reach``, whose slope is h + s n^2 / (n^2 + (n^2 - 1) u^2)^1.5.
    """
    square = tangent * tangent
    square *= index**2 - 1
    square += index**2
    per_root = water_m / np.sqrt(square)
    excess = per_root + air_m
    excess *= tangent
    np.subtract(reach_m, excess, out=excess)
    per_root *= index**2
    per_root /= square
    per_root += air_m
    excess /= per_root
    return excess


def entry_tangent(
    reach_m: FloatArray, air_m: FloatArray | float, water_m: FloatArray, index: float, tolerance: float = 1e-6
) -> FloatArray:
    """Tangent of the angle in the air of the ray that moves sideways by ``reach_m``.

    The reach is concave and rising in the tangent, so Newton's method climbs to the root from below. It stops
    after the first step smaller than ``tolerance`` (relative); as it converges quadratically, the result is
    then good to about the square of that.

    Parameters
    ----------
    reach_m : array
        Sideways distance, not negative. [m]
    air_m, water_m : array
        Heights of air and of water that the ray crosses, air above 0. [m]
    index : float
        Refractive index of the water.
    tolerance : float
        Relative size of the last step.

    Returns
    -------
    array
        Tangent u.

    Source
    ------
    Snell's law; Newton's method.
    """
    tangent = reach_m / (air_m + water_m / index)
    if index == 1.0:
        return tangent
    for taken in range(40):
        step = newton_step(tangent, reach_m, air_m, water_m, index)
        tangent += step
        if taken < 2:
            continue  # hardly ever enough, so it is not looked at
        if tangent.size == 0 or np.max(step - tolerance * tangent) <= tolerance**2:
            break
    return tangent


def surface_transmittance(cosine: FloatArray, index: float, down: FloatArray | None = None) -> FloatArray:
    """Share of unpolarised light that passes the surface from air into water.

    T = 1 - (r_s^2 + r_p^2) / 2 = 2 c k_w (1 / (c + k_w)^2 + 1 / (n c + k_w / n)^2).

    Parameters
    ----------
    cosine : array
        Cosine c of the angle in the air.
    index : float
        Refractive index of the water.
    down : array or None
        Wave vector k_w straight down in the water, in vacuum wave numbers, where it is known.

    Returns
    -------
    array
        Transmitted fraction, 0-1.

    Source
    ------
    Fresnel's equations.
    """
    inside = np.sqrt(cosine * cosine + (index**2 - 1)) if down is None else down
    across = cosine + inside
    along = cosine * index
    along += inside / index
    across *= across
    along *= along
    passed = across + along
    across *= along
    passed /= across
    passed *= cosine
    passed *= inside
    passed *= 2
    return passed


def surface_reflectance_from_below(cosine: FloatArray, index: float) -> FloatArray:
    """Share of unpolarised light that the surface sends back into the water; 1 beyond the critical angle.

    Parameters
    ----------
    cosine : array
        Cosine of the angle in the water.
    index : float
        Refractive index of the water.

    Returns
    -------
    array
        Reflected fraction, 0-1.

    Source
    ------
    Fresnel's equations.
    """
    outside_square = 1 - index**2 * (1 - cosine * cosine)
    outside = np.sqrt(np.maximum(outside_square, 0.0))
    across = (index * cosine - outside) / (index * cosine + outside)
    along = (cosine - index * outside) / (cosine + index * outside)
    return np.where(outside_square <= 0, 1.0, 0.5 * (across * across + along * along))


YELLOWING_REFERENCE_NM = 440.0
"""Wavelength at which yellowing is stated, the custom for coloured dissolved matter."""


def absorption_per_m(water: Water, tables: ReferenceTables) -> FloatArray:
    """Absorption of the tank's water, base e, at the centres of the working grid.

    a(lambda) = pure water (or the user's own table) + a440 exp(-S (lambda - 440)).

    Parameters
    ----------
    water : Water
        Yellowing at 440 nm [m-1], its slope S [nm-1], and a table that replaces pure water, or None.
    tables : ReferenceTables
        Pure-water absorption on the grid. [m-1]

    Returns
    -------
    array, shape (500,)
        Absorption coefficient. [m-1]

    Source
    ------
    Pure water: the shipped table (Buiteveld et al. 1994, see spectra/SOURCES.toml). Yellowing: exponential
    with S = 0.0165 +-0.0035 nm-1, Schwarz et al. 2002, Oceanologia 44:209.
    """
    clear = tables.pure_water_absorption_per_m if water.absorption is None else water.absorption.on_grid()
    if water.yellowing_440_per_m == 0:
        return read_only(clear)
    slope = water.yellowing_slope_per_nm
    return read_only(clear + water.yellowing_440_per_m * np.exp(-slope * (GRID_NM - YELLOWING_REFERENCE_NM)))


_DEEPEST = 600.0
"""Optical depth beyond which light counts as left by exp(-600): with numbers next to the smallest that a
computer holds it takes ten to a hundred times as long."""


def share_left(absorption_per_m: FloatArray | float, path_m: FloatArray) -> FloatArray:
    """What absorption leaves of light along paths.

    Parameters
    ----------
    absorption_per_m : float or array that spreads over the paths
        [m-1]
    path_m : array
        Length in the water. [m]

    Source
    ------
    Beer-Lambert law.
    """
    return np.asarray(np.exp(-np.minimum(absorption_per_m * path_m, _DEEPEST)))


RELATIVE_TOLERANCE = 1e-6
"""Largest error of a weighted response that the nodes may cause, relative; in whole tanks a tenth of it was
seen. Our choice."""

NEGLIGIBLE_SHARE = 1e-10
"""A response that absorption cuts below this share of itself in clear water need not be exact; our choice."""

FEWEST_NODES, USUAL_NODES, MOST_NODES = 4, 8, 96


@dataclass(frozen=True, eq=False)
class AbsorptionNodes:
    """Absorptions at which the light field is computed.

    Attributes
    ----------
    per_m : array, shape (n_node,). [m-1]
    to_grid : array, shape (500, n_node); light at the nodes -> light in each cell of the working grid
    """

    per_m: FloatArray
    to_grid: FloatArray


def _chebyshev(low: float, high: float, count: int, absorption: FloatArray) -> AbsorptionNodes:
    """Nodes of the first kind on [low, high], with the barycentric matrix to ``absorption``."""
    angle = (2 * np.arange(count) + 1) * np.pi / (2 * count)
    nodes = 0.5 * (low + high) + 0.5 * (high - low) * np.cos(angle)
    weight = np.where(np.arange(count) % 2 == 0, 1.0, -1.0) * np.sin(angle)
    inside = np.clip(absorption, low, high)
    gap = inside[:, None] - nodes[None, :]
    at_node = np.abs(gap) <= 1e-13 * max(high, 1e-300)
    terms = weight / np.where(at_node, 1.0, gap)
    matrix = terms / terms.sum(axis=1, keepdims=True)
    hit = at_node.any(axis=1)
    matrix[hit] = at_node[hit]
    return AbsorptionNodes(nodes, matrix)


def absorption_nodes(absorption: FloatArray, spectra: FloatArray, longest_path_m: float) -> AbsorptionNodes:
    """Nodes that are enough for every one of the given weighted spectra.

    Parameters
    ----------
    absorption : array, shape (500,)
        Absorption of the water on the working grid. [m-1]
    spectra : array, shape (n, 500)
        Photons times weighting in each cell; cells where all are zero do not matter.
    longest_path_m : float
        Longest path worth being exact for. [m]

    Returns
    -------
    AbsorptionNodes
        Fewest nodes (from 4) that meet ``RELATIVE_TOLERANCE`` for single paths up to the longest; a
        mixture of paths is then no worse.

    Source
    ------
    Barycentric interpolation at Chebyshev points: Berrut & Trefethen 2004, SIAM Review 46:501 (from memory).
    """
    lit = spectra[np.any(spectra != 0, axis=1)]
    if lit.size == 0:
        return _chebyshev(0.0, float(absorption.max()) + 1e-9, FEWEST_NODES, absorption)
    used = np.any(lit > 1e-12 * lit.max(axis=1, keepdims=True), axis=0)
    low, high = float(absorption[used].min()), float(absorption[used].max())
    if high - low < 1e-12:
        high = low + 1e-9
    paths = longest_path_m * np.linspace(0, 1, 13)
    kept = lit * used
    wanted = kept @ share_left(absorption[:, None], paths)
    allowed = np.maximum(wanted, NEGLIGIBLE_SHARE / RELATIVE_TOLERANCE * wanted[:, :1]) * RELATIVE_TOLERANCE

    def enough(count: int) -> AbsorptionNodes | None:
        """So many nodes, where they meet the tolerance."""
        nodes = _chebyshev(low, high, count, absorption)
        got = (kept @ nodes.to_grid) @ share_left(nodes.per_m[:, None], paths)
        return nodes if count >= MOST_NODES or np.all(np.abs(got - wanted) <= allowed) else None

    count = USUAL_NODES
    nodes = enough(count)
    while nodes is None:
        count += 1 if count < 16 else 4
        nodes = enough(count)
    while count > FEWEST_NODES and count <= USUAL_NODES and (fewer := enough(count - 1)) is not None:
        nodes, count = fewer, count - 1
    return nodes
