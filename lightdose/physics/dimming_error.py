"""How far a channel's output may be off at a level, for one unit of error at mid level.

The error is a tent over the level: one part is largest at mid level, the other near the foot of the channel's
ramps, both 0 where it is off and at full, linear between.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lightdose.model.fixture import Channel, ChannelProgramme, Fixture
from lightdose.model.record import FloatArray, distinct
from lightdose.physics.day_curve import area_below, each_channel

FOOT = 0.175
FOOT_OVER_MID = 4.0
"""Near the foot, at this share of its plateau, a ramp is off by so many times the error at mid level, as a
share of the plateau."""

_FLAT = 1e-6
"""Levels nearer than this count as one: the mean of both ends is then exact enough."""


def tent_hours(fixtures: Sequence[Fixture]) -> FloatArray:
    """Hours that an error of 1 at mid level adds to each channel's hours at full output.

    Parameters
    ----------
    fixtures : sequence of Fixture

    Returns
    -------
    array, shape (n_channel,). [h]

    Source
    ------
    Mean of the tent over a linear piece, by its integral over the level, closed form.
    """

    return each_channel(fixtures, _tent_hours)


def _tent_hours(fixture: Fixture, channel: Channel, programme: ChannelProgramme) -> float:
    """Of one channel."""
    knots, tent = tent_of(fixture, channel.name)
    level, height = programme.level, np.interp(programme.level, knots, tent)
    mean = 0.5 * (height[1:] + height[:-1])
    rise, area = np.diff(level), np.diff(area_below(level, knots, tent))
    np.divide(area, rise, out=mean, where=np.abs(rise) > _FLAT)
    return float(np.diff(programme.time_h) @ mean)


def tent_of(fixture: Fixture, channel: str) -> tuple[FloatArray, FloatArray]:
    """The tent of a channel: levels 0-1, and its height there per unit error at mid level.

    Above the highest level of the programme it only has to come down to 0.

    Parameters
    ----------
    fixture : Fixture
    channel : str
        Its name.

    Returns
    -------
    two arrays, shape (n_knot,)

    Source
    ------
    Drivers are set at both ends and worst between, our choice; a measured ramp of a LED tank stayed near 0
    until 15-20 % of its programme, 7.50 equivalent hours for 8.00 programmed (open data of a coral
    experiment, one day; figures only), which is two standard uncertainties by default.
    """
    programme = fixture.programme.channels.get(channel)
    top = 1.0 if programme is None else float(programme.level.max())
    top = top if top > 0 else 1.0
    level = distinct([0.0, FOOT * top, min(0.5, top), top, 1.0])
    foot = np.interp(level / top, (0.0, FOOT, 1.0), (0.0, top, 0.0))
    return level, 1 - np.abs(2 * level - 1) + FOOT_OVER_MID * foot
