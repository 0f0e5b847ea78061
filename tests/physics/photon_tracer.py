"""An independent check on the light field: photons followed one by one through explicit panes of glass.

It shares no formula with lightdose.physics but Fresnel's and Snell's laws: no mirror images, no flux tubes,
no displacement rule. A pane is a slab in which a photon travels, corners are joined glass, the floor scatters
at random. Slow and noisy by nature; entry points come from a low-discrepancy sequence, the rest from a seeded
generator.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

GOLDEN = np.array([0.8191725133961645, 0.6710436067037893, 0.5497004779019703, 0.4503014539434894])
"""Powers of the reciprocal of the real root of x^5 = x + 1: steps of a low-discrepancy sequence in 4-D."""


@dataclass
class Box:
    """A tank in the tracer's own terms: x 0..L, y 0..W, z up from the floor, water to z = D.

    ``walls`` are "glass", "black", "glass_black" or a number, for x low, x high, y low, y high.
    """

    length: float
    width: float
    depth: float
    walls: tuple[str | float, str | float, str | float, str | float] = ("glass",) * 4
    n: float = 1.34
    n_glass: float = 1.52
    glass: float = 0.01
    rim: float = 0.0
    floor: float = 0.4


@dataclass
class Source:
    """A rectangle of size (sx, sy) that shines down, turned by ``turn`` radians; ``lobe(angle, azimuth)``."""

    x: float
    y: float
    height: float
    lobe: object
    size: tuple[float, float] = (0.0, 0.0)
    turn: float = 0.0


@dataclass
class Counter:
    """Collects photons that go down through planes, in square cells, for several absorptions."""

    box: Box
    planes: tuple[float, ...]
    absorptions: tuple[float, ...]
    cells: tuple[int, int]
    total: np.ndarray = field(init=False)

    def __post_init__(self) -> None:
        self.total = np.zeros((len(self.planes), len(self.absorptions), self.cells[0] * self.cells[1]))

    def watch(
        self, before: np.ndarray, step: np.ndarray, k: np.ndarray, path: np.ndarray, w: np.ndarray
    ) -> None:
        """Count the downward crossings of a step through water."""
        for p, level in enumerate(self.planes):
            went = (before[2] > level) & (before[2] + k[2] * step <= level)
            if not went.any():
                continue
            share = (level - before[2, went]) / k[2, went]
            x, y = before[0, went] + k[0, went] * share, before[1, went] + k[1, went] * share
            i = np.clip((x / self.box.length * self.cells[0]).astype(int), 0, self.cells[0] - 1)
            j = np.clip((y / self.box.width * self.cells[1]).astype(int), 0, self.cells[1] - 1)
            way = path[went] + share * self.box.n
            for a, absorption in enumerate(self.absorptions):
                self.total[p, a] += np.bincount(
                    i * self.cells[1] + j, w[went] * np.exp(-absorption * way), self.total.shape[2]
                )

    def irradiance(self) -> np.ndarray:
        """Mean irradiance of the cells, (plane, absorption, x, y)."""
        area = self.box.length * self.box.width / (self.cells[0] * self.cells[1])
        return (self.total / area).reshape(*self.total.shape[:2], *self.cells)


def _fresnel(one: np.ndarray, other: np.ndarray, n_one: float, n_other: float) -> np.ndarray:
    """Unpolarised reflectance from the normal components of the wave vector on both sides."""
    s = (one - other) / (one + other)
    p = (n_other**2 * one - n_one**2 * other) / (n_other**2 * one + n_one**2 * other)
    return 0.5 * (s * s + p * p)


def _emit(
    box: Box, source: Source, first: int, count: int, rng: np.random.Generator
) -> tuple[np.ndarray, ...]:
    """Photons at the lamp aimed at points of the water's plane, beyond the opening when there is a rim."""
    number = (np.arange(first, first + count)[:, None] * GOLDEN + rng.random(4)) % 1.0
    sides = np.array([source.x, box.length - source.x, source.y, box.width - source.y])
    steep = box.rim / max(source.height - box.rim, 0.25 * box.rim) if box.rim else 0.0
    margin = np.minimum((np.abs(sides) + 0.5 * max(source.size)) * steep, 3 * source.height)
    low = -margin[[0, 2]]
    span = np.array([box.length, box.width]) + margin[[0, 2]] + margin[[1, 3]]
    aim = low + number[:, :2] * span
    on_x, on_y = (number[:, 2] - 0.5) * source.size[0], (number[:, 3] - 0.5) * source.size[1]
    start_x = source.x + np.cos(source.turn) * on_x - np.sin(source.turn) * on_y
    start_y = source.y + np.sin(source.turn) * on_x + np.cos(source.turn) * on_y
    way = np.stack((aim[:, 0] - start_x, aim[:, 1] - start_y, np.full(count, -source.height)))
    far = np.sqrt((way**2).sum(axis=0))
    k = way / far
    azimuth = np.arctan2(k[1], k[0]) - source.turn
    intensity = source.lobe(np.arccos(-k[2]), azimuth)
    w = intensity * -k[2] / far**2 * span[0] * span[1] / count
    return np.stack((start_x, start_y, np.full(count, box.depth + source.height))), k, w


def _rim(
    box: Box, at: np.ndarray, k: np.ndarray, w: np.ndarray, rng: np.random.Generator
) -> tuple[np.ndarray, ...]:
    """Follow photons through the air down to the water's plane, by way of the rim's panes."""
    for _ in range(6):
        left = (at[2] - box.depth) / -k[2]
        hit, axis_hit = left.copy(), np.full(left.size, -1)
        for axis, span in ((0, box.length), (1, box.width)):
            for plane in (0.0, span):
                with np.errstate(divide="ignore", invalid="ignore"):
                    when = (plane - at[axis]) / k[axis]
                height = at[2] + k[2] * when - box.depth
                on_pane = (when > 1e-12) & (when < hit) & (height < box.rim)
                other = 1 - axis
                across = at[other] + k[other] * when
                on_pane &= (across >= 0) & (across <= (box.width if axis == 0 else box.length))
                hit = np.where(on_pane, when, hit)
                axis_hit = np.where(on_pane, 2 * axis + (plane > 0), axis_hit)
        met = axis_hit >= 0
        if not met.any():
            break
        at = at + k * np.where(met, hit, 0.0)
        for side in range(4):
            axis, high = divmod(side, 2)
            on = np.flatnonzero(axis_hit == side)
            if on.size == 0:
                continue
            if box.walls[side] == "black":
                w[on] = 0
                continue
            speed = np.abs(k[axis, on])
            inside = np.sqrt(box.n_glass**2 - 1 + speed**2)
            r = _fresnel(speed, inside, 1.0, box.n_glass)
            outward = (k[axis, on] > 0) == bool(high)
            bounces, alive = np.zeros(on.size), rng.random(on.size) > r
            while alive.any():  # inside the pane: across to the other face, back, until it leaves
                bounces[alive] += 1
                alive &= rng.random(on.size) < r
            across = bounces % 2 == 1
            w[on[across & outward]] = 0
            w[on[~across & ~outward]] = 0
            stay = bounces * box.glass / inside
            other = 1 - axis
            at[other, on] += k[other, on] * stay
            at[2, on] += k[2, on] * stay
            back = outward & ~across
            k[axis, on[back]] *= -1
            at[axis, on] += np.sign(k[axis, on]) * 1e-12
        w[at[2] < box.depth] = 0
    left = (at[2] - box.depth) / -k[2]
    at = at + k * left
    inside_opening = (at[0] >= 0) & (at[0] <= box.length) & (at[1] >= 0) & (at[1] <= box.width)
    return at, k, np.where(inside_opening, w, 0.0)


def _next_face(
    box: Box, at: np.ndarray, k: np.ndarray, in_glass: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Time to the next face and its code: axis * 4 + (0 low, 1 high, 2 low outer, 3 high outer)."""
    spans = (box.length, box.width)
    best = np.full(at.shape[1], np.inf)
    code = np.full(at.shape[1], -1)
    for axis in (0, 1):
        planes = (0.0, spans[axis], -box.glass, spans[axis] + box.glass)
        for which, plane in enumerate(planes):
            with np.errstate(divide="ignore", invalid="ignore"):
                when = (plane - at[axis]) / k[axis]
            good = (when > 1e-13) & (when < best)
            if which < 2:
                across = at[1 - axis] + k[1 - axis] * when
                good &= ~in_glass | ((across > 0) & (across < spans[1 - axis]))
            else:
                good &= in_glass
            best = np.where(good, when, best)
            code = np.where(good, 4 * axis + which, code)
    for which, plane in ((8, 0.0), (9, box.depth)):
        with np.errstate(divide="ignore", invalid="ignore"):
            when = (plane - at[2]) / k[2]
        good = (when > 1e-13) & (when < best)
        best = np.where(good, when, best)
        code = np.where(good, which, code)
    return best, code


def _meet_wall(
    box: Box, face: int, k: np.ndarray, glass: np.ndarray, w: np.ndarray, draw: np.ndarray
) -> None:
    """Change photons that stand at one face, in place; arrays hold those photons only."""
    axis, which = divmod(face, 4)
    kind = box.walls[2 * axis + which % 2]
    if which < 2 and kind == "black":
        w[:] = 0
        return
    if which < 2 and isinstance(kind, float):
        w *= kind
        k[axis] *= -1
        return
    if which >= 2:
        if kind == "glass_black" or kind == "black" or isinstance(kind, float):
            w[:] = 0
            return
        inside = np.abs(k[axis])
        square = 1 - box.n_glass**2 + inside**2
        outside = np.sqrt(np.maximum(square, 0))
        r = np.where(square <= 0, 1.0, _fresnel(inside, outside, box.n_glass, 1.0))
        w *= r
        k[axis] *= -1
        return
    here = np.abs(k[axis])
    n_here, n_there = np.where(glass, box.n_glass, box.n), np.where(glass, box.n, box.n_glass)
    square = here**2 + n_there**2 - n_here**2
    there = np.sqrt(np.maximum(square, 0))
    s = (here - there) / (here + there)
    p = (n_there**2 * here - n_here**2 * there) / (n_there**2 * here + n_here**2 * there)
    r = np.where(square <= 0, 1.0, 0.5 * (s * s + p * p))
    back = draw < r
    k[axis] = np.where(back, -k[axis], np.sign(k[axis]) * there)
    glass ^= ~back


def _dive(
    box: Box, counter: Counter, at: np.ndarray, k: np.ndarray, w: np.ndarray, rng: np.random.Generator
) -> None:
    """Follow photons that stand just under the surface until they are spent."""
    glass = np.zeros(w.size, dtype=bool)
    path = np.zeros(w.size)
    least = 2e-4 * w
    for _ in range(400):
        live = w > least
        if not live.any():
            return
        at, k, w, glass, path, least = at[:, live], k[:, live], w[live], glass[live], path[live], least[live]
        step, face = _next_face(box, at, k, glass)
        wet = np.flatnonzero(~glass)
        counter.watch(at[:, wet], step[wet], k[:, wet], path[wet], w[wet])
        path += np.where(glass, 0.0, box.n * step)
        at = at + k * step
        w[(face < 0) | (glass & (face >= 8))] = 0
        for code in range(8):
            on = np.flatnonzero((face == code) & (w > 0))
            if on.size:
                part_k, part_glass, part_w = k[:, on], glass[on], w[on]
                _meet_wall(box, code, part_k, part_glass, part_w, rng.random(on.size))
                k[:, on], glass[on], w[on] = part_k, part_glass, part_w
        low = np.flatnonzero((face == 8) & ~glass & (w > 0))
        w[low] *= box.floor
        rise, around = rng.random(low.size), 2 * np.pi * rng.random(low.size)
        sine = np.sqrt(1 - rise)
        k[:, low] = box.n * np.stack((sine * np.cos(around), sine * np.sin(around), np.sqrt(rise)))
        top = np.flatnonzero((face == 9) & ~glass & (w > 0))
        if top.size:
            square = 1 - box.n**2 + k[2, top] ** 2
            r = np.where(square <= 0, 1.0, _fresnel(k[2, top], np.sqrt(np.maximum(square, 0)), box.n, 1.0))
            w[top] *= r
            k[2, top] *= -1


def trace(box: Box, source: Source, counter: Counter, photons: int, seed: int) -> None:
    """Follow ``photons`` from a source and add them to the counter."""
    rng = np.random.default_rng(seed)
    at, k, w = _emit(box, source, 0, photons, rng)
    at, k, w = _rim(box, at, k, w, rng)
    keep = w > 0
    at, k, w = at[:, keep], k[:, keep], w[keep]
    down = np.sqrt(box.n**2 - 1 + k[2] ** 2)
    if box.n != 1.0:
        w = w * (1 - _fresnel(-k[2], down, 1.0, box.n))
    k = np.stack((k[0], k[1], -down))
    at[2] = box.depth
    _dive(box, counter, at, k, w, rng)
