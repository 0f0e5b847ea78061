"""Overall settings and lengths of the day, tried by the hundred on all corals of a tank.

A search looks at a part of the draws and at each fixture by itself: doses add up, so one fixture's settings
need no other fixture's light computed again.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Final

import numpy as np

from lightdose.judge.drawn_light import FILLS, WAITS
from lightdose.judge.outlook import Outlook
from lightdose.judge.states import expected_penalty, state_shares
from lightdose.model.advice import OverallChange
from lightdose.model.fixture import Fixture
from lightdose.model.record import FloatArray
from lightdose.physics.changed_day import SAME_DAY, DayChange, channel_hours, headroom, with_levels
from lightdose.quantities import MOL_PER_UMOL_S_H

FACTORS: Final = np.exp(np.linspace(math.log(0.25), math.log(4.0), 25))
AROUND: Final = np.exp(np.linspace(-0.12, 0.12, 13))
"""Factors on today's settings that are tried, then those around the best of them: our choice."""

TOLD_APART = 0.1
"""Penalties that differ by less count as equal, and the nearest to today is taken: our choice."""

Setting = tuple[float, ...]


class Search:
    """A tank whose fixtures are set as a whole; ``dials`` holds what each is set to now. [%]"""

    def __init__(self, outlook: Outlook, dials: Mapping[str, float]) -> None:
        self.outlook, self.dials = outlook, dials
        self.fixtures = outlook.fixtures
        self.response, self.dimming = outlook.some_draws()

    @property
    def running(self) -> list[int]:
        """The fixtures that give any light today."""
        return [i for i, f in enumerate(self.fixtures) if math.isfinite(headroom(f))]

    def hours(self, fixture: int, factors: FloatArray, days: Sequence[DayChange] = (SAME_DAY,)) -> FloatArray:
        """Drawn hours of a fixture's channels with levels times factors, in each day; factors run fastest.

        Returns
        -------
        array, shape (n_channel, n_day x n_factor, n_draw). [h]
        """
        one, own = self.fixtures[fixture], self.outlook.channels_of(fixture)
        found = []
        for channel, error in zip(one.type.channels, self.dimming[own], strict=True):
            programme = one.programme.channels.get(channel.name)
            stated, fills, waits = (
                channel_hours(programme, curve, factors, self.outlook.plateau)
                for curve in (channel.dimming, FILLS, WAITS)
            )
            known = np.concatenate([stated.at(day) for day in days])
            tent = np.concatenate([fills.at(day) - waits.at(day) for day in days])
            found.append(np.maximum(known[:, None] + tent[:, None] * error, 0.0))
        return np.array(found)

    def doses(self, fixture: int, factors: FloatArray, days: Sequence[DayChange] = (SAME_DAY,)) -> FloatArray:
        """Drawn doses from one fixture, shape (n_day x n_factor, n_coral, n_draw). [mol m-2 d-1]"""
        light = self.response[:, self.outlook.channels_of(fixture)]
        return np.asarray(
            MOL_PER_UMOL_S_H * np.einsum("nck,cmk->mnk", light, self.hours(fixture, factors, days))
        )

    def doses_today(self, fixtures: Iterable[int] | None = None) -> FloatArray:
        """Drawn doses of today, of some fixtures or all, shape (n_coral, n_draw). [mol m-2 d-1]"""
        dli = np.zeros((len(self.response), self.response.shape[2]))
        for i in range(len(self.fixtures)) if fixtures is None else fixtures:
            dli += self.doses(i, np.ones(1))[0]
        return dli

    def penalty_of(self, row: int, dli: FloatArray) -> float:
        """Penalty of one coral with drawn doses, shape (n_draw,). [mol m-2 d-1]"""
        shares = state_shares(dli[None], self.outlook.marks[row : row + 1])
        return float(expected_penalty(shares)[0])

    def settings(self, together: Sequence[int], factors: FloatArray) -> list[Setting]:
        """Settings of some fixtures that go together, in percent as a dial takes them, none beyond full."""
        today = [self.dials[self.fixtures[i].name] for i in together]
        found: dict[Setting, None] = {}
        for factor in factors.tolist():
            setting = tuple(as_dialled(dial * factor) for dial in today)
            if min(setting) > 0 and all(
                s <= d * headroom(self.fixtures[i]) * (1 + 1e-12)
                for s, d, i in zip(setting, today, together, strict=True)
            ):
                found[setting] = None
        return list(found)

    def best_settings(self, together: Sequence[int]) -> list[Setting]:
        """Settings of some fixtures together while the others stay, the least penalty first."""
        rest = self.doses_today(i for i in range(len(self.fixtures)) if i not in together)
        today = [self.dials[self.fixtures[i].name] for i in together]
        tried: dict[Setting, float] = {}
        around = 1.0
        for factors in (FACTORS, AROUND):
            new = [s for s in self.settings(together, around * factors) if s not in tried]
            if new:
                dli = rest[None]
                for column, (i, dial) in enumerate(zip(together, today, strict=True)):
                    dli = dli + self.doses(i, np.array([s[column] / dial for s in new]))
                tried.update(zip(new, self.outlook.penalties(dli).tolist(), strict=True))
            if tried:
                around = min(tried, key=tried.__getitem__)[0] / today[0]
        return sorted(
            tried, key=lambda s: (round(tried[s] / TOLD_APART), abs(math.log(s[0] / today[0])), tried[s])
        )

    def dialled(self, together: Sequence[int], setting: Setting) -> tuple[OverallChange, ...]:
        """A setting by the names of its fixtures."""
        names = [self.fixtures[i].name for i in together]
        return tuple(OverallChange(n, self.dials[n], s) for n, s in zip(names, setting, strict=True))


def set_to(fixtures: Sequence[Fixture], dials: Sequence[OverallChange]) -> tuple[Fixture, ...]:
    """Fixtures with other overall settings."""
    factor = {d.fixture: d.after / d.before for d in dials}
    return tuple(with_levels(f, [factor.get(f.name, 1.0)] * len(f.type.channels)) for f in fixtures)


def as_dialled(setting: float) -> float:
    """A whole percent, or a tenth below 10."""
    return float(round(setting)) if setting >= 9.5 else round(setting, 1)
