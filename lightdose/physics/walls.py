"""Upright walls as mirrors: what each kind reflects, and which mirror images of a point can be seen.

A clear pane reflects lamp light almost wholly at its outer face, so its image stands a little beyond the
inner face: the ray spends some way in the glass, in which it moves along the wall but not away from it.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from lightdose.model.arrays import FloatArray
from lightdose.model.record import dataclass
from lightdose.model.tank import WALL_NAMES, Tank, Wall

IntArray = npt.NDArray[np.intp]

WHOLE, FRONT, BEHIND = 0, 1, 2
"""What an image shows of a pane."""


def pane_reflectance(
    normal: FloatArray, index: float, glass_index: float, *, painted: bool = False
) -> FloatArray:
    """Share of unpolarised light in the water that a pane sends back.

    R1 at the face between water and glass, R2 at the outer face (1 beyond total reflection); with all
    reflections inside the pane R = R1 + (1 - R1)^2 R2 / (1 - R1 R2). Painted outside: R1 alone.

    Parameters
    ----------
    normal : array
        Component of the wave vector towards the wall, in vacuum wave numbers, above 0.
    index, glass_index : float
        Refractive index of the medium in the tank (water, or 1 for the dry rim) and of the glass.
    painted : bool
        Black bonded to the outer face.

    Returns
    -------
    array
        Reflected fraction, 0-1.

    Source
    ------
    Fresnel's equations; sum of a geometric series of reflections in the pane.
    """
    n2, g2 = index**2, glass_index**2
    in_glass = np.sqrt(g2 - n2 + normal * normal)
    across = (normal - in_glass) / (normal + in_glass)
    along = (g2 * normal - n2 * in_glass) / (g2 * normal + n2 * in_glass)
    inner = np.asarray(0.5 * (across * across + along * along))
    if painted:
        return inner
    outside = np.sqrt(np.maximum(1 - n2 + normal * normal, 0.0))
    across = (in_glass - outside) / (in_glass + outside)
    along = (in_glass - g2 * outside) / (in_glass + g2 * outside)
    outer = 0.5 * (across * across + along * along)
    return np.asarray(inner + (1 - inner) ** 2 * outer / (1 - inner * outer))


def wall_reflectance(wall: Wall, normal: FloatArray, index: float, glass_index: float) -> FloatArray:
    """Share of light in the water that a wall of any kind sends back.

    Parameters
    ----------
    wall : Wall
    normal : array
        Component of the wave vector towards the wall, in vacuum wave numbers, above 0.
    index, glass_index : float
        Refractive index of the water and of the glass.

    Returns
    -------
    array
        Reflected fraction, 0-1.

    Source
    ------
    ``pane_reflectance``; a stated reflectance is used as it is; dark walls give 0.
    """
    if wall.kind == "dark":
        return np.zeros_like(normal)
    if wall.reflectance is not None:
        return np.full_like(normal, wall.reflectance)
    if wall.kind == "painted":
        return pane_reflectance(normal, index, glass_index, painted=True)
    total = normal * normal < index**2 - 1
    reflectance = np.ones_like(normal)
    if not np.all(total):
        part = ~total
        reflectance[part] = pane_reflectance(normal[part], index, glass_index)
    return reflectance


@dataclass(frozen=True, eq=False)
class AxisImages:
    """Mirror images of the tank along one axis, numbered i = ... -1, 0, 1 ...; 0 is the tank itself.

    The image of a coordinate x is ``sign * x + offset_m``.

    Attributes
    ----------
    number : array, shape (n_image,)
    sign, offset_m : array, shape (n_image,)
    low_hits, high_hits : array, shape (n_image,); reflections at the wall at 0 and at the far wall
    glass_m : array, shape (n_image,); twice the pane's thickness for each reflection at a clear pane. [m]
    face : array, shape (n_image,); WHOLE pane, or the light of its FRONT face or from BEHIND it alone
    """

    number: IntArray
    sign: FloatArray
    offset_m: FloatArray
    low_hits: IntArray
    high_hits: IntArray
    glass_m: FloatArray
    face: IntArray


def axis_images(
    span_m: float, order: int, low: Wall, high: Wall, glass_thickness_m: float, *, faces: bool = False
) -> AxisImages:
    """The images along one axis up to an order, without those that would need a wall that reflects nothing.

    Parameters
    ----------
    span_m : float
        Distance between the two walls. [m]
    order : int
        Most reflections at the pair of walls.
    low, high : Wall
        The wall at 0 and the one at ``span_m``.
    glass_thickness_m : float
        Thickness of the panes. [m]
    faces : bool
        Keep the light apart that a single clear pane reflects at its front face, without displacement, from
        what comes back from behind it.

    Returns
    -------
    AxisImages

    Source
    ------
    Method of images between two parallel mirrors.
    """
    number = np.array(sorted(range(-order, order + 1), key=abs), dtype=np.intp)
    reflections = np.abs(number)
    first, second = (reflections + 1) // 2, reflections // 2
    high_hits = np.where(number > 0, first, second)
    low_hits = np.where(number > 0, second, first)
    open_path = np.ones(number.size, dtype=bool)
    for wall, hits in ((low, low_hits), (high, high_hits)):
        if wall.kind == "dark" or wall.reflectance == 0:
            open_path &= hits == 0
    number, low_hits, high_hits = number[open_path], low_hits[open_path], high_hits[open_path]
    clear = low_hits * (low.kind == "clean") + high_hits * (high.kind == "clean")
    even = number % 2 == 0
    glass_m = 2 * glass_thickness_m * clear.astype(np.float64)
    once = faces & (np.abs(number) == 1) & (glass_m > 0)
    images = AxisImages(
        number,
        np.where(even, 1.0, -1.0),
        np.where(even, number, number + 1) * span_m,
        low_hits,
        high_hits,
        glass_m,
        np.where(once, BEHIND, WHOLE),
    )
    if not np.any(once):
        return images
    twice = np.concatenate((np.flatnonzero(once), np.arange(number.size)))
    fields = {name: getattr(images, name)[twice] for name in images.__dataclass_fields__}
    front = np.arange(twice.size) < np.count_nonzero(once)
    fields["glass_m"] = np.where(front, 0.0, fields["glass_m"])
    fields["face"] = np.where(front, FRONT, fields["face"])
    return AxisImages(**fields)


def pane_stay(
    k: FloatArray, glass_m: FloatArray, behind: FloatArray, index: float, glass_index: float
) -> FloatArray:
    """Mean stay in panes of light that moves by its wave vector.

    A crossing there and back takes 2 t / k_glass. Light from behind the front face crosses once, or again
    after each reflection at the front face from within: 1 / (1 - R1) times in the mean. Over that stay the
    ray does not move along the wall's normal and loses the way k stay.

    Parameters
    ----------
    k : array
        Wave vector towards the wall, in vacuum wave numbers.
    glass_m : array
        Twice the thickness for each reflection. [m]
    behind : array
        1 for light from behind the front face, 0 for all light of the pane.
    index, glass_index : float
        Refractive index of the water and of the glass.

    Returns
    -------
    array
        Stay. [m]

    Source
    ------
    Snell's law in a plane pane; Fresnel's equations; mean of a geometric series.
    """
    n2, g2 = index**2, glass_index**2
    normal = np.abs(k)
    in_glass = np.sqrt(g2 - n2 + k * k)
    if not np.any(behind):
        return np.asarray(glass_m / in_glass)
    normal += 1e-9
    across = (normal - in_glass) / (normal + in_glass)
    along = (g2 * normal - n2 * in_glass) / (g2 * normal + n2 * in_glass)
    across *= across
    along *= along
    across += along
    across *= -0.5 * behind
    across += 1.0
    in_glass *= across
    return np.asarray(glass_m / in_glass)


def lost_way_slope(
    k: FloatArray, stay_m: FloatArray, behind: FloatArray, index: float, glass_index: float
) -> FloatArray:
    """Change of the lost way k stay with k, where ``stay_m`` is that of ``pane_stay``.

    Parameters
    ----------
    k, stay_m, behind, index, glass_index
        As in ``pane_stay``. [m]

    Returns
    -------
    array
        d(k stay) / dk. [m]

    Source
    ------
    Derivative of ``pane_stay``.
    """
    n2, g2 = index**2, glass_index**2
    rest = g2 - n2
    square = k * k
    slope = stay_m * rest / (rest + square)
    if not np.any(behind):
        return np.asarray(slope)
    normal, in_glass = np.abs(k) + 1e-9, np.sqrt(rest + square)
    sum_s, sum_p = normal + in_glass, g2 * normal + n2 * in_glass
    across, along = (normal - in_glass) / sum_s, (g2 * normal - n2 * in_glass) / sum_p
    pass_in = 1 - 0.5 * behind * (across * across + along * along)
    change = 2 * rest / in_glass * (across / (sum_s * sum_s) + along * g2 * n2 / (sum_p * sum_p))
    return np.asarray(slope + stay_m * normal * behind * change / pass_in)


def axis_walls(tank: Tank) -> tuple[tuple[Wall, Wall], tuple[Wall, Wall]]:
    """The walls at low and high x (left, right), and at low and high y (front, back).

    Parameters
    ----------
    tank : Tank

    Returns
    -------
    tuple of two pairs of Wall

    Source
    ------
    Definition of the axes: origin front left inside.
    """
    front, back, left, right = (tank.walls[name] for name in WALL_NAMES)
    return (left, right), (front, back)
