"""What corals got in the days before a change, and whether the change raises them too far on top of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import NamedTuple

from lightdose.analysis import analyse
from lightdose.errors import LightdoseError, OutputError, Place, Problem
from lightdose.files.diary_states import STATES, diary_folder, read_states
from lightdose.judge.comparison import same_calibration, same_lamps
from lightdose.judge.light_history import day_after, days_between
from lightdose.judge.week_of_rises import LightBefore, WeeklyLimit, fast_rises, raised
from lightdose.model.diary import RecentSteps
from lightdose.model.setup import Setup
from lightdose.workflows.kept_light import KeptSetups


class NextChange(NamedTuple):
    """A change that is to be taken over.

    Attributes
    ----------
    after : dose that it gives each coral that it is about. [mol m-2 d-1]
    limit : how fast they may rise
    own : how the reasons begin of states that such a step was kept with; empty where it is no step
    """

    after: Mapping[str, float]
    limit: WeeklyLimit
    own: str


def recent_steps(setup: Setup, after: Mapping[str, float], limit: WeeklyLimit, today: str) -> RecentSteps:
    """What the diary tells of the days before a change, read against today's setup.

    Doses of a state are compared under today's calibration: readings change what is known, not the light.

    Parameters
    ----------
    setup : as it is today
    after : dose of each coral that the change is about. [mol m-2 d-1]
    """
    folder = diary_folder(setup.path)
    states, _ = read_states(folder)
    recent = [i for i, s in enumerate(states) if days_between(s.date, today) < limit.window_d]
    if not recent:
        return RecentSteps()
    now = _doses(setup)
    up = raised(now, after)
    if not up:
        return RecentSteps()
    setups, unknown, light = KeptSetups(folder), [], []
    as_today = {s.name: _measured_as(setups.setup(s), setup) for s in states[max(0, recent[0] - 1) :]}
    pairs = [(states[i - 1], states[i].date) for i in recent if i > 0]
    for state, until in (*pairs, (states[-1], states[-1].date)):
        kept = as_today[state.name]
        try:
            doses = None if kept is None else _doses(kept)
        except LightdoseError:
            doses = None
        if doses is None:
            unknown.append(state)
        else:
            light.append(LightBefore(until, doses))
    same = [states[i] for i in recent if not _measured_since(setups.setup(states[i]), setup)]
    rises = fast_rises(light, now, after, today, limit)
    return RecentSteps(up, tuple(same), rises, tuple(unknown))


def refuse_too_soon(setup: Setup, change: NextChange, today: str) -> RecentSteps:
    """Raise OutputError where a change follows a rise too soon; gives what the diary tells."""
    found = recent_steps(setup, change.after, change.limit, today)
    days, own = change.limit.step_days, change.own
    taken = [s for s in found.states if own and s.why.startswith(own) and days_between(s.date, today) < days]
    due = max([r.due for r in found.rises] + [day_after(s.date, days) for s in taken], default=None)
    if due is None:
        return found
    if taken:
        last = taken[-1]
        what = f"the step before was taken over on {last.date} ({last.why}) and is to last {days} days"
    else:
        one = found.rises[0]
        so_far, then = (f"{100 * (dose / one.before - 1):.0f} %" for dose in (one.now, one.after))
        what = (
            f"{one.coral!r} gets {so_far} more light than up to {one.since}, and with this it would be {then}"
        )
    cure = f"the next step is due on {due}: run this again then, or leave --keep out to see it now"
    if not own:
        cure = (
            f"take it over from {due} on, or leave --keep out and go there in steps with lightdose acclimate"
        )
    raise OutputError(
        Problem(
            f"{what}; nothing was written",
            f"at most {100 * change.limit.rise_per_week:g} % more light in a week",
            cure,
            Place(str(diary_folder(setup.path) / STATES)),
        )
    )


def _doses(setup: Setup) -> dict[str, float]:
    return {v.coral: v.dli_mol_m2_d for v in analyse(setup, certainty=False).verdicts}


def _measured_since(kept: Setup | None, today: Setup) -> bool:
    """Whether readings have told since what the tank gives: a step by a reading need not wait."""
    return kept is not None and today.calibration is not None and not same_calibration(kept, today)


def _measured_as(kept: Setup | None, today: Setup) -> Setup | None:
    """A kept setup with today's calibration; None where other lamps hung than those that were measured."""
    if kept is None or same_calibration(kept, today):
        return kept
    try:
        made = replace(kept, calibration=today.calibration)
    except LightdoseError:
        return None
    return made if same_lamps(made, today) else None
