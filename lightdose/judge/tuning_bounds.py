"""What a tuned programme must keep: levels of channels, colour at the corals, the look, and the cautions."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lightdose.errors import InfeasibleError, Problem
from lightdose.judge.cautions import LEAST_BLUE_SHARE, MOST_BELOW_390_SHARE, MOST_RED_SHARE
from lightdose.judge.outlook import Outlook
from lightdose.model.fixture import Channel, Fixture
from lightdose.model.light import ChannelKey
from lightdose.model.plans import BLUE_BELOW_NM, TuneWishes, is_blue
from lightdose.model.record import FloatArray, dataclass
from lightdose.model.spectrum import GRID_NM
from lightdose.near_names import near_names
from lightdose.physics.day_curve import full_output_hours
from lightdose.physics.emission import photon_distribution
from lightdose.quantities import GRID_START_NM, MOL_PER_UMOL_S_H

SHORTEST_FREE_NM, LONGEST_FREE_NM = 420.0, 600.0
"""A channel with most of its photons outside rises only where it is allowed by name: our choice."""

SLACK = 1e-9


@dataclass(frozen=True, eq=False)
class Bounds:
    """Highest level of every channel, and why it is held; shape (n_channel,), 0-1.

    ``blue_share`` holds shares of photons below ``BLUE_BELOW_NM`` where only blue may run, else None.
    """

    most: FloatArray
    held: tuple[str, ...]
    blue_share: tuple[float | None, ...]


@dataclass(frozen=True, eq=False)
class Limits:
    """What hours at full output must keep: rows @ hours <= most + slack.

    Attributes
    ----------
    rows, most : array, shape (n_row, n_channel) and (n_row,)
    weight : share of each channel in the light of the corals, shape (n_channel,)
    power : electrical power of each channel over the day's energy, shape (n_channel,). [h-1]
    """

    rows: FloatArray
    most: FloatArray
    weight: FloatArray
    power: FloatArray
    slack: float = SLACK


def lit_channels(fixtures: Sequence[Fixture]) -> list[Channel]:
    """Channels of the lit fixtures, in the order of the light field."""
    return [c for f in fixtures for c in f.type.channels]


def channel_bounds(outlook: Outlook, wishes: TuneWishes, today: FloatArray) -> Bounds:
    """How high each channel may go.

    Parameters
    ----------
    outlook : Outlook
    wishes : TuneWishes
    today : array, shape (n_channel,)
        Highest level of today, 0-1.

    Raises
    ------
    InfeasibleError
        If a name is no channel, or nothing is left that may run.

    Source
    ------
    "Blue only" keeps the channels with most of their photons (300-800 nm) below 500 nm: our choice.
    """
    keys, channels = outlook.analysis.light_field.channels, lit_channels(outlook.fixtures)
    most, held = np.ones(len(keys)), [""] * len(keys)
    blue: list[float | None] = [None] * len(keys)
    problems: list[Problem] = []
    allowed = {i for name in wishes.allow for i in _named(name, keys, problems)}
    photons = np.array([photon_distribution(c.spectrum) for c in channels])
    if wishes.change == "channels":
        short, long = _share_below(photons, SHORTEST_FREE_NM), 1 - _share_below(photons, LONGEST_FREE_NM)
        for i in np.flatnonzero((short > 0.5) | (long > 0.5)).tolist():
            if i not in allowed:
                where = "below 420 nm" if short[i] > 0.5 else "above 600 nm"
                most[i], held[i] = today[i], f"not raised: most of its photons {where}"
    for name in wishes.off:
        for i in _named(name, keys, problems):
            most[i], held[i] = 0.0, "off as asked"
    for name, level in wishes.caps:
        for i in _named(name, keys, problems):
            if level < most[i]:
                most[i], held[i] = level, f"at most {100 * level:g} %"
    if problems:
        raise InfeasibleError(*problems)
    if wishes.blue_only:
        shares = _share_below(photons, BLUE_BELOW_NM).tolist()
        blue = list(shares)
        for i, share in enumerate(shares):
            if not is_blue(share):
                most[i], held[i] = 0.0, f"cut: {100 * share:.0f} % of its photons below {BLUE_BELOW_NM:g} nm"
    if not np.any((most > 0) & ((today > 0) | (wishes.change == "channels"))):
        raise InfeasibleError(
            Problem(
                "no channel is left that may run", cure="allow one more with fewer --off, --cap, --blue-only"
            )
        )
    return Bounds(most, tuple(held), tuple(blue))


def _share_below(photons: FloatArray, wavelength_nm: float) -> FloatArray:
    return np.asarray(photons[:, : int(wavelength_nm) - GRID_START_NM].sum(axis=1))


def _named(name: str, keys: Sequence[ChannelKey], problems: list[Problem]) -> list[int]:
    found = [i for i, k in enumerate(keys) if name in (k.channel, f"{k.fixture}/{k.channel}")]
    if not found:
        known = list(dict.fromkeys(k.channel for k in keys))
        near = near_names(name, [*known, *(f"{k.fixture}/{k.channel}" for k in keys)])
        cure = f'did you mean "{near[0]}"?' if near else 'for one fixture write "fixture/channel"'
        problems.append(Problem(f'there is no channel "{name}"', ", ".join(known), cure))
    return found


def light_limits(
    outlook: Outlook, wishes: TuneWishes, start_h: FloatArray, emission: FloatArray, eye: FloatArray
) -> Limits:
    """What the light at the judged corals must keep.

    Parameters
    ----------
    outlook : Outlook
    wishes : TuneWishes
    start_h : array, shape (n_channel,)
        Hours at full output of today's programme within the bounds of its channels. [h]
    emission : array, shape (n_channel, 500)
        Photons per cell at full output. [umol s-1]
    eye : array, shape (3, 500)
        Colour-matching functions.

    Raises
    ------
    InfeasibleError
        If there is no look or no dose to keep to, or a channel's power is not known and energy counts.

    Source
    ------
    Blue 400-500 nm: Park & Runkle 2023, PLoS ONE 18(2):e0281996. Chromaticity: CIE 015:2018; bounds on x and
    y are linear after multiplying by X + Y + Z. Cautions: our choice, as ``find_cautions`` has them.
    """
    analysis = outlook.analysis
    receivers = [v.receiver for v in outlook.verdicts]
    light = {key: analysis.light_field.of(key)[receivers] for key in ("ppfd", "blue", "red", "below_390")}
    ppfd = light["ppfd"]
    rows, most = [np.zeros((0, start_h.size))], [np.zeros(0)]

    def share(key: str, bound: FloatArray | float, sign: float) -> None:
        """The share of a band stays under (sign 1) or over (-1) a bound at every coral."""
        found = sign * (light[key] - np.reshape(bound, (-1, 1)) * ppfd)
        rows.append(_relative(found))
        most.append(np.zeros(len(found)))

    if wishes.change == "channels":
        whole = ppfd @ start_h
        now = {
            key: np.divide(light[key] @ start_h, whole, out=np.zeros_like(whole), where=whole > 0)
            for key in light
        }
        for key in ("blue", "red"):
            share(key, now[key] + wishes.colour_shift, 1.0)
            share(key, now[key] - wishes.colour_shift, -1.0)
        share("blue", np.minimum(now["blue"], LEAST_BLUE_SHARE), -1.0)
        share("red", np.maximum(now["red"], MOST_RED_SHARE), 1.0)
        share("below_390", np.maximum(now["below_390"], MOST_BELOW_390_SHARE), 1.0)
    if wishes.least_blue is not None:
        share("blue", wishes.least_blue, -1.0)
    if wishes.most_change is not None:
        dose = MOL_PER_UMOL_S_H * ppfd @ full_output_hours(analysis.day_curve)
        if not np.all(dose > 0):
            raise InfeasibleError(
                Problem(
                    "a coral gets no light today, so its change has no measure",
                    cure="leave --most-change out",
                )
            )
        form = MOL_PER_UMOL_S_H * ppfd / dose[:, None]
        rows += [form, -form]
        most += [np.full(len(dose), 1 + wishes.most_change), np.full(len(dose), wishes.most_change - 1)]
    if wishes.look_tolerance is not None:
        found = _look_rows(outlook, emission, eye, wishes.look_tolerance)
        rows.append(found)
        most.append(np.zeros(len(found)))
    weight = ppfd.mean(axis=0) * np.maximum(start_h, 1.0)
    return Limits(
        np.concatenate(rows),
        np.concatenate(most),
        weight / max(float(weight.sum()), 1e-300),
        _power(outlook, start_h) if wishes.prefer == "energy" else np.zeros(start_h.size),
    )


def _power(outlook: Outlook, start_h: FloatArray) -> FloatArray:
    known = {use.fixture: use.power_w for use in outlook.analysis.fixtures}
    missing = [
        Problem(
            f'"{name}" has no electrical_w for all of its channels, so its energy is not known',
            cure="add electrical_w to the fixture file, or choose another --prefer",
        )
        for name, watts in known.items()
        if watts is None
    ]
    if missing:
        raise InfeasibleError(*missing)
    watts = np.concatenate([np.array(known[f.name]) for f in outlook.fixtures])
    return np.asarray(watts / (float(watts @ start_h) or float(watts.sum()) or 1.0))


def _look_rows(outlook: Outlook, emission: FloatArray, eye: FloatArray, tolerance: float) -> FloatArray:
    """x and y of the summed emission stay near to today's."""
    scale = np.array([f.output_scale for f in outlook.fixtures for _ in f.type.channels])
    xyz = eye @ (emission / GRID_NM * scale[:, None]).T
    total = xyz @ full_output_hours(outlook.analysis.day_curve)
    if not total.sum() > 0:
        raise InfeasibleError(
            Problem("nothing shines today, so there is no look to keep", cure="leave --keep-look out")
        )
    whole, (x, y) = xyz.sum(axis=0), total[:2] / total.sum()
    found = [
        sign * (part - at * whole) - tolerance * whole
        for part, at in ((xyz[0], x), (xyz[1], y))
        for sign in (1.0, -1.0)
    ]
    return _relative(np.array(found))


def _relative(rows: FloatArray) -> FloatArray:
    """Rows with limit 0, scaled so that the slack means the same for each."""
    scale = np.abs(rows).max(axis=1, keepdims=True)
    return np.asarray(rows / np.where(scale > 0, scale, 1.0))
