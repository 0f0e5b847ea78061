"""The keeper's own bounds as numbers: which channels run, how high, and what else must hold."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lightdose.errors import InfeasibleError, Problem
from lightdose.model.fixture import Channel
from lightdose.model.light import ChannelKey
from lightdose.model.plans import BLUE_BELOW_NM, TuneWishes, is_blue
from lightdose.model.record import FloatArray, dataclass
from lightdose.model.results import Analysis
from lightdose.near_names import near_names
from lightdose.physics.emission import photon_distribution
from lightdose.quantities import GRID_START_NM, MOL_PER_UMOL_S_H

_BLUE_CELLS = int(BLUE_BELOW_NM) - GRID_START_NM
"""Cells of 1 nm below ``BLUE_BELOW_NM``."""


@dataclass(frozen=True, eq=False)
class ChannelBounds:
    """Least and highest output of every channel, and why it is held; shape (n_channel,), 0-1.

    ``blue_share`` holds shares of photons below ``BLUE_BELOW_NM`` where only blue may run, else None.
    """

    least: FloatArray
    most: FloatArray
    held: tuple[str, ...]
    blue_share: tuple[float | None, ...]


def channel_bounds(before: Analysis, wishes: TuneWishes, today: FloatArray) -> ChannelBounds:
    """What each channel may give at its highest.

    Parameters
    ----------
    before : Analysis
    wishes : TuneWishes
    today : array, shape (n_channel,)
        Highest output of today, 0-1.

    Raises
    ------
    InfeasibleError
        If a name is no channel, nothing is left to run, or a bound breaks the mix that is to be kept.

    Source
    ------
    "Blue only" keeps the channels with most of their photons (300-800 nm) below 500 nm: our choice.
    """
    keys, channels = before.light_field.channels, lit_channels(before)
    most = np.ones(len(keys))
    held = [""] * len(keys)
    blue: list[float | None] = [None] * len(keys)
    problems: list[Problem] = []
    for name in wishes.off:
        for i in _named(name, keys, problems):
            most[i], held[i] = 0.0, "off as asked"
    for name, level in wishes.caps:
        for i in _named(name, keys, problems):
            dimming = channels[i].dimming
            cap = float(np.interp(level, dimming.level, dimming.output))
            if cap < most[i]:
                most[i], held[i] = cap, f"at most {100 * level:g} %"
    if problems:
        raise InfeasibleError(*problems)
    if wishes.blue_only:
        blue = _keep_blue(channels, most, held)
    if wishes.keep_shapes:
        idle = np.flatnonzero((today <= 0) & (most > 0))
        for i in idle.tolist():
            most[i], held[i] = 0.0, held[i] or "off today, so it has no shape to keep"
    if not np.any(most > 0):
        raise InfeasibleError(
            Problem(
                "no channel is left that may run", cure="allow one more with fewer --off, --cap, --blue-only"
            )
        )
    _check_mix(wishes, keys, most, today, held)
    # A driver that glows at level 0 gives that much whenever its programme runs.
    least = np.array([float(c.dimming.output[0]) for c in channels])
    return ChannelBounds(np.minimum(least, most), most, tuple(held), tuple(blue))


def lit_channels(before: Analysis) -> list[Channel]:
    """Channels of the enabled fixtures, in the order of the light field."""
    return [c for f in before.setup.lit_fixtures for c in f.type.channels]


def _named(name: str, keys: Sequence[ChannelKey], problems: list[Problem]) -> list[int]:
    found = [i for i, k in enumerate(keys) if name in (k.channel, f"{k.fixture}/{k.channel}")]
    if not found:
        known = list(dict.fromkeys(k.channel for k in keys))
        near = near_names(name, [*known, *(f"{k.fixture}/{k.channel}" for k in keys)])
        cure = f'did you mean "{near[0]}"?' if near else 'for one fixture write "fixture/channel"'
        problems.append(Problem(f'there is no channel "{name}"', ", ".join(known), cure))
    return found


def _keep_blue(channels: Sequence[Channel], most: FloatArray, held: list[str]) -> list[float | None]:
    """Hold all channels but the blue ones at 0; gives the share of photons that decides."""
    shares: list[float | None] = []
    for i, channel in enumerate(channels):
        share = float(photon_distribution(channel.spectrum)[:_BLUE_CELLS].sum())
        shares.append(share)
        if not is_blue(share):
            most[i], held[i] = 0.0, f"cut: {100 * share:.0f} % of its photons below {BLUE_BELOW_NM:g} nm"
    return shares


def _check_mix(
    wishes: TuneWishes,
    keys: Sequence[ChannelKey],
    most: FloatArray,
    today: FloatArray,
    held: Sequence[str],
) -> None:
    """With the mix kept, no channel that runs today may be held below today's level."""
    if wishes.mix == "free":
        return
    if not np.any(today > 0):
        raise InfeasibleError(
            Problem("nothing runs today, so there is no mix to keep", cure="leave --keep-mix out")
        )
    broken = [
        Problem(
            f'"{k.fixture}/{k.channel}" would be held below its level now ({why}): the mix cannot be kept',
            cure="leave out --keep-mix, or the bound on this channel",
        )
        for k, top, now, why in zip(keys, most, today, held, strict=True)
        if top < now - 1e-12
    ]
    if broken:
        raise InfeasibleError(*broken)


def further_rows(
    before: Analysis,
    wishes: TuneWishes,
    emission: FloatArray,
    colour_matching: FloatArray,
    today_h: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Bounds on blue share, change and look as rows over hours at full output: rows @ v <= limits.

    Parameters
    ----------
    before : Analysis
    wishes : TuneWishes
    emission : array, shape (n_channel, 500)
        Photons per cell at full output. [umol s-1]
    colour_matching : array, shape (3, 500)
    today_h : array, shape (n_channel,)
        Today's hours at full output. [h]

    Returns
    -------
    rows : array, shape (n_row, n_channel)
    limits : array, shape (n_row,)

    Raises
    ------
    InfeasibleError
        If there is no look or no dose to keep to.

    Source
    ------
    Blue 400-500 nm: Park & Runkle 2023, PLoS ONE 18(2):e0281996. Chromaticity: CIE 015:2018; bounds on x and
    y are linear after multiplying by X + Y + Z.
    """
    ppfd, receivers = before.light_field.of("ppfd"), [v.receiver for v in before.verdicts]
    at_corals = ppfd[receivers]
    rows, limits = [np.zeros((0, today_h.size))], [np.zeros(0)]
    if wishes.least_blue is not None:
        blue = before.light_field.of("blue")[receivers]
        rows.append(_relative(wishes.least_blue * at_corals - blue))
        limits.append(np.zeros(len(receivers)))
    if wishes.most_change is not None:
        dose = MOL_PER_UMOL_S_H * at_corals @ today_h
        if not np.all(dose > 0):
            raise InfeasibleError(
                Problem(
                    "a coral gets no light today, so its change has no measure",
                    cure="leave --most-change out",
                )
            )
        form = MOL_PER_UMOL_S_H * at_corals / dose[:, None]
        rows += [form, -form]
        limits += [np.full(len(dose), 1 + wishes.most_change), np.full(len(dose), wishes.most_change - 1)]
    if wishes.look_tolerance is not None:
        found = _look_rows(before, emission, colour_matching, today_h, wishes.look_tolerance)
        rows.append(found)
        limits.append(np.zeros(len(found)))
    return np.concatenate(rows), np.concatenate(limits)


def look_xy(
    before: Analysis, emission: FloatArray, colour_matching: FloatArray, hours: FloatArray
) -> tuple[float, float] | None:
    """Chromaticity of the day's summed emission of all fixtures.

    Parameters
    ----------
    before : Analysis
    emission : array, shape (n_channel, 500)
        [umol s-1]
    colour_matching : array, shape (3, 500)
    hours : array, shape (n_channel,)
        At full output. [h]

    Returns
    -------
    x, y or None
        None without visible light.

    Source
    ------
    CIE 015:2018.
    """
    total = _tristimulus(before, emission, colour_matching) @ hours
    whole = float(total.sum())
    return (float(total[0]) / whole, float(total[1]) / whole) if whole > 0 else None


def _tristimulus(before: Analysis, emission: FloatArray, colour_matching: FloatArray) -> FloatArray:
    """X, Y, Z of each channel at full output, shape (3, n_channel), in any one unit."""
    from lightdose.model.spectrum import GRID_NM

    scale = np.array([f.output_scale for f in before.setup.lit_fixtures for _ in f.type.channels])
    power = emission / GRID_NM * scale[:, None]
    tristimulus: FloatArray = colour_matching @ power.T
    return tristimulus


def _look_rows(
    before: Analysis, emission: FloatArray, colour_matching: FloatArray, today_h: FloatArray, tolerance: float
) -> FloatArray:
    xy = look_xy(before, emission, colour_matching, today_h)
    if xy is None:
        raise InfeasibleError(
            Problem("nothing shines today, so there is no look to keep", cure="leave --keep-look out")
        )
    xyz = _tristimulus(before, emission, colour_matching)
    whole = xyz.sum(axis=0)
    return _relative(
        np.array(
            [
                sign * (part - at * whole) - tolerance * whole
                for part, at in ((xyz[0], xy[0]), (xyz[1], xy[1]))
                for sign in (1.0, -1.0)
            ]
        )
    )


def _relative(rows: FloatArray) -> FloatArray:
    """Rows with limit 0, scaled so that the solver's tolerance means the same for each."""
    scale = np.abs(rows).max(axis=1, keepdims=True)
    scaled: FloatArray = rows / np.where(scale > 0, scale, 1.0)
    return scaled
