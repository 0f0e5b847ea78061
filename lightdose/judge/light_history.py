"""What changes of the light were for a coral: how fast it rose, what it fell below, what it is set for."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Sequence
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from lightdose.judge.acclimation import DEEP_CUT, FINE_RISE, TAU_D
from lightdose.model.diary import Change, ChangeKind, CoralDay, KeptState, SetFor, Spell

WEEK_D = 7
ROUNDING = 0.005
"""Programmes are set in tenths of a percent: a rise counts as faster from so much more. Our choice."""

NOTICED = 0.02
"""Smaller changes of a dose are not named. Our choice."""

COLOUR_SHIFT = 0.05
"""A share of blue or red that moves by more is another colour of light. Our choice, as in `tune`."""

HOURS_SHIFT = 0.5
"""A day that is lit so much longer or shorter is named. Our choice. [h]"""

HERE_M = 1e-6
"""Two places nearer than this are one. [m]"""


class Under(NamedTuple):
    """A coral's light under a state, up to the day of the next."""

    state: KeptState
    light: CoralDay
    until: str


@lru_cache(maxsize=16384)
def day_number(date: str) -> int:
    """A date as a number of days."""
    return datetime.date.fromisoformat(date).toordinal()


def days_between(earlier: str, later: str) -> int:
    """Whole days from one date to another; negative if it is before it. [d]"""
    return day_number(later) - day_number(earlier)


def day_after(date: str, days: int) -> str:
    """The date that is so many days after another."""
    return datetime.date.fromordinal(day_number(date) + days).isoformat()


def spells_of(unders: Sequence[Under]) -> tuple[Spell, ...]:
    """The light of a coral with the dose that it is set for at the end of each spell.

    Parameters
    ----------
    unders : by date, no date twice; where the coral was away, what it is set for stands still

    Source
    ------
    dA/dt = (D - A) / tau in closed form, spell by spell, for the shortest, the usual and the longest lag; the
    coral is taken as set for its first dose.
    """
    if not unders:
        return ()
    days = [days_between(one.state.date, one.until) for one in unders]
    fading = np.exp(-np.array(days, dtype=np.float64)[:, None] / np.array(TAU_D)).tolist()
    set_for = [unders[0].light.dli_mol_m2_d] * len(TAU_D)
    made = []
    for one, faded in zip(unders, fading, strict=True):
        dose = one.light.dli_mol_m2_d
        set_for = [dose + (before - dose) * left for before, left in zip(set_for, faded, strict=True)]
        ends_at = SetFor(set_for[1], min(set_for), max(set_for))
        made.append(Spell(one.state, one.state.date, one.until, one.light, ends_at))
    return tuple(made)


def changes_of(coral: str, spells: Sequence[Spell]) -> tuple[Change, ...]:
    """Every change of a coral's light that is worth a name, by date.

    Source
    ------
    More than 10 % within a week, and a cut of more than half at once: common practice, no published rule per
    week; the floor is that of the coral's group; the rest is our choice.
    """
    made = []
    for index, (one, other) in enumerate(pairwise(spells)):
        least = min(_doses_of_week(spells, index + 1))
        dose = other.light.dli_mol_m2_d
        rise = dose / least if least > 0 else None
        kinds = tuple(_kinds(one.light, other.light, rise))
        if kinds:
            made.append(Change(other.since, coral, kinds, one.light, other.light, rise))
    return tuple(made)


def _doses_of_week(spells: Sequence[Spell], index: int) -> Iterator[float]:
    """Doses of the seven days before a spell began."""
    since = spells[index].since
    for spell in reversed(spells[:index]):
        yield spell.light.dli_mol_m2_d
        if days_between(spell.since, since) >= WEEK_D:
            return


def _kinds(a: CoralDay, b: CoralDay, rise: float | None) -> Iterator[ChangeKind]:
    before, after = a.dli_mol_m2_d, b.dli_mol_m2_d
    rose = after > before * (1 + ROUNDING)
    if rose and (rise is None or rise > (1 + FINE_RISE) * (1 + ROUNDING)):
        yield "fast_rise"
    if a.floor_dli is not None and b.floor_dli is not None and after < b.floor_dli <= before:
        yield "below_floor"
    if before > 0 and after < DEEP_CUT * before:
        yield "deep_cut"
    if a.site != b.site or any(abs(x - y) > HERE_M for x, y in zip(a.place, b.place, strict=True)):
        yield "moved"
    if a.shares and b.shares:
        shift = max(abs(a.shares[key] - b.shares[key]) for key in ("blue", "red"))
        if shift > COLOUR_SHIFT:
            yield "colour"
    if abs(a.photoperiod_h - b.photoperiod_h) > HOURS_SHIFT:
        yield "hours"
    if rose and after > before * (1 + NOTICED):
        yield "brighter"
    elif after < before * (1 - NOTICED):
        yield "dimmer"
