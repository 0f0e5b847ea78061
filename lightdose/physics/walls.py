"""Upright walls as mirrors, under the water and in the dry rim above it.

A clear pane reflects lamp light almost wholly at its outer face, so its image stands a little beyond the
inner face: the ray spends some way in the glass, in which it moves along the wall but not away from it.

A pane in the air reflects at its front face and, a little displaced, at its back face; the mean of both is
taken. A lamp seen in it is a lamp image outside the tank; its rays must meet the pane between the water and
the rim's upper edge.
"""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from lightdose.model.record import FloatArray, dataclass
from lightdose.model.setup import WALL_NAMES, Tank, Wall
from lightdose.physics.emission import SourceCells

IntArray = npt.NDArray[np.intp]

PLAIN, FRONT, WHOLE, BEHIND = range(4)
"""What an image shows of clear panes: none, the front face alone, all, or what is behind the front face.

The rays of the last two spend some way in the glass.
"""

IntoGlass = tuple[FloatArray, FloatArray, FloatArray, FloatArray]

_LEAST_REST = 1e-12
"""Glass with the index of the water is taken as so much denser, so that a ray along the pane stays finite."""

_LEAST_NORMAL = 1e-9
"""Light from behind a front face that runs along it is taken as so much steeper, so that it leaves."""


def glass_rest(index: float, glass_index: float) -> float:
    """By how much the square of the wave vector in the glass surpasses that towards the wall in the water.

    Parameters
    ----------
    index, glass_index : float
        Refractive index of the water and of the glass, which is not below it.

    Returns
    -------
    float
        g^2 - n^2, above 0.

    Source
    ------
    Snell's law.
    """
    return max(glass_index**2 - index**2, _LEAST_REST)


def _into_glass(normal: FloatArray, index: float, glass_index: float) -> IntoGlass:
    """Fresnel's terms at a pane's front face: k_glass, m = k / k_glass, 1 + m, m g / n + n / g."""
    in_glass = normal * normal
    in_glass += glass_rest(index, glass_index)
    np.sqrt(in_glass, out=in_glass)
    share = normal / in_glass
    sum_s = share + 1
    sum_p = share * (glass_index / index)
    sum_p += index / glass_index
    return in_glass, share, sum_s, sum_p


def _passed(share: FloatArray, square_s: FloatArray, square_p: FloatArray) -> FloatArray:
    """What the front face lets through: 1 - R1 = 2 m (1 / (1 + m)^2 + 1 / (m g / n + n / g)^2)."""
    passed = square_s + square_p
    passed /= square_s * square_p
    passed *= share
    passed *= 2
    return passed


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
    in_glass, share, sum_s, sum_p = _into_glass(normal, index, glass_index)
    inner = np.asarray(1 - _passed(share, sum_s * sum_s, sum_p * sum_p))
    if painted:
        return inner
    g2 = glass_index**2
    outside = np.sqrt(np.maximum(1 - index**2 + normal * normal, 0.0))
    across = (in_glass - outside) / (in_glass + outside)
    along = (in_glass - g2 * outside) / (in_glass + g2 * outside)
    outer = 0.5 * (across * across + along * along)
    lost = 1 - inner * outer
    # Along the pane both faces reflect all.
    behind = np.divide((1 - inner) ** 2 * outer, lost, out=np.zeros_like(lost), where=lost > 0)
    return np.asarray(inner + behind)


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


def behind_reflectance(k: FloatArray, passed: FloatArray, index: float, glass_index: float) -> FloatArray:
    """Share of light in the water that a clear pane sends back from behind its front face.

    Parameters
    ----------
    k : array
        Wave vector towards the wall, in vacuum wave numbers.
    passed : array
        What passes the front face, 1 - R1.
    index, glass_index : float
        Refractive index of the water and of the glass.

    Source
    ------
    ``pane_reflectance`` less the front face's; beyond total reflection all that passes comes back.
    """
    part = np.flatnonzero(k * k >= index**2 - 1)
    if part.size == 0:
        return passed
    back = passed.copy()
    back[part] += pane_reflectance(np.abs(k[part]), index, glass_index) - 1
    return back


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
    face : array, shape (n_image,); PLAIN, FRONT, WHOLE or BEHIND
    """

    number: IntArray
    sign: FloatArray
    offset_m: FloatArray
    low_hits: IntArray
    high_hits: IntArray
    glass_m: FloatArray
    face: IntArray


LEAST_REFLECTED = 1e-15
"""An image of which stated reflectances leave less is none: it is below the rounding of straight light."""


@lru_cache(maxsize=64)
def axis_images(
    span_m: float, order: int, low: Wall, high: Wall, glass_thickness_m: float, *, faces: bool = False
) -> AxisImages:
    """The images along one axis up to an order, without those of which walls leave nothing.

    The same object for the same walls, so that what hangs on images alone is found once.

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
        if wall.kind == "dark":
            open_path &= hits == 0
        elif wall.reflectance is not None:
            open_path &= wall.reflectance**hits >= LEAST_REFLECTED
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
        np.where(once, BEHIND, np.where(glass_m > 0, WHOLE, PLAIN)),
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
    k: FloatArray, glass_m: FloatArray | float, index: float, glass_index: float, *, behind: bool = False
) -> FloatArray:
    """Mean stay in panes of light that moves by its wave vector.

    A crossing there and back takes 2 t / k_glass. Light from behind the front face crosses once, or again
    after each reflection at the front face from within: 1 / (1 - R1) times in the mean. Over that stay the
    ray does not move along the wall's normal and loses the way k stay.

    Parameters
    ----------
    k : array
        Wave vector towards the wall, in vacuum wave numbers.
    glass_m : array or float
        Twice the thickness for each reflection. [m]
    index, glass_index : float
        Refractive index of the water and of the glass.
    behind : bool
        The light from behind the front face alone.

    Returns
    -------
    array
        Stay. [m]

    Source
    ------
    Snell's law in a plane pane; Fresnel's equations; mean of a geometric series.
    """
    if not behind:
        in_glass = k * k
        in_glass += glass_rest(index, glass_index)
        return np.asarray(glass_m / np.sqrt(in_glass, out=in_glass))
    normal = np.abs(k)
    _, _, square_s, square_p = _into_glass(normal, index, glass_index)
    square_s *= square_s
    square_p *= square_p
    normal += _LEAST_NORMAL
    normal *= square_s + square_p
    square_s *= square_p
    square_s *= 0.5 * glass_m
    square_s /= normal
    return square_s


def pane_crossing(
    k: FloatArray, glass_m: FloatArray | float, index: float, glass_index: float, *, behind: bool = False
) -> tuple[FloatArray, FloatArray, FloatArray | None]:
    """What panes do to rays: stay, change of the lost way k stay with k, share that passes the front face.

    Parameters
    ----------
    k, glass_m, index, glass_index, behind
        As in ``pane_stay``.

    Returns
    -------
    arrays
        Stay [m]; d(k stay) / dk [m]; 1 - R1 for light from behind the front face, else None.

    Source
    ------
    ``pane_stay`` and its derivative.
    """
    rest = glass_rest(index, glass_index)
    if not behind:
        square = k * k
        square += rest
        stay = glass_m / np.sqrt(square)
        return stay, stay * rest / square, None
    normal = np.abs(k)
    in_glass, share, sum_s, sum_p = _into_glass(normal, index, glass_index)
    one_s, one_p = 1 / sum_s, 1 / sum_p
    square_s, square_p = one_s * one_s, one_p * one_p
    both = square_s + square_p
    share *= both
    share *= 2
    normal += _LEAST_NORMAL
    normal *= both
    stay = 0.5 * glass_m / normal
    # With T = 2 m both the slope of k glass / (k_glass T) is free of 1 / k.
    one_s *= square_s
    one_p *= square_p
    one_p *= glass_index / index
    one_s += one_p
    one_s *= glass_m * rest
    both *= both
    both *= in_glass * in_glass * in_glass
    one_s /= both
    return stay, one_s, share


def axis_walls(tank: Tank) -> tuple[tuple[Wall, Wall], tuple[Wall, Wall]]:
    """The walls at low and high x (left, right), and at low and high y (front, back).

    Source
    ------
    Definition of the axes: origin front left inside.
    """
    front, back, left, right = (tank.walls[name] for name in WALL_NAMES)
    return (left, right), (front, back)


@dataclass(frozen=True)
class LampImage:
    """The panes of the rim that mirror the lamp along x and y: the far one, the one at 0, or none."""

    x: bool | None = None
    y: bool | None = None

    @property
    def far_panes(self) -> tuple[bool | None, bool | None]:
        """Along each axis: True for the far pane, False for the near one, None where it is seen straight."""
        return self.x, self.y


STRAIGHT = LampImage()


def lamp_images(tank: Tank) -> tuple[LampImage, ...]:
    """The lamp itself, and its images in the panes of the rim.

    Source
    ------
    Method of images, one reflection along each axis.
    """
    if tank.rim_m == 0:
        return (STRAIGHT,)
    panes_x, panes_y = (
        [None, *(bool(far) for far, wall in enumerate(walls) if wall.kind != "dark")]
        for walls in axis_walls(tank)
    )
    return tuple(LampImage(x, y) for x in panes_x for y in panes_y)


def mirrored_cells(cells: SourceCells, image: LampImage, tank: Tank) -> SourceCells:
    """The cells where the image of the lamp stands."""
    if image.x is not None:
        wall = tank.length_m if image.x else 0.0
        cells = replace(
            cells, x_m=2 * wall - cells.x_m, inset_x_m=-cells.inset_x_m, asked_x_m=-cells.asked_x_m
        )
    if image.y is not None:
        wall = tank.width_m if image.y else 0.0
        cells = replace(
            cells, y_m=2 * wall - cells.y_m, inset_y_m=-cells.inset_y_m, asked_y_m=-cells.asked_y_m
        )
    return cells


def lit_opening(
    at_m: FloatArray, span_m: float, far: bool | None, height_m: float, rim_m: float
) -> FloatArray:
    """Part of the opening along one axis that a lamp or its image can light.

    Parameters
    ----------
    at_m : array, shape (n_cell,)
        Place of the lamp or of its image. [m]
    span_m : float
        Length of the opening. [m]
    far : bool or None
        The pane that mirrors the lamp, or None.
    height_m, rim_m : float
        Height of the lamp and of the rim above the water. [m]

    Returns
    -------
    array, shape (2, n_cell)
        From, to; from above to where there is none. [m]

    Source
    ------
    Similar triangles: the ray meets the pane below the rim's edge.
    """
    whole = np.stack((np.zeros_like(at_m), np.full_like(at_m, span_m)))
    if far is None:
        return whole
    away = at_m - span_m if far else -at_m
    furthest = np.full_like(at_m, span_m) if height_m <= rim_m else away * rim_m / (height_m - rim_m)
    furthest = np.where(away > 0, np.minimum(furthest, span_m), -1.0)
    return np.stack((span_m - furthest, whole[1])) if far else np.stack((whole[0], furthest))


@dataclass(frozen=True, eq=False)
class AxisRays:
    """Rays along one axis, above the water; arrays of shape (n_ray,).

    Attributes
    ----------
    start_m, inset_m, entry_m : where the ray starts (lamp or image), the way to the middle of its cell, where
        it enters the water. [m]
    sideways_m : way along the axis in the air, without the stay in a pane. [m]
    shift : movement of the entry point for a movement of the start
    spread_m : width of a cell, 0 for a point. [m]
    k : wave vector along the axis, in vacuum wave numbers
    """

    start_m: FloatArray
    inset_m: FloatArray
    entry_m: FloatArray
    sideways_m: FloatArray
    shift: FloatArray
    spread_m: float
    k: FloatArray


def mean_stay(k: FloatArray, glass_thickness_m: float, glass_index: float) -> FloatArray:
    """Way along the wall's normal that a mirrored ray loses in the pane, divided by k / k_glass. [m]

    Light off the front face loses none, light off the back face 2 t; the mean over both is t (1 - r), with r
    the reflectance of one face.

    Parameters
    ----------
    k : array
        Wave vector towards the wall, in vacuum wave numbers.
    glass_thickness_m, glass_index : float
        The pane. [m]

    Returns
    -------
    array
        Mean displacement. [m]

    Source
    ------
    Fresnel's equations; reflections in a pane summed: R = 2 r / (1 + r).
    """
    one_face = pane_reflectance(np.maximum(np.abs(k), 1e-9), 1.0, glass_index, painted=True)
    return np.asarray(glass_thickness_m * (1 - one_face))


def _meets_pane(
    away_m: FloatArray, beyond_m: FloatArray, ray: AxisRays, toward: float, height_m: float, rim_m: float
) -> FloatArray:
    """Share of a cell whose ray meets a pane between the water and the rim's edge.

    ``away_m`` is the way from the start to the pane, ``beyond_m`` from there to the entry point.
    """
    sideways = np.maximum(ray.sideways_m, 1e-12)
    met_m = height_m * (1 - away_m / sideways)
    if ray.spread_m == 0:
        return (met_m < rim_m).astype(np.float64)
    change = height_m * (beyond_m + away_m * ray.shift) / (sideways * sideways)
    width = np.maximum(np.abs(change) * ray.spread_m, 1e-9)
    return np.asarray(np.clip((rim_m - met_m - change * toward * ray.inset_m) / width + 0.5, 0, 1))


def rim_gain(tank: Tank, axis: int, far: bool | None, ray: AxisRays, height_m: float) -> FloatArray:
    """What the rim does along one axis to rays from a lamp or its image: mirror, let through, or stop.

    Parameters
    ----------
    tank : Tank
    axis : int
        0 for x, 1 for y.
    far : bool or None
        The pane that mirrors the lamp along this axis, or None.
    ray : AxisRays
    height_m : float
        Height of the lamp above the water. [m]

    Returns
    -------
    array, shape (n_ray,)
        Factor 0-1.

    Source
    ------
    Fresnel's equations for a pane in the air.
    """
    span = (tank.length_m, tank.width_m)[axis]
    normal = np.maximum(np.abs(ray.k), 1e-9)
    gain: FloatArray = np.ones_like(ray.entry_m)
    for end, wall in enumerate(axis_walls(tank)[axis]):
        plane = span * end
        outside = ray.start_m > plane if end else ray.start_m < plane
        mirrors = far is not None and far == bool(end)
        if not mirrors and not np.any(outside):
            continue
        away, beyond = np.abs(plane - ray.start_m), np.abs(ray.entry_m - plane)
        met = _meets_pane(away, beyond, ray, -1.0 if end else 1.0, height_m, tank.rim_m)
        reflectance = pane_reflectance(normal, 1.0, tank.glass_index)
        if mirrors:
            gain *= np.where(outside, met * reflectance, 0.0)
        else:
            through = 0.0 if wall.kind == "dark" else 1 - reflectance
            gain *= np.where(outside, 1 - met * (1 - through), 1.0)
    return gain
