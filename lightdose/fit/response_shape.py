"""How each reading answers to each channel, and how that changes with beams, heights and yellowing.

The light field is computed at a few beam widths (one pass: lobes share their rays), two other heights and a
few waters; between them the logarithm of the response is interpolated. The three act as factors on one
another, which is exact for one at a time and good to a percent or two for small heights and weak yellowing.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from lightdose.model.fixture import Beam, CosineLobe, Fixture, Programme
from lightdose.model.record import FloatArray, dataclass
from lightdose.physics.emission import cosine_exponent


class NodeSpline:
    """The twice smooth curve through nodes whose third derivative is smooth at the first and last inner node.

    Parameters
    ----------
    nodes : n >= 4 rising numbers
    values : array, shape (n, ...)

    Source
    ------
    Cubic spline with "not-a-knot" ends: de Boor, A Practical Guide to Splines (from memory).
    """

    def __init__(
        self, nodes: Sequence[float] | FloatArray, values: Sequence[FloatArray] | FloatArray
    ) -> None:
        self.nodes = np.asarray(nodes, dtype=np.float64)
        self.values = np.asarray(values, dtype=np.float64)
        width = np.diff(self.nodes)
        rise = np.diff(self.values, axis=0) / width.reshape(-1, *[1] * (self.values.ndim - 1))
        count = self.nodes.size
        left = np.zeros((count, count))
        right = np.zeros_like(self.values)
        left[0, :3] = width[1], -(width[0] + width[1]), width[0]
        left[-1, -3:] = width[-1], -(width[-2] + width[-1]), width[-2]
        for n in range(1, count - 1):
            left[n, n - 1 : n + 2] = width[n - 1], 2 * (width[n - 1] + width[n]), width[n]
            right[n] = 6 * (rise[n] - rise[n - 1])
        flat = right.reshape(count, -1)
        self.bend = np.linalg.solve(left, flat).reshape(self.values.shape)

    def among(self, rows: Sequence[int]) -> NodeSpline:
        """The curves of some rows of the values."""
        return NodeSpline(self.nodes, self.values[:, list(rows)])

    def __call__(self, at: float, derivative: int = 0) -> FloatArray:
        """The value at one place, or its first derivative; beyond the nodes the end pieces go on."""
        n = int(np.clip(np.searchsorted(self.nodes, at, side="right") - 1, 0, self.nodes.size - 2))
        width = self.nodes[n + 1] - self.nodes[n]
        before, after = (self.nodes[n + 1] - at) / width, (at - self.nodes[n]) / width
        low, high, low_bend, high_bend = self.values[n], self.values[n + 1], self.bend[n], self.bend[n + 1]
        if derivative:
            return np.asarray(
                (high - low) / width
                + width / 6 * ((3 * after**2 - 1) * high_bend - (3 * before**2 - 1) * low_bend)
            )
        return np.asarray(
            before * low
            + after * high
            + width**2 / 6 * ((before**3 - before) * low_bend + (after**3 - after) * high_bend)
        )


NARROWEST_DEG, WIDEST_DEG = 16.0, 170.0
"""Beam widths that a fit may reach: our choice, from narrow lenses to beyond a bare LED. One that is stated
narrower or wider stays as narrow or as wide."""

LEAST_RANGE, SPREAD_RANGE = 0.99, 0.8
"""Where the narrowest channel leaves less than this between the widths of the widest, that one may still
narrow so far: our choice, so that the splines have a range."""

BEAM_NODES = 15
HEIGHT_STEP_M = 0.02
YELLOWING_NODES_PER_M = (0.0, 0.1, 0.3, 1.0, 3.0)
LEAST_RESPONSE = 1e-30
"""Keeps the logarithm finite where a lobe sends nothing."""

FieldAt = Callable[[Sequence[Fixture], float | None], FloatArray]
"""Response (n_reading, n_channel) of fixtures under a yellowing [m-1], or the setup's own for None."""


@dataclass(frozen=True, eq=False)
class ResponseShape:
    """Logarithm of the response of each reading to each channel, and its slopes.

    Attributes
    ----------
    base : array, shape (n, n_channel); as the setup states it
    channels_of : indices of the channels of each fixture whose beam is fitted
    beam_splines : for each of them, ln response (n, own channels) against ln beam factor
    beam_limits : lowest and highest ln beam factor of each
    height_channels, height_curves : channels of the fixtures whose height is fitted, and (rise, bend) against
        the shift in metres, each of shape (n, own channels)
    yellowing_spline : ln response against yellowing, or None
    """

    base: FloatArray
    channels_of: tuple[FloatArray, ...]
    beam_splines: tuple[NodeSpline, ...]
    beam_limits: tuple[tuple[float, float], ...]
    height_channels: tuple[FloatArray, ...] = ()
    height_curves: tuple[tuple[FloatArray, FloatArray], ...] = ()
    yellowing_spline: NodeSpline | None = None

    def among(self, rows: Sequence[int]) -> ResponseShape:
        """The shape of some readings."""
        kept = list(rows)
        return replace(
            self,
            base=self.base[kept],
            beam_splines=tuple(s.among(kept) for s in self.beam_splines),
            height_curves=tuple((rise[kept], bend[kept]) for rise, bend in self.height_curves),
            yellowing_spline=self.yellowing_spline and self.yellowing_spline.among(kept),
        )

    def at(
        self, beam: FloatArray, height_m: FloatArray, yellowing: float
    ) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """ln response (n, c) and its slopes with beam, height and yellowing, each (n, c)."""
        ln = self.base.copy()
        by_beam, by_height, by_yellowing = (np.zeros_like(ln) for _ in range(3))
        for value, channels, spline in zip(beam, self.channels_of, self.beam_splines, strict=True):
            ln[:, channels] += spline(value)
            by_beam[:, channels] = spline(value, 1)
        for shift, channels, (rise, bend) in zip(
            height_m, self.height_channels, self.height_curves, strict=True
        ):
            ln[:, channels] += rise * shift + bend * shift**2
            by_height[:, channels] = rise + 2 * bend * shift
        if self.yellowing_spline is not None:
            ln += self.yellowing_spline(yellowing)
            by_yellowing = self.yellowing_spline(yellowing, 1)
        return ln, by_beam, by_height, by_yellowing


def response_shape(
    fixtures: Sequence[Fixture],
    field_at: FieldAt,
    *,
    with_beam: Sequence[int],
    with_height: Sequence[int] = (),
    with_yellowing: bool = False,
) -> ResponseShape:
    """Evaluate the light field where the fit may go.

    Parameters
    ----------
    fixtures : the lit ones
    field_at : response of given fixtures (the channels may be repeated with other lobes) and yellowing
    with_beam, with_height : indices of the fixtures whose beam or height is fitted
    with_yellowing : whether yellowing is

    Source
    ------
    Cubic splines through computed nodes; spacing even in the logarithm of the lobe's exponent. Our choice.
    """
    first = np.cumsum([0, *(len(f.type.channels) for f in fixtures)])
    columns = [np.arange(first[i], first[i + 1]) for i in range(len(fixtures))]
    factors = [_beam_factors(fixtures[i]) for i in with_beam]
    base, beams = _beam_splines(fixtures, field_at, columns, list(with_beam), factors)
    curves = _height_curves(fixtures, field_at, base) if with_height else None
    return ResponseShape(
        base,
        tuple(columns[i] for i in with_beam),
        beams,
        tuple((f[0], f[-1]) for f in factors),
        tuple(columns[i] for i in with_height),
        tuple((curves[0][:, columns[i]], curves[1][:, columns[i]]) for i in with_height) if curves else (),
        _yellowing_spline(fixtures, field_at, base) if with_yellowing else None,
    )


def fitted_beam(beam: Beam, ln_factor: float) -> Beam:
    """A lobe with its width times a factor, kept within what a fit may reach.

    Parameters
    ----------
    beam : only cosine lobes change
    ln_factor : natural logarithm of the factor on the full width at half maximum

    Source
    ------
    Our choice: one factor on all cosine lobes of a fixture.
    """
    if not isinstance(beam, CosineLobe):
        return beam
    width = beam.fwhm_deg * math.exp(ln_factor)
    narrowest, widest = min(NARROWEST_DEG, beam.fwhm_deg), max(WIDEST_DEG, beam.fwhm_deg)
    return CosineLobe(min(max(width, narrowest), widest))


def _beam_factors(fixture: Fixture) -> list[float]:
    """ln of the factors at which the beam is computed, rising; 0 lies between, or is the first or last."""
    widths = [c.beam.fwhm_deg for c in fixture.type.channels if isinstance(c.beam, CosineLobe)]
    narrowest, widest = min(widths), max(widths)
    low, high = widest * min(NARROWEST_DEG, narrowest) / narrowest, max(WIDEST_DEG, widest)
    if low > LEAST_RANGE * high:
        low = SPREAD_RANGE * high
    exponents = np.geomspace(cosine_exponent(low), cosine_exponent(high), BEAM_NODES)
    nodes = [2 * math.degrees(math.acos(0.5 ** (1 / m))) for m in exponents]
    return [math.log(w / widest) for w in nodes]


def _ln(response: FloatArray) -> FloatArray:
    return np.asarray(np.log(np.maximum(response, LEAST_RESPONSE)))


def _beam_splines(
    fixtures: Sequence[Fixture],
    field_at: FieldAt,
    columns: Sequence[FloatArray],
    with_beam: list[int],
    factors: Sequence[Sequence[float]],
) -> tuple[FloatArray, tuple[NodeSpline, ...]]:
    """Base response, and for each fitted fixture a spline of ln response over base against ln factor."""
    probes, counts = [], []
    for index, fixture in enumerate(fixtures):
        steps = [0.0, *factors[with_beam.index(index)]] if index in with_beam else [0.0]
        channels = [
            replace(c, name=f"{c.name} {n}", beam=fitted_beam(c.beam, step) if step else c.beam)
            for n, step in enumerate(steps)
            for c in fixture.type.channels
        ]
        kind = replace(fixture.type, channels=tuple(channels))
        probes.append(replace(fixture, type=kind, programme=Programme({})))
        counts.append(len(steps))
    response = _ln(field_at(probes, None))
    parts, start = [], 0
    for count, own in zip(counts, columns, strict=True):
        stop = start + count * own.size
        parts.append(response[:, start:stop].reshape(len(response), count, own.size))
        start = stop
    base = np.concatenate([p[:, 0] for p in parts], axis=1)
    splines = tuple(
        NodeSpline(step, np.moveaxis(parts[i][:, 1:] - parts[i][:, :1], 1, 0))
        for i, step in zip(with_beam, factors, strict=True)
    )
    return base, splines


def _height_curves(
    fixtures: Sequence[Fixture], field_at: FieldAt, base: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Slope and curvature of ln response with height, by a parabola through three heights."""
    step = min(HEIGHT_STEP_M, 0.5 * min(f.height_m for f in fixtures))
    up, down = (
        _ln(field_at([replace(f, height_m=f.height_m + sign * step) for f in fixtures], None)) - base
        for sign in (1, -1)
    )
    return (up - down) / (2 * step), (up + down) / (2 * step**2)


def _yellowing_spline(fixtures: Sequence[Fixture], field_at: FieldAt, base: FloatArray) -> NodeSpline:
    return NodeSpline(
        YELLOWING_NODES_PER_M, [_ln(field_at(fixtures, a)) - base for a in YELLOWING_NODES_PER_M]
    )
