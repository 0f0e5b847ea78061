"""The overall setting of a fixture at another percentage: the variation ``--all-channels``."""

from __future__ import annotations

import math

import numpy as np

from lightdose.errors import Problem, ScheduleError
from lightdose.files.schedule_csv import PERCENT_NOTE, schedule_from_text, write_schedule
from lightdose.model.fixture import ChannelProgramme, Dial, Programme

OPTION = "--all-channels"


def at_overall(programme: Programme, percent: float, fixture: str) -> Programme:
    """A fixture's programme with the plateau of its overall setting at another percentage.

    A programme without such a setting is taken as one at 100. Up to 100 percent the programme remembers its
    dial; above, where nothing can be set, levels are multiplied.

    Raises
    ------
    ScheduleError
        If the setting is 0 all day, or a channel would run above 100 percent.
    """
    dial = programme.dial
    if percent <= 100:
        dial = dial or _dial_at_100(programme)
        if not dial.plateau > 0:
            found = f"{OPTION} {percent:g}: the overall setting of {fixture!r} is 0 all day"
            raise ScheduleError(Problem(found, cure="give its all_channels a plateau"))
        return dial.at(percent / 100).programme()
    if dial is not None:
        found = f"{OPTION} {percent:g}: the overall setting of {fixture!r} ends at 100"
        raise ScheduleError(Problem(found, "0 to 100"))
    factor = percent / 100
    name, highest = max(
        ((name, float(channel.level.max())) for name, channel in programme.channels.items()),
        key=lambda named: named[1],
    )
    if highest * factor > 1 + 1e-12:
        found = f"{OPTION} {percent:g}: {name!r} of {fixture!r} would run at {highest * percent:.4g} %"
        most = math.floor(1000 / highest + 1e-9) / 10
        raise ScheduleError(Problem(found, f"0 to {most:g}, where {name!r} runs at 100 %"))
    scaled = {
        name: ChannelProgramme(c.time_h, np.minimum(np.round(c.level * factor, 14), 1.0))
        for name, c in programme.channels.items()
    }
    return Programme(scaled)


def _dial_at_100(programme: Programme) -> Dial:
    """The rows that the programme is written in, with 100 in each."""
    names = list(programme.channels)
    head, *rows = (
        line for line in write_schedule(programme, names).splitlines() if not line.startswith("# ")
    )
    text = "\n".join([f"# {PERCENT_NOTE}", f"{head},all_channels", *(f"{row},100" for row in rows)])
    dial = schedule_from_text(text, "schedule", names)[0].dial
    assert dial is not None
    return dial
