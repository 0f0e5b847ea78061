"""Overall settings and lengths of the day, tried by the hundred on all corals of a tank.

A coral's penalty hangs on its calculated dose alone, as long as it is as sure as it is today: the draws give
each coral one curve, and a trial is a sum of calculated doses looked up on them. What a search finds is then
judged by all draws.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Final, Self

import numpy as np

from lightdose.judge.outlook import Outlook
from lightdose.model.advice import OverallChange
from lightdose.model.fixture import Fixture
from lightdose.model.record import FloatArray, dataclass, read_only
from lightdose.physics.changed_day import SAME_DAY, DayChange, channel_hours, headroom, with_levels
from lightdose.quantities import MOL_PER_UMOL_S_H

FACTORS: Final = np.exp(np.linspace(math.log(0.25), math.log(4.0), 33))
AROUND: Final = np.exp(np.linspace(-0.12, 0.12, 25))
"""Factors on today's settings that are tried, then those around the best of them: our choice."""

TOLD_APART = 0.1
"""Penalties that differ by less count as equal, and the nearest to today is taken: our choice."""

FURTHEST_LN, STEPS = math.log(50.0), 800
"""The curves reach from a fiftieth to fifty times today's dose, in steps of 1 %: our choice."""

DARK = 1e-12
"""A dose below it is none: nothing is so many times as much. Our choice. [mol m-2 d-1]"""

Setting = tuple[float, ...]


@dataclass(frozen=True, eq=False)
class PenaltyCurves:
    """Penalty of each coral against its calculated dose.

    Attributes
    ----------
    stated : array, shape (n_coral,); today's calculated doses. [mol m-2 d-1]
    table : array, shape (n_coral, STEPS + 1); at doses from a fiftieth to fifty times of that
    """

    stated: FloatArray
    table: FloatArray

    @classmethod
    def of(cls, outlook: Outlook) -> Self:
        """Of the judged corals of a tank, from every one of today's draws."""
        drawn = outlook.doses_today
        return cls.drawn(
            np.array([v.dli_mol_m2_d for v in outlook.verdicts]), drawn, outlook.marks, outlook.penalties
        )

    @classmethod
    def drawn(cls, stated: FloatArray, drawn: FloatArray, marks: FloatArray, penalties: FloatArray) -> Self:
        """From calculated doses (n,), draws (n, n_draw), marks (n, 4) [mol m-2 d-1] and what states count.

        Source
        ------
        Share of the draws on each side of each mark when all are multiplied alike.
        """
        ln_ratio = np.linspace(-FURTHEST_LN, FURTHEST_LN, STEPS + 1)
        table = np.empty((len(stated), ln_ratio.size))
        with np.errstate(divide="ignore"):
            ln_marks, ln_drawn = np.log(marks), np.sort(np.log(drawn), axis=1)
        for row, (ln, of) in enumerate(zip(ln_drawn, ln_marks, strict=True)):
            below = [np.searchsorted(ln, mark - ln_ratio, side="left") for mark in of[:2]]
            passed = [*below, *(np.searchsorted(ln, mark - ln_ratio, side="right") for mark in of[2:])]
            counts = np.diff([np.zeros_like(passed[0]), *passed, np.full_like(passed[0], ln.size)], axis=0)
            table[row] = penalties[row] @ counts / ln.size
        return cls(stated, table)

    def each(self, dli: FloatArray) -> FloatArray:
        """Penalties at calculated doses, both of shape (..., n_coral). [mol m-2 d-1]"""
        ratio = np.divide(dli, self.stated, out=np.ones_like(dli), where=self.stated > DARK)
        with np.errstate(divide="ignore"):
            at = (np.log(ratio) / FURTHEST_LN + 1) * 0.5 * STEPS
        at = np.clip(at, 0.0, STEPS - 1e-9)
        low = at.astype(np.intp)
        rows = np.arange(self.stated.size)
        one, other = self.table[rows, low], self.table[rows, low + 1]
        return np.asarray(one + (at - low) * (other - one))

    def one(self, row: int, dli: FloatArray) -> FloatArray:
        """Penalties of one coral at any calculated doses, of the same shape. [mol m-2 d-1]"""
        alone = PenaltyCurves(self.stated[row : row + 1], self.table[row : row + 1])
        return np.asarray(alone.each(dli[..., None])[..., 0])

    def total(self, dli: FloatArray) -> FloatArray:
        """Penalty of the tank, shape (...,)."""
        return np.asarray(self.each(dli).sum(axis=-1))


class Search:
    """A tank whose fixtures are set as a whole; ``dials`` holds what each is set to now. [%]"""

    def __init__(self, outlook: Outlook, dials: Mapping[str, float]) -> None:
        self.outlook, self.dials = outlook, dials
        self.fixtures = outlook.fixtures
        self.headroom = [headroom(f) for f in self.fixtures]
        self.curves = PenaltyCurves.of(outlook)
        self.light = stated_light(outlook)
        self.known: dict[tuple[int, bytes, tuple[DayChange, ...]], FloatArray] = {}

    @property
    def running(self) -> list[int]:
        """The fixtures that give any light today."""
        return [i for i, room in enumerate(self.headroom) if math.isfinite(room)]

    def doses(self, fixture: int, factors: FloatArray, days: Sequence[DayChange] = (SAME_DAY,)) -> FloatArray:
        """Calculated doses from one fixture with levels times factors, in each day; factors run fastest.

        Returns
        -------
        array, shape (n_day x n_factor, n_coral). [mol m-2 d-1]
        """
        asked = fixture, factors.tobytes(), tuple(days)
        if asked in self.known:
            return self.known[asked]
        one, plateau = self.fixtures[fixture], self.outlook.plateau
        parts = [
            channel_hours(one.programme.channels.get(c.name), c.dimming, factors, plateau)
            for c in one.type.channels
        ]
        hours = np.array([np.concatenate([part.at(day) for day in days]) for part in parts])
        light = self.light[:, self.outlook.channels_of(fixture)]
        return self.known.setdefault(asked, read_only(MOL_PER_UMOL_S_H * (light @ hours).T))

    def doses_of(self, fixtures: Iterable[int]) -> FloatArray:
        """Calculated doses of today from some fixtures, shape (n_coral,). [mol m-2 d-1]"""
        return np.asarray(sum((self.doses(i, np.ones(1))[0] for i in fixtures), np.zeros(len(self.light))))

    def settings(self, together: Sequence[int], factors: FloatArray) -> list[Setting]:
        """Settings of some fixtures that go together, in percent as a dial takes them, none beyond full."""
        today = [self.dials[self.fixtures[i].name] for i in together]
        found: dict[Setting, None] = {}
        for factor in factors.tolist():
            setting = tuple(as_dialled(dial * factor) for dial in today)
            if min(setting) > 0 and all(
                s <= d * self.headroom[i] * (1 + 1e-12)
                for s, d, i in zip(setting, today, together, strict=True)
            ):
                found[setting] = None
        return list(found)

    def best_settings(self, together: Sequence[int]) -> list[tuple[Setting, float]]:
        """Settings of some fixtures together while the others stay, with penalties, the least first."""
        rest = self.doses_of(i for i in range(len(self.fixtures)) if i not in together)
        today = [self.dials[self.fixtures[i].name] for i in together]
        tried: dict[Setting, float] = {}
        around = 1.0

        def factor(setting: Setting) -> float:
            """What a setting does to all together, by no order of theirs."""
            return math.prod(sorted(s / d for s, d in zip(setting, today, strict=True))) ** (1 / len(today))

        for factors in (FACTORS, AROUND):
            new = [s for s in self.settings(together, around * factors) if s not in tried]
            if new:
                dli = rest[None]
                for column, (i, dial) in enumerate(zip(together, today, strict=True)):
                    dli = dli + self.doses(i, np.array([s[column] / dial for s in new]))
                tried.update(zip(new, self.curves.total(dli).tolist(), strict=True))
            if tried:
                around = factor(min(tried, key=tried.__getitem__))
        order = sorted(
            tried, key=lambda s: (round(tried[s] / TOLD_APART), abs(math.log(factor(s))), tried[s])
        )
        return [(setting, tried[setting]) for setting in order]

    def dialled(self, together: Sequence[int], setting: Setting) -> tuple[OverallChange, ...]:
        """A setting by the names of its fixtures."""
        fixtures = [self.fixtures[i] for i in together]
        return tuple(
            OverallChange(f.name, self.dials[f.name], s, f.programme.dial is not None)
            for f, s in zip(fixtures, setting, strict=True)
        )


def stated_light(outlook: Outlook) -> FloatArray:
    """Calculated PPFD of every channel at full output at the judged corals, (n_coral, n_channel)."""
    field = outlook.analysis.light_field.of("ppfd")
    return np.asarray(field[[v.receiver for v in outlook.verdicts]])


def set_to(fixtures: Sequence[Fixture], dials: Sequence[OverallChange]) -> tuple[Fixture, ...]:
    """Fixtures with other overall settings."""
    factor = {d.fixture: d.after / d.before for d in dials}
    return tuple(with_levels(f, [factor.get(f.name, 1.0)] * len(f.type.channels)) for f in fixtures)


def as_dialled(setting: float) -> float:
    """A whole percent, or a tenth below 10.

    Source
    ------
    Our choice: dials go in whole percents, and 1 % of a low setting is a large step.
    """
    return float(round(setting)) if setting >= 9.5 else round(setting, 1)
