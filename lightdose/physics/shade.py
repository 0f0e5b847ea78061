"""Rays between lamps and places that solids hold back.

A ray is followed from its place towards the lamp, off the panes that its mirror image stands for, up to the
surface; while it is in a pane it goes on along it. Braces in the air dim the straight beam. A ray stands for
a cell of the lamp: at the edge of a shadow it is followed to several places in the cell.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

import numpy as np

from lightdose.model.record import FloatArray, dataclass
from lightdose.model.setup import Tank
from lightdose.model.solids import Brace, Solid
from lightdose.physics.light_paths import Rays, Route
from lightdose.physics.solid_shapes import BoolArray, IntArray, Shapes, dimmed, passed, shapes_of
from lightdose.physics.walls import BEHIND, STRAIGHT, pane_stay

COST_OF_THE_FIRST, FIRST, COST_A_SOLID = 0.2, 12, 0.008
"""What each of the first dozen solids adds to the cost of a ray, and each of all: most of many stand far from
most rays. By measurement among 1 to 500 solids, as an upper limit."""


LEAST_UP = 1e-12
"""Square of the upward part of a ray's wave vector at least."""

INNER = 1
"""Place in a cell from which a ray is asked once: the first that does not lie on the outline of the lamp."""

SHARES_AT_ONCE = 100_000
"""So many shares are asked for at once, which bounds the memory that they take."""

LEAST_SPREAD = 1e-3
"""Variance of what is left of rays from one image of a lamp beyond which it counts as partly covered."""


Ask = Callable[[Route, Rays, FloatArray, IntArray, IntArray | None], FloatArray]
"""What is left of some rays, from each of some places in their cells, (n_place, n_share, n)."""


@dataclass(frozen=True, eq=False)
class Shade:
    """What stands in the way of rays.

    ``once``: each ray is followed to its own start alone. For the light on patches, where edges even out.
    """

    shapes: Shapes
    braces: tuple[Brace, ...] = ()
    once: bool = False

    @property
    def cost(self) -> float:
        """What a ray costs, over one in a tank where nothing stands; by measurement."""
        count = self.shapes.kind.size + len(self.braces)
        return 1 + COST_OF_THE_FIRST * min(count, FIRST) + COST_A_SOLID * count

    def passed(self, route: Route, rays: Rays, points: FloatArray) -> FloatArray:
        """Share of each ray that comes to its place among points (3, n_point), x, y, up.

        Where some cells of a lamp are seen from a place and others are not, each is asked at several places.
        """
        share = np.ones(rays.point.size)
        lit = np.flatnonzero(rays.gain_per_m2)
        if lit.size and self.braces:
            share[lit] *= self._under_braces(route, rays, lit)
        if lit.size and self.shapes.kind.size:
            share[lit] *= self._through(route, rays, points, lit, self._left)[0]
        return share

    def passed_alone(self, route: Route, rays: Rays, points: FloatArray) -> FloatArray:
        """Share of each ray that each solid alone would let through, shape (n_solid, n_ray)."""
        share = np.ones((self.shapes.kind.size, rays.point.size))
        lit = np.flatnonzero(rays.gain_per_m2)
        if lit.size:
            share[:, lit] = self._through(route, rays, points, lit, self._left_by_each)
        return share

    def _through(self, route: Route, rays: Rays, points: FloatArray, lit: IntArray, ask: Ask) -> FloatArray:
        """Shares of some rays that are let through, (n_share, n); at edges of shadows means over places."""
        if self.once:
            return np.asarray(ask(route, rays, points, lit, None)[0])
        first, places = route.cells.asked_first, len(route.cells.asked_x_m)
        each = ask(route, rays, points, lit, np.arange(first))
        edges = np.stack([_at_an_edge(route, rays, lit, shares) for shares in each.swapaxes(0, 1)])
        some, left = np.flatnonzero(edges.any(axis=0)), each[-1]
        if some.size:
            whole = each[1:, :, some].sum(axis=0)
            size = max(1, SHARES_AT_ONCE // whole.size)
            for start in range(first, places, size):
                further = np.arange(start, min(start + size, places))
                whole += ask(route, rays, points, lit[some], further).sum(axis=0)
            left[:, some] = np.where(edges[:, some], whole / (places - 1), left[:, some])
        return np.asarray(left)

    def _left(
        self, route: Route, rays: Rays, points: FloatArray, lit: IntArray, asked: IntArray | None
    ) -> FloatArray:
        """What all solids leave of some rays, from each of some places in their cells, (n_place, 1, n)."""
        lit, place, count = _from_places(lit, asked)
        left = np.ones(lit.size)
        for index, at, way, length in self._pieces(route, rays, points, lit, place, left):
            left[index] *= passed(self.shapes, at, way, length)
        return left.reshape(count, 1, -1)

    def _left_by_each(
        self, route: Route, rays: Rays, points: FloatArray, lit: IntArray, asked: IntArray | None
    ) -> FloatArray:
        """What each solid alone leaves of some rays, as ``_left``, (n_place, n_solid, n)."""
        lit, place, count = _from_places(lit, asked)
        left = np.ones((self.shapes.kind.size, lit.size))
        for index, at, way, length in self._pieces(route, rays, points, lit, place, np.ones(lit.size)):
            line, solid, dims = dimmed(self.shapes, at, way, length)
            np.multiply.at(left, (solid, index[line]), dims)
        return left.reshape(len(left), count, -1).swapaxes(0, 1)

    def _pieces(
        self,
        route: Route,
        rays: Rays,
        points: FloatArray,
        lit: IntArray,
        place: IntArray | None,
        left: FloatArray,
    ) -> Iterator[tuple[IntArray, FloatArray, FloatArray, FloatArray]]:
        """Straight pieces of some rays from their place up: which of them, starts, ways and lengths.

        A ray of which nothing is ``left`` is followed no further.
        """
        at = points[:, rays.point[lit]]
        under = np.flatnonzero(at[2] < self.shapes.top_m)
        lit, at = lit[under], at[:, under]
        place = place if place is None else place[under]
        way, stay, hits = _backwards(route, rays, lit, place)
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
        cells, cell = route.cells, rays.cell[lit]
        place = np.full(lit.size, INNER)
        k_x, k_y = _asked(route, rays, lit, place)
        drop = (height - route.tank.rim_m) / np.sqrt(np.maximum(1 - k_x * k_x - k_y * k_y, LEAST_UP))
        x = cells.x_m[cell] + cells.asked_x_m[place, cell] + k_x * drop
        y = cells.y_m[cell] + cells.asked_y_m[place, cell] + k_y * drop
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
    return _in_tank(route, rays, which, *_of_image(route, rays, which))


def _of_image(route: Route, rays: Rays, which: IntArray | slice) -> tuple[FloatArray, FloatArray]:
    """Level wave vectors of rays where the image of the lamp stands."""
    k_x, k_y = (
        k if far is None else -k
        for k, far in zip((rays.k_x[which], rays.k_y[which]), route.lamp.far_panes, strict=True)
    )
    return k_x, k_y


def _in_tank(
    route: Route, rays: Rays, which: IntArray | slice, k_x: FloatArray, k_y: FloatArray
) -> FloatArray:
    """Unit vectors (3, n) towards the light, of level wave vectors where the image of the lamp stands."""
    x = route.images_x.sign[rays.image_x[which]] * k_x
    y = route.images_y.sign[rays.image_y[which]] * k_y
    up = np.sqrt(np.maximum(route.index**2 - x * x - y * y, LEAST_UP))
    return np.asarray(np.stack((-x, -y, up)) / route.index)


def _asked(route: Route, rays: Rays, which: IntArray, place: IntArray) -> tuple[FloatArray, FloatArray]:
    """Level wave vectors of rays to where they go from places in their cells, to first order.

    With g0 and g1 as in ``solved_rays.rays``, a lamp that moves by o in the ray's own direction turns it by
    -o / g1, across it by -o / g0.
    """
    k_x, k_y = _of_image(route, rays, which)
    cell, c, path = rays.cell[which], rays.cosine[which], rays.path_m[which]
    o_x, o_y = route.cells.asked_x_m[place, cell], route.cells.asked_y_m[place, cell]
    k2, h, n = k_x * k_x + k_y * k_y, route.cells.height_m, route.index
    across = 1 / (h / c + path / n)
    along = 1 / (h / c**3 + path * n / np.maximum(n * n - k2, LEAST_UP))
    more = np.divide(
        (along - across) * (o_x * k_x + o_y * k_y), k2, out=np.zeros_like(k2), where=k2 > LEAST_UP
    )
    return k_x - across * o_x - more * k_x, k_y - across * o_y - more * k_y


def _backwards(
    route: Route, rays: Rays, which: IntArray, place: IntArray | None
) -> tuple[FloatArray, FloatArray, IntArray]:
    """Ways (3, n), stays at each pane over the index (2, n), and reflections along each axis (2, n)."""
    if place is None:
        way = towards_lamp(route, rays, which)
    else:
        way = _in_tank(route, rays, which, *_asked(route, rays, which, place))
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


def _from_places(lit: IntArray, asked: IntArray | None) -> tuple[IntArray, IntArray | None, int]:
    """Rays once for each place that is asked, the place of each, and how many places there are."""
    if asked is None:
        return lit, None, 1
    return np.tile(lit, asked.size), np.repeat(asked, lit.size), asked.size


def _at_an_edge(route: Route, rays: Rays, lit: IntArray, each: FloatArray) -> BoolArray:
    """Whether the image of the lamp that some rays come from, seen from their place, is partly covered.

    ``each`` is what is left of each ray from some places of its cell, (n_place, n).
    """
    images = route.images_x.sign.size, route.images_y.sign.size
    point, x, y = rays.point[lit], rays.image_x[lit], rays.image_y[lit]
    seen = (point * images[0] + x) * images[1] + y
    count = np.maximum(np.bincount(seen) * len(each), 1)
    mean = np.bincount(seen, each.sum(axis=0)) / count
    spread = np.bincount(seen, (each * each).sum(axis=0)) / count - mean * mean
    return np.asarray(spread[seen] > LEAST_SPREAD)


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
