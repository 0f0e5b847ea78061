"""Rays between lamps and places that solids hold back.

A ray is followed from its place towards the lamp, off the panes that its mirror image stands for, up to the
surface; while it is in a pane it goes on along it. Braces in the air dim the straight beam.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from lightdose.model.record import FloatArray, dataclass
from lightdose.model.setup import Tank
from lightdose.model.solids import Brace, Solid
from lightdose.physics.light_paths import Rays, Route
from lightdose.physics.solid_shapes import IntArray, Shapes, dimmed, passed, shapes_of
from lightdose.physics.walls import BEHIND, STRAIGHT, pane_stay

COST_OF_THE_FIRST, FIRST, COST_A_SOLID = 0.2, 12, 0.008
"""What each of the first dozen solids adds to the cost of a ray, and each of all: most of many stand far from
most rays. By measurement among 1 to 500 solids, as an upper limit."""


@dataclass(frozen=True, eq=False)
class Shade:
    """What stands in the way of rays."""

    shapes: Shapes
    braces: tuple[Brace, ...] = ()

    @property
    def cost(self) -> float:
        """What a ray costs, over one in a tank where nothing stands; by measurement."""
        count = self.shapes.kind.size + len(self.braces)
        return 1 + COST_OF_THE_FIRST * min(count, FIRST) + COST_A_SOLID * count

    def passed(self, route: Route, rays: Rays, points: FloatArray) -> FloatArray:
        """Share of each ray that comes to its place among points (3, n_point), x, y, up."""
        share = np.ones(rays.point.size)
        lit = np.flatnonzero(rays.gain_per_m2)
        if lit.size and self.braces:
            share[lit] *= self._under_braces(route, rays, lit)
        if lit.size and self.shapes.kind.size:
            left = np.ones(lit.size)
            for index, at, way, length in self._pieces(route, rays, points, lit, left):
                left[index] *= passed(self.shapes, at, way, length)
            share[lit] *= left
        return share

    def passed_alone(self, route: Route, rays: Rays, points: FloatArray) -> FloatArray:
        """Share of each ray that each solid alone would let through, shape (n_solid, n_ray)."""
        share = np.ones((self.shapes.kind.size, rays.point.size))
        lit = np.flatnonzero(rays.gain_per_m2)
        for index, at, way, length in self._pieces(route, rays, points, lit, np.ones(lit.size)):
            line, solid, dims = dimmed(self.shapes, at, way, length)
            np.multiply.at(share, (solid, lit[index[line]]), dims)
        return share

    def _pieces(
        self, route: Route, rays: Rays, points: FloatArray, lit: IntArray, left: FloatArray
    ) -> Iterator[tuple[IntArray, FloatArray, FloatArray, FloatArray]]:
        """Straight pieces of some rays from their place up: which of them, starts, ways and lengths.

        A ray of which nothing is ``left`` is followed no further.
        """
        at = points[:, rays.point[lit]]
        under = np.flatnonzero(at[2] < self.shapes.top_m)
        lit, at = lit[under], at[:, under]
        way, stay, hits = _backwards(route, rays, lit)
        tank, n, index = route.tank, route.index, under
        while index.size:
            length, axis = _leg(tank, at, way, hits)
            # nothing stands above the highest solid
            tall = (self.shapes.top_m - at[2]) / way[2]
            within = np.flatnonzero(tall > 0)
            yield index[within], at[:, within], way[:, within], np.minimum(length[within], tall[within])
            go_on = np.flatnonzero((axis >= 0) & (tall > length) & (left[index] > 0))
            at = at[:, go_on] + way[:, go_on] * length[go_on]
            way, stay, hits, axis, index = (
                way[:, go_on],
                stay[:, go_on],
                hits[:, go_on],
                axis[go_on],
                index[go_on],
            )
            each = np.arange(go_on.size)
            along = n * stay[axis, each] * way
            along[axis, each] = 0.0
            long = np.sqrt((along * along).sum(axis=0))
            some = np.flatnonzero(long > 0)
            yield index[some], at[:, some], along[:, some] / long[some], long[some]
            at = at + along
            hits[axis, each] -= 1
            way[axis, each] *= -1

    def _under_braces(self, route: Route, rays: Rays, lit: IntArray) -> FloatArray:
        """Share of each of some rays that braces at the rim let through."""
        share = np.ones(lit.size)
        height = route.cells.height_m
        if route.lamp != STRAIGHT or height <= route.tank.rim_m:
            return share
        cell = rays.cell[lit]
        drop = (height - route.tank.rim_m) / rays.cosine[lit]
        x = route.cells.x_m[cell] + rays.k_x[lit] * drop
        y = route.cells.y_m[cell] + rays.k_y[lit] * drop
        for brace in self.braces:
            (x0, y0), (x1, y1) = brace.from_m, brace.to_m
            span = float(np.hypot(x1 - x0, y1 - y0))
            to_x, to_y = (x1 - x0) / span, (y1 - y0) / span
            along = (x - x0) * to_x + (y - y0) * to_y
            beside = np.abs((y - y0) * to_x - (x - x0) * to_y)
            under = (along >= 0) & (along <= span) & (beside <= 0.5 * brace.width_m)
            share[under] *= brace.passes
        return share


def shade_of(solids: Sequence[Solid], braces: Sequence[Brace]) -> Shade:
    """What solids and braces hold back.

    Parameters
    ----------
    solids, braces : sequences
    """
    return Shade(shapes_of(solids), tuple(braces))


def towards_lamp(route: Route, rays: Rays, which: IntArray | slice = slice(None)) -> FloatArray:
    """Unit vectors from places to where their light comes from, in the tank itself, shape (3, n).

    Parameters
    ----------
    route : Route
    rays : Rays
    which : array or slice

    Source
    ------
    Snell's law; an image's sign turns its ray into that of the tank.
    """
    k = [rays.k_x[which], rays.k_y[which]]
    for axis, far in enumerate(route.lamp.far_panes):
        if far is not None:
            k[axis] = -k[axis]
    k_x = route.images_x.sign[rays.image_x[which]] * k[0]
    k_y = route.images_y.sign[rays.image_y[which]] * k[1]
    up = np.sqrt(np.maximum(route.index**2 - k_x * k_x - k_y * k_y, 0.0))
    return np.asarray(np.stack((-k_x, -k_y, up)) / route.index)


def _backwards(route: Route, rays: Rays, which: IntArray) -> tuple[FloatArray, FloatArray, IntArray]:
    """Ways (3, n), stays at each pane over the index (2, n), and reflections along each axis (2, n)."""
    way = towards_lamp(route, rays, which)
    stays, hits = [], []
    for axis, (images, ray) in enumerate(
        ((route.images_x, rays.image_x[which]), (route.images_y, rays.image_y[which]))
    ):
        number = np.abs(images.number[ray])
        glass = images.glass_m[ray] / np.maximum(number, 1)
        k = np.abs(way[axis]) * route.index
        stay, behind = pane_stay(k, glass, route.index, route.tank.glass_index), images.face[ray] == BEHIND
        stay[behind] = pane_stay(k[behind], glass[behind], route.index, route.tank.glass_index, behind=True)
        stays.append(stay)
        hits.append(number)
    return way, np.stack(stays), np.stack(hits)


def _leg(tank: Tank, at: FloatArray, way: FloatArray, hits: IntArray) -> tuple[FloatArray, IntArray]:
    """Length of a ray's next straight piece, and the axis of the pane that ends it, -1 for the surface."""
    length = -at[2] / way[2]
    axis = np.full(length.size, -1, dtype=np.intp)
    for which, span in enumerate((tank.length_m, tank.width_m)):
        speed = way[which]
        goal = np.where(speed > 0, span, 0.0)
        moves = (hits[which] > 0) & (speed != 0)
        when = np.maximum((goal - at[which]) / np.where(moves, speed, 1.0), 0.0)
        sooner = moves & (when < length)
        length = np.where(sooner, when, length)
        axis = np.where(sooner, which, axis)
    return length, axis
