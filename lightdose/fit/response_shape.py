"""How what meters see at their places changes with beam width, height and yellowing.

The light field is computed at a few beam widths (one pass: lobes share their rays), two other heights and a
few waters; between them the logarithm of the response is interpolated. The three act as factors on one
another, which is exact for one at a time and good to a percent or two for small heights and weak yellowing.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from lightdose.fit.node_spline import NodeSpline
from lightdose.model.arrays import FloatArray
from lightdose.model.fixture import Beam, CosineLobe, Fixture
from lightdose.model.record import dataclass
from lightdose.model.schedule import Programme
from lightdose.physics.beam import cosine_exponent

NARROWEST_DEG, WIDEST_DEG = 16.0, 170.0
"""Beam widths that a fit may reach: our choice, from narrow lenses to beyond a bare LED."""

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

    Returns
    -------
    ResponseShape

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

    Returns
    -------
    Beam

    Source
    ------
    Our choice: one factor on all cosine lobes of a fixture.
    """
    if not isinstance(beam, CosineLobe):
        return beam
    width = beam.fwhm_deg * math.exp(ln_factor)
    return CosineLobe(min(max(width, NARROWEST_DEG), WIDEST_DEG))


def _beam_factors(fixture: Fixture) -> list[float]:
    """ln of the factors at which the beam is computed, rising; 0 lies between."""
    widths = [c.beam.fwhm_deg for c in fixture.type.channels if isinstance(c.beam, CosineLobe)]
    widest = max(widths)
    low = max(NARROWEST_DEG, widest * NARROWEST_DEG / min(widths))
    exponents = np.geomspace(cosine_exponent(low), cosine_exponent(max(WIDEST_DEG, widest)), BEAM_NODES)
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
