"""What each point sees of the lamp in which mirror images: rays worth computing, like ones side by side.

A ray is known by its pair of images, along x and along y. Rays to which panes do the same follow one another
in every list, so that what a pane does is computed for a whole stretch of the list at once, and for no ray
without that pane. The light of a pane's front face and that from behind it start with one solution.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import numpy.typing as npt

from lightdose.model.record import FloatArray, dataclass
from lightdose.physics.light_paths import Route, possible
from lightdose.physics.walls import FRONT, WHOLE, AxisImages

IntArray = npt.NDArray[np.intp]
Stretches = list[tuple[int, slice]]
"""Of each stretch of a list what its rays see of a pane, ``walls.PLAIN`` and so on, and where it stands."""


@dataclass(frozen=True, eq=False)
class ImagePairs:
    """Pairs of an image along x and one along y; arrays of shape (n_pair,).

    Attributes
    ----------
    image_x, image_y : index into the images of each axis
    face_x, face_y : what their rays see of a pane along each axis
    sight : the sight that each pair shares with others: a pane's front face and what is behind it are seen
        in one direction, until the way in the glass is minded
    sight_x, sight_y : the images of each sight, none of them of a front face
    """

    image_x: IntArray
    image_y: IntArray
    face_x: IntArray
    face_y: IntArray
    sight: IntArray
    sight_x: IntArray
    sight_y: IntArray

    def rays(self, count: IntArray) -> tuple[IntArray, IntArray | None]:
        """How many rays each pair has, and of each ray which one of its sight it is; None for all in turn.

        Parameters
        ----------
        count : array, shape (n_sight,)
            Rays of each sight; those of one sight follow one another.
        """
        if self.sight.size == self.sight_x.size:
            return count, None
        own = count[self.sight]
        shift = (np.cumsum(count) - count)[self.sight] - (np.cumsum(own) - own)
        return own, np.arange(int(own.sum())) + np.repeat(shift, own)


@lru_cache(maxsize=64)
def image_pairs(x: AxisImages, y: AxisImages) -> ImagePairs:
    """All pairs: first those whose rays are displaced by no pane, then those along y, both, and x alone.

    Parameters
    ----------
    x, y : AxisImages

    Source
    ------
    Our choice: neighbours differ along one axis where they can, so that stretches are long.
    """
    image_x, image_y = np.divmod(np.arange(x.number.size * y.number.size), y.number.size)
    face_x, face_y = x.face[image_x], y.face[image_y]
    moved_x, moved_y = face_x >= WHOLE, face_y >= WHOLE
    group = np.where(moved_x, 3 - moved_y, moved_y)
    by_x = np.where(group % 2 == 0, face_x, -face_x)
    by_y = np.where((group + face_x) % 2 == 0, face_y, -face_y)
    order = np.lexsort((by_y, by_x, group))
    image_x, image_y, face_x, face_y = image_x[order], image_y[order], face_x[order], face_y[order]
    seen = np.flatnonzero((face_x != FRONT) & (face_y != FRONT))
    sight_of = np.zeros((x.number.size, y.number.size), dtype=np.intp)
    sight_of[image_x[seen], image_y[seen]] = np.arange(seen.size)
    sight = sight_of[_without_front(x)[image_x], _without_front(y)[image_y]]
    return ImagePairs(image_x, image_y, face_x, face_y, sight, image_x[seen], image_y[seen])


def _without_front(images: AxisImages) -> IntArray:
    """For each image the one of the same number that is of no front face, shape (n_image,)."""
    rest = np.flatnonzero(images.face != FRONT)
    alike = images.number[:, None] == images.number[rest]
    return np.asarray(rest[np.argmax(alike, axis=1)])


def stretches(face: IntArray, ray_count: IntArray) -> Stretches:
    """Stretches of a list of rays that see the same of a pane.

    Parameters
    ----------
    face : array, shape (n_pair,)
        What the rays of each pair see.
    ray_count : array, shape (n_pair,)
        How many rays it has.
    """
    some = np.flatnonzero(ray_count)
    if some.size == 0:
        return []
    face, end = face[some], np.cumsum(ray_count[some])
    last = np.append(np.flatnonzero(np.diff(face)), some.size - 1)
    ends = end[last].tolist()
    starts = [0, *ends[:-1]]
    return [(int(f), slice(a, b)) for f, a, b in zip(face[last], starts, ends, strict=True)]


@dataclass(frozen=True, eq=False)
class Sights:
    """Directions worth computing: a pair of images that a point may see from a cell.

    Attributes
    ----------
    pairs : ImagePairs
    count : array, shape (n_sight,); how many of each sight, one after the other
    cell, point : array, shape (n,)
    away_m : array, shape (2, n); from the cell to the image, along x and y. [m]
    """

    pairs: ImagePairs
    count: IntArray
    cell: IntArray
    point: IntArray
    away_m: FloatArray


def sights(route: Route, x_m: FloatArray, y_m: FloatArray, depth_m: FloatArray) -> Sights:
    """What points under water may see by a route.

    Parameters
    ----------
    route : Route
    x_m, y_m, depth_m : array, shape (n_point,)
        Points; depth 0 or more. [m]
    """
    cells, pairs = route.cells, image_pairs(route.images_x, route.images_y)
    shape = (cells.x_m.size, x_m.size)
    seen, away = [], []
    for images, at_m, cell_at, spread, lit in (
        (route.images_x, x_m, cells.x_m, cells.spread_x_m, route.lit_x_m),
        (route.images_y, y_m, cells.y_m, cells.spread_y_m, route.lit_y_m),
    ):
        stand = images.sign[:, None] * at_m + images.offset_m[:, None]
        reached = possible(stand, depth_m, cell_at, spread, lit, cells.height_m, route.index)
        seen.append(reached.reshape(images.number.size, shape[0] * shape[1]))
        away.append((stand[:, None, :] - cell_at[:, None]).reshape(seen[-1].shape))
    both = seen[0][pairs.sight_x] & seen[1][pairs.sight_y]
    count = np.count_nonzero(both, axis=1)
    place = np.flatnonzero(both)
    place -= np.repeat(np.arange(count.size) * both.shape[1], count)
    by_axis = [
        values.ravel()[place + np.repeat(image * both.shape[1], count)]
        for values, image in zip(away, (pairs.sight_x, pairs.sight_y), strict=True)
    ]
    cell, point = (number.ravel()[place] for number in np.indices(shape))
    return Sights(pairs, count, cell, point, np.stack(by_axis))


def ray_count(route: Route, x_m: FloatArray, y_m: FloatArray, depth_m: FloatArray) -> int:
    """How many rays of a route are worth computing to points under water.

    Parameters
    ----------
    route : Route
    x_m, y_m, depth_m : array, shape (n_point,)
        [m]
    """
    found = sights(route, x_m, y_m, depth_m)
    return int(np.sum(found.count[found.pairs.sight]))
