"""Programmes and dimming curves joined into one day that is exact at every time, and its electricity.

Levels are piecewise linear in time and dimming is piecewise linear in level, so once the times at which a
level crosses a knot of its dimming curve are inserted, outputs are piecewise linear in time too. Nothing is
resampled: every programme keeps its own values at its own times, and jumps stay jumps.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from lightdose.model.fixture import Channel, ChannelProgramme, DimmingCurve, Fixture, FixtureType
from lightdose.model.light import DayCurve
from lightdose.model.record import FloatArray, distinct, read_only
from lightdose.model.results import FixtureUse
from lightdose.model.setup import Electricity
from lightdose.model.spectrum import GRID_NM
from lightdose.physics.photons import joules_per_photon
from lightdose.quantities import DAYS_PER_YEAR, HOURS_PER_DAY, PPFD_BAND


def output_points(programme: ChannelProgramme, dimming: DimmingCurve) -> tuple[FloatArray, FloatArray]:
    """Output against time of one channel, exactly linear between the points.

    Parameters
    ----------
    programme : ChannelProgramme
        Levels 0-1 at times in hours; a time that stands twice is a jump.
    dimming : DimmingCurve
        Output 0-1 against level 0-1.

    Returns
    -------
    time_h : array, shape (n,)
        The programme's own times and those at which its level crosses a knot of the dimming curve. [h]
    output : array, shape (n,)
        Output 0-1.

    Source
    ------
    A piecewise-linear function of a piecewise-linear function is piecewise linear on the joint breakpoints.
    """
    time, level = programme.time_h, programme.level
    own = np.interp(level, dimming.level, dimming.output)
    knot, knot_output = dimming.level[1:-1], dimming.output[1:-1]
    if knot.size == 0:
        return time, own
    rise = np.diff(level)
    low, high = np.minimum(level[:-1], level[1:]), np.maximum(level[:-1], level[1:])
    segment, crossed = np.nonzero((knot > low[:, None]) & (knot < high[:, None]))
    if segment.size == 0:
        return time, own
    share = (knot[crossed] - level[segment]) / rise[segment]
    crossing = time[segment] + share * (time[segment + 1] - time[segment])
    # Ordered by segment, then by the way along it; a jump over knots needs no points between.
    keep = time[segment + 1] > time[segment]
    way = np.concatenate((np.zeros(time.size), share[keep]))
    order = np.lexsort((way, np.concatenate((np.arange(time.size), segment[keep]))))
    return (
        np.concatenate((time, crossing[keep]))[order],
        np.concatenate((own, knot_output[crossed][keep]))[order],
    )


def folded_points(time_h: FloatArray, output: FloatArray) -> tuple[FloatArray, FloatArray]:
    """One channel's outputs on the clock from 0 to 24 h, off outside its programme.

    Parameters
    ----------
    time_h : array, shape (n,)
        Times of the programme, not falling, at most 24 h from first to last. [h]
    output : array, shape (n,)
        Output 0-1, linear between.

    Returns
    -------
    time_h : array, shape (m,)
        From 0 to 24, not falling; a time that stands twice is a jump. [h]
    output : array, shape (m,)
        Output 0-1.

    Source
    ------
    The day repeats every 24 h; a programme that passes 24:00 is split there and its rest stands at the day's
    beginning.
    """
    first, last = float(time_h[0]), float(time_h[-1])
    if last <= HOURS_PER_DAY:
        times, values = [time_h], [output]
    else:
        at_midnight = float(_left_limit(np.array([HOURS_PER_DAY]), time_h, output)[0])
        after_midnight = float(_right_limit(np.array([HOURS_PER_DAY]), time_h, output)[0])
        before, after = time_h < HOURS_PER_DAY, time_h > HOURS_PER_DAY
        # Rounding of 24 h differences must not let the end of a round-the-clock programme pass its start.
        rest = np.minimum(time_h[after] - HOURS_PER_DAY, first)
        times = [np.array([0.0]), rest, time_h[before], np.array([HOURS_PER_DAY])]
        values = [np.array([after_midnight]), output[after], output[before], np.array([at_midnight])]
        gap = float(rest[-1]), first
        if gap[0] < gap[1]:
            times.insert(2, np.array(gap))
            values.insert(2, np.zeros(2))
    time, value = np.concatenate(times), np.concatenate(values)
    # Off before and after; a programme that starts or ends at 0 does not jump there.
    before_h = [] if time[0] == 0 else [0.0] if value[0] == 0 else [0.0, time[0]]
    after_h = (
        [] if time[-1] == HOURS_PER_DAY else [HOURS_PER_DAY] if value[-1] == 0 else [time[-1], HOURS_PER_DAY]
    )
    return (
        np.concatenate([before_h, time, after_h]),
        np.concatenate([np.zeros(len(before_h)), value, np.zeros(len(after_h))]),
    )


def _between(at: FloatArray, left: npt.NDArray[np.intp], time: FloatArray, value: FloatArray) -> FloatArray:
    """Linear interpolation in the segments that start at index ``left``; their own ends come back exactly."""
    width = time[left + 1] - time[left]
    share = (at - time[left]) / np.where(width > 0, width, 1.0)
    inner = value[left] + share * (value[left + 1] - value[left])
    return np.where(at == time[left + 1], value[left + 1], inner)


def _right_limit(at: FloatArray, time: FloatArray, value: FloatArray) -> FloatArray:
    left = np.clip(np.searchsorted(time, at, side="right") - 1, 0, time.size - 2)
    return _between(at, left, time, value)


def _left_limit(at: FloatArray, time: FloatArray, value: FloatArray) -> FloatArray:
    left = np.clip(np.searchsorted(time, at, side="left") - 1, 0, time.size - 2)
    return _between(at, left, time, value)


def day_curve(fixtures: Sequence[Fixture]) -> DayCurve:
    """The repeating day of all channels on the union of their breakpoints.

    ``output_scale`` of a fixture is not applied here: it is part of the light field's response.

    Parameters
    ----------
    fixtures : sequence of Fixture
        The lit fixtures; channels come in the order of each fixture's type. A channel without a programme
        stays off; no fixture at all gives a day without channels.

    Returns
    -------
    DayCurve
        Outputs 0-1 at both ends of every segment, exactly linear within.

    Source
    ------
    Superposition: each programme is folded onto the 24 h clock before channels share their breakpoints.
    """
    days: list[tuple[FloatArray, FloatArray] | None] = []
    for fixture in fixtures:
        for channel in fixture.type.channels:
            programme = fixture.programme.channels.get(channel.name)
            days.append(
                None if programme is None else folded_points(*output_points(programme, channel.dimming))
            )
    edges = distinct(np.concatenate([[0.0, HOURS_PER_DAY], *(d[0] for d in days if d is not None)]))
    start, end = np.zeros((edges.size - 1, len(days))), np.zeros((edges.size - 1, len(days)))
    for column, day in enumerate(days):
        if day is None:
            continue
        if np.all(np.diff(day[0]) > 0):  # no jump: both limits agree, and the own points come back exactly
            at_edges = np.maximum(np.interp(edges, *day), 0.0)
            start[:, column], end[:, column] = at_edges[:-1], at_edges[1:]
        else:
            start[:, column] = _right_limit(edges[:-1], *day)
            end[:, column] = _left_limit(edges[1:], *day)
    return DayCurve(edges, start, end)


def day_points(curve: DayCurve) -> tuple[FloatArray, FloatArray]:
    """The day as a chain of points; a jump of any channel is two points at one time.

    Returns
    -------
    time_h : array, shape (n_point,)
        From 0 to 24, not falling. [h]
    output : array, shape (n_point, n_channel)
        Output 0-1, linear between neighbours.
    """
    chain = np.concatenate([curve.output_start, curve.output_end[-1:]])
    differs = curve.output_end[:-1] != curve.output_start[1:]
    if not differs.any():
        return curve.edge_h, chain
    jumps = np.flatnonzero(differs.any(axis=1)) + 1
    time = np.insert(curve.edge_h, jumps, curve.edge_h[jumps])
    return time, np.insert(chain, jumps, curve.output_end[jumps - 1], axis=0)


def output_at(curve: DayCurve, time_h: npt.ArrayLike) -> FloatArray:
    """Outputs of all channels at any times of the repeating day; at a jump, the value after it.

    Parameters
    ----------
    curve : DayCurve
    time_h : array, shape (n_time,)
        Any hours; 26 is 2 o'clock. [h]

    Returns
    -------
    array, shape (n_time, n_channel)
        Output 0-1.
    """
    clock = np.mod(np.atleast_1d(np.asarray(time_h, dtype=np.float64)), HOURS_PER_DAY)
    segment = np.clip(np.searchsorted(curve.edge_h, clock, side="right") - 1, 0, curve.edge_h.size - 2)
    share = (clock - curve.edge_h[segment]) / (curve.edge_h[segment + 1] - curve.edge_h[segment])
    start, end = curve.output_start[segment], curve.output_end[segment]
    mixed: FloatArray = start + share[:, None] * (end - start)
    return mixed


def full_output_hours(curve: DayCurve) -> FloatArray:
    """Hours at full output that give each channel's photons of the day.

    Returns
    -------
    array, shape (n_channel,)
        Integral of output over the day. [h]

    Source
    ------
    Trapezoid on the breakpoints, exact for piecewise-linear outputs.
    """
    half_width = 0.5 * (curve.edge_h[1:] - curve.edge_h[:-1])
    hours: FloatArray = half_width @ curve.output_start + half_width @ curve.output_end
    return hours


def programme_hours(fixtures: Sequence[Fixture]) -> FloatArray:
    """The same as ``full_output_hours(day_curve(fixtures))``, channel by channel, where no day is wanted.

    Returns
    -------
    array, shape (n_channel,)
        Integral of output over the day. [h]

    Source
    ------
    Trapezoid on the breakpoints; a programme folded onto the clock keeps its integral.
    """
    return each_channel(fixtures, _full_output_hours)


def _full_output_hours(_: Fixture, channel: Channel, programme: ChannelProgramme) -> float:
    time, output = output_points(programme, channel.dimming)
    return 0.5 * float((time[1:] - time[:-1]) @ (output[1:] + output[:-1]))


def each_channel(
    fixtures: Sequence[Fixture], figure: Callable[[Fixture, Channel, ChannelProgramme], float]
) -> FloatArray:
    """A figure of each channel's programme, 0 where it has none, shape (n_channel,).

    Parameters
    ----------
    fixtures : sequence of Fixture
    figure : callable

    Source
    ------
    Bookkeeping.
    """
    return _each_channel(tuple(fixtures), figure)


@lru_cache(maxsize=8)
def _each_channel(
    fixtures: tuple[Fixture, ...], figure: Callable[[Fixture, Channel, ChannelProgramme], float]
) -> FloatArray:
    """The same, kept for the last few programmes: all that is told of a day asks for its hours."""
    return read_only(
        np.array(
            [
                0.0 if (programme := f.programme.channels.get(c.name)) is None else figure(f, c, programme)
                for f in fixtures
                for c in f.type.channels
            ]
        )
    )


_S_PER_H = 3600.0
_W_PER_KW = 1000.0


def fixture_use(
    fixtures: Sequence[Fixture],
    emission: FloatArray,
    curve: DayCurve,
    electricity: Electricity | None = None,
) -> tuple[FixtureUse, ...]:
    """Energy, cost and photon efficacy of every fixture over its day.

    Power is taken as proportional to output: W = W at full output x output. Drivers' losses, fans and what a
    fixture draws while dark are not known and not counted.

    Parameters
    ----------
    fixtures : sequence of Fixture
        The lit fixtures, in the order of ``curve``.
    emission : array, shape (n_channel, 500)
        Photons of each channel at full output in the 1 nm cells of 300-800 nm, without ``output_scale``.
        [umol s-1]
    curve : DayCurve
        Outputs of the same channels.
    electricity : Electricity or None
        Price of a kilowatt-hour; without it there is no cost.

    Returns
    -------
    tuple of FixtureUse
        Energy and efficacy are None where neither the fixture nor each channel states electrical power;
        efficacy is None too where nothing runs.

    Raises
    ------
    ValueError
        If the fixtures, ``emission`` and ``curve`` do not have the same number of channels.

    Source
    ------
    Energy is the time integral of power; a year has 365.25 days. Power in proportion to output: our choice,
    the simplest that needs only the power at full output.
    """
    hours = full_output_hours(curve)
    n_channel = sum(len(f.type.channels) for f in fixtures)
    if not n_channel == hours.size == emission.shape[0]:
        raise ValueError(
            f"{n_channel} channels in the fixtures, {emission.shape[0]} in the emission, "
            f"{hours.size} in the day"
        )
    first_cell, end_cell = np.searchsorted(GRID_NM, (PPFD_BAND.low_nm, PPFD_BAND.high_nm))
    photons_umol_s = emission[:, first_cell:end_cell].sum(axis=1)
    uses, first = [], 0
    for fixture in fixtures:
        own = slice(first, first := first + len(fixture.type.channels))
        power_w = channel_power_w(fixture.type, emission[own])
        uses.append(_use_of(fixture, power_w, photons_umol_s[own], hours[own], electricity))
    return tuple(uses)


def channel_power_w(kind: FixtureType, emission: FloatArray) -> FloatArray | None:
    """What each channel of a fixture draws at full output.

    Where some state no power of their own, what the whole fixture draws beyond the others is shared among
    them in proportion to their radiant power, as if they had one efficiency.

    Parameters
    ----------
    kind : FixtureType
    emission : array, shape (n_channel, 500)
        Photons of its channels at full output in the 1 nm cells of 300-800 nm. [umol s-1]

    Returns
    -------
    array, shape (n_channel,), or None
        None where neither the fixture nor each channel states its power. [W]

    Source
    ------
    Power of a photon is hc / wavelength; one efficiency for all: our choice, since no data sheet tells more.
    """
    power_w = np.array([np.nan if c.electrical_w is None else c.electrical_w for c in kind.channels])
    unknown = np.isnan(power_w)
    if not unknown.any():
        return power_w
    if kind.electrical_w is None:
        return None
    radiant_w = (emission @ joules_per_photon(GRID_NM))[unknown]
    share = (
        radiant_w / radiant_w.sum() if radiant_w.sum() > 0 else np.full(radiant_w.size, 1 / radiant_w.size)
    )
    power_w[unknown] = share * (kind.electrical_w - float(np.nansum(power_w)))
    return power_w


def _use_of(
    fixture: Fixture,
    power_w: FloatArray | None,
    photons_umol_s: FloatArray,
    hours: FloatArray,
    electricity: Electricity | None,
) -> FixtureUse:
    currency = electricity.currency if electricity else None
    if power_w is None:
        return FixtureUse(fixture.name, None, None, currency, None)
    energy_kwh_d = float(power_w @ hours) / _W_PER_KW
    emitted_umol = fixture.output_scale * float(photons_umol_s @ hours) * _S_PER_H
    joules = energy_kwh_d * _W_PER_KW * _S_PER_H
    return FixtureUse(
        fixture.name,
        energy_kwh_d,
        energy_kwh_d * electricity.price_per_kwh * DAYS_PER_YEAR if electricity else None,
        currency,
        emitted_umol / joules if joules > 0 else None,
        tuple(power_w.tolist()),
    )


def area_below(level: FloatArray, knot: FloatArray, value: FloatArray) -> FloatArray:
    """Integral of a curve, linear between its knots, from the first of them to each level.

    Parameters
    ----------
    level : array
    knot, value : array, shape (n_knot,)
        Rising knots, and the curve there.

    Returns
    -------
    array, shape of ``level``

    Source
    ------
    Integral of a piecewise-linear function, closed form. A rise may be more than a number holds, so none is
    computed.
    """
    step = np.diff(knot)
    whole = np.concatenate(([0.0], np.cumsum(0.5 * step * (value[1:] + value[:-1]))))
    k = np.clip(np.searchsorted(knot, level, side="right") - 1, 0, step.size - 1)
    into = level - knot[k]
    return np.asarray(whole[k] + into * (value[k] + 0.5 * (into / step[k]) * (value[k + 1] - value[k])))
