"""Another programme for a whole tank: overall settings, settings a fixture, or the level of every channel.

What may change is a set of groups of channels, each with one factor on its levels: one group, one a fixture,
or one a channel. Doses are sums over groups, so each group's doses are tabulated once over its factors, and
the search walks through the tables: one group at a time, then two at a time, from several starts.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np
import numpy.typing as npt

from lightdose.errors import InfeasibleError, Problem, ScheduleError
from lightdose.judge.outlook import Outlook
from lightdose.judge.search import AROUND, FACTORS, TOLD_APART, PenaltyCurves, as_dialled, stated_light
from lightdose.judge.tuning_bounds import Bounds, Limits, lit_channels
from lightdose.model.fixture import ChannelProgramme, Fixture, Programme
from lightdose.model.plans import Controller, DayShape, TuneWishes
from lightdose.model.record import FloatArray, dataclass
from lightdose.physics.changed_day import SAME_DAY, DayChange, Plateau, channel_hours, with_times
from lightdose.physics.controller import held_dial, held_programme, rounded_levels
from lightdose.physics.day_curve import day_curve, day_points, full_output_hours
from lightdose.quantities import MOL_PER_UMOL_S_H

PLATEAU_STEP_H, AROUND_TODAY_H, SHORTEST_H, LONGEST_DAY_H = 0.25, 3.0, 0.5, 14.0
"""Lengths of the plateau that are tried without bounds: our choice."""

COST_OF_CHANGE = 0.01
"""Doubling the light of everything counts for this share of today's penalty: the least change among equals.
Our choice."""

MOST_STEPS = 200
PAIR_STEPS = (-8, -3, -1, 1, 3, 8)
FEW_GROUPS = 3
"""Of so few groups any two are set anew together in every way; of more, some steps to either side."""

FINE = np.exp(np.linspace(math.log(0.25), math.log(4.0), 279))
"""Factors that are tried where there is one alone: each hundredth of today."""

LEVELS_OF_AN_OFF_CHANNEL = (0.02, 0.05, 0.1, 0.15, 0.2, 0.3, 0.4, 0.5, 0.6, 0.8, 1.0)


@dataclass(frozen=True)
class Candidate:
    """Factors on the levels of every channel, and a day."""

    factors: tuple[float, ...]
    day: DayChange = SAME_DAY


class Tuner:
    """The search over one tank.

    Parameters
    ----------
    outlook : Outlook
    wishes : TuneWishes
    bounds : Bounds
        What every channel may give.
    limits : Limits
        What the light at the corals must keep.
    """

    def __init__(self, outlook: Outlook, wishes: TuneWishes, bounds: Bounds, limits: Limits) -> None:
        self.outlook, self.wishes, self.bounds, self.limits = outlook, wishes, bounds, limits
        self.fixtures = outlook.fixtures
        self.light, self.curves = stated_light(outlook), PenaltyCurves.of(outlook)
        self.unit_cost = COST_OF_CHANGE * (1 + float(self.curves.total(self.curves.stated)))
        self.shapes = shapes_of(outlook)
        self.top = np.array([0.0 if s is None else float(s.level.max()) for s in self.shapes])
        self.today = np.array([top_level(f, c.name) for f in self.fixtures for c in f.type.channels])
        self.fixture_of = np.array([i for i, f in enumerate(self.fixtures) for _ in f.type.channels])
        self.channels = self.today.size

    def candidates(self) -> Iterator[Candidate]:
        """Programmes worth a look by all draws, the best first."""
        days = self.days()
        best = self.best_in(days[0], self.groups("overall"))
        if len(days) > 1:
            found = [(best, days[0]), *((self.best_in(d, self.groups("overall")), d) for d in days[1:])]
            least = min(score for (score, _), _ in found)
            best, day = next(pair for pair in found if pair[0][0] <= least + TOLD_APART)
        else:
            day = days[0]
        overall = Candidate(best[1], day)
        if self.wishes.change == "overall":
            yield overall
            return
        each = self.best_in(day, self.groups("fixtures"), [overall.factors])
        if self.wishes.change == "fixtures":
            yield Candidate(each[1], day)
            yield overall
            return
        starts = [each[1], overall.factors, tuple(self.start().tolist())]
        yield Candidate(self.best_in(day, self.groups("channels"), starts)[1], day)
        yield Candidate(each[1], day)
        yield overall

    def start(self) -> FloatArray:
        """Today's factors on the shapes, held within the bounds."""
        factor = np.divide(self.today, self.top, out=np.zeros_like(self.today), where=self.top > 0)
        most = np.divide(self.bounds.most, self.top, out=np.zeros_like(factor), where=self.top > 0)
        return np.asarray(np.minimum(factor, most))

    @property
    def allows_today(self) -> bool:
        """Whether today's programme is one of those that may be."""
        return bool(np.all(self.today <= self.bounds.most + 1e-9)) and SAME_DAY in self.days()

    def groups(self, change: str) -> list[list[int]]:
        """The channels that share a factor."""
        able = [i for i in range(self.channels) if self.bounds.most[i] > 0 and self.top[i] > 0]
        if change == "channels":
            return [[i] for i in able]
        running = [i for i in able if self.start()[i] > 0]
        if change == "overall":
            return [running]
        return [
            g for f in range(len(self.fixtures)) if (g := [i for i in running if self.fixture_of[i] == f])
        ]

    # --- tables ----------------------------------------------------------------------------------------

    def table(self, group: Sequence[int], day: DayChange, factors: FloatArray, now: int = 0) -> _Table:
        """Doses and limits of a group at factors of its channels, (n_entry, n_in_group)."""
        dli, kept = np.zeros((len(factors), len(self.light))), np.zeros((len(factors), len(self.limits.rows)))
        cost = np.zeros(len(factors))
        for column, c in enumerate(group):
            dimming = lit_channels(self.fixtures)[c].dimming
            hours = channel_hours(self.shapes[c], dimming, factors[:, column], self.outlook.plateau).at(day)
            dli += MOL_PER_UMOL_S_H * hours[:, None] * self.light[:, c]
            kept += hours[:, None] * self.limits.rows[:, c]
            cost += self.cost(c, factors[:, column], hours)
        return _Table(factors, dli, kept, cost, now)

    def cost(self, channel: int, factors: FloatArray, hours: FloatArray) -> FloatArray:
        """What a channel's setting counts for among programmes that serve the corals alike."""
        if self.wishes.prefer == "energy":
            return np.asarray(self.unit_cost * hours * self.limits.power[channel])
        now = self.start()[channel]
        least = 0.01 / max(float(self.top[channel]), 0.01)
        way = np.abs(np.log(np.maximum(factors, least) / max(now, least)))
        return np.asarray(self.unit_cost * self.limits.weight[channel] * way)

    # --- search ----------------------------------------------------------------------------------------

    def best_in(
        self, day: DayChange, groups: Sequence[Sequence[int]], starts: Sequence[tuple[float, ...]] = ()
    ) -> tuple[float, tuple[float, ...]]:
        """The least score of a day, and the factors that reach it."""
        best = (math.inf, tuple(self.start().tolist()))
        for start in starts or [best[1]]:
            base = np.array(start)
            for scales in (FINE if len(groups) == 1 else FACTORS, AROUND, 1 + 0.4 * (AROUND - 1)):
                tables = [self.table(g, day, *self.entries(g, base, scales)) for g in groups]
                score, chosen = self.walk(tables, self.rest(groups, base, day))
                for g, table, k in zip(groups, tables, chosen, strict=True):
                    base[list(g)] = table.factors[k]
                if score < best[0] - 1e-9:
                    best = score, tuple(base.tolist())
        return best

    def entries(self, group: Sequence[int], base: FloatArray, scales: FloatArray) -> tuple[FloatArray, int]:
        """Factors of a group that can be set within its bounds, and which entry is the base."""
        own = base[list(group)]
        if not own.any():  # off: as levels
            levels = np.array([0.0, *LEVELS_OF_AN_OFF_CHANNEL])
            levels = levels[levels <= self.bounds.most[group[0]] + 1e-12]
            return levels[:, None] / max(float(self.top[group[0]]), 1e-12), 0
        most = min(
            float(self.bounds.most[c] / (base[c] * self.top[c])) for c in group if base[c] * self.top[c] > 0
        )
        lead = max(group, key=lambda c: base[c] * self.top[c])
        setting = 100 * base[lead] * self.top[lead] / self.per_setting(lead, alone=len(group) == 1)
        found = {as_dialled(setting * s) / setting for s in scales.tolist()} | {1.0}
        if self.wishes.change == "channels" and len(group) == 1:
            found.add(0.0)
        kept = sorted(s for s in found if s <= most * (1 + 1e-9))
        return np.array(kept)[:, None] * own, kept.index(1.0)

    def per_setting(self, channel: int, *, alone: bool) -> float:
        """What a channel's level is at an overall setting of 1."""
        dial = self.fixtures[int(self.fixture_of[channel])].programme.dial
        level = float(self.today[channel])
        by_itself = alone and self.wishes.change == "channels"
        return level / dial.plateau if dial is not None and level > 0 and not by_itself else 1.0

    def rest(self, groups: Sequence[Sequence[int]], base: FloatArray, day: DayChange) -> _Table:
        """The light of the channels in no group."""
        taken = {c for g in groups for c in g}
        others = [c for c in range(self.channels) if c not in taken and base[c] > 0]
        return self.table(others, day, base[None, others])

    def walk(self, tables: Sequence[_Table], rest: _Table) -> tuple[float, list[int]]:
        """The best entry of each table that steps of one or two groups lead to from the base."""
        sizes = [len(t.factors) for t in tables]
        first = np.cumsum([0, *sizes[:-1]])
        group = np.repeat(np.arange(len(tables)), sizes)
        dli, kept, cost = (
            np.concatenate([getattr(t, name) for t in tables]) for name in ("dli", "kept", "cost")
        )
        chosen = first + np.array([t.now for t in tables])

        def tried(entries: Entries) -> FloatArray:
            """Scores of trials, shape (n_trial, n_changed), against what is chosen."""
            old = chosen[group[entries]]
            return self.scores(
                rest.dli[0] + dli[chosen].sum(axis=0) + (dli[entries] - dli[old]).sum(axis=1),
                rest.kept[0] + kept[chosen].sum(axis=0) + (kept[entries] - kept[old]).sum(axis=1),
                cost[chosen].sum() + (cost[entries] - cost[old]).sum(axis=1),
            )

        score = float(tried(chosen[:1, None])[0])
        for _ in range(MOST_STEPS):
            for entries in (np.arange(group.size)[:, None], _pairs(chosen, first, sizes)):
                scores = tried(entries) if entries.size else np.array([math.inf])
                best = int(np.argmin(scores))
                if scores[best] < score - 1e-6:
                    score = float(scores[best])
                    chosen[group[entries[best]]] = entries[best]
                    break
            else:
                break
        return score, (chosen - first).tolist()

    def scores(self, dli: FloatArray, kept: FloatArray, cost: FloatArray) -> FloatArray:
        """Penalty and cost of trials; what breaks a limit comes after all that keeps them."""
        broken = np.maximum(kept - self.limits.most - self.limits.slack, 0.0).sum(axis=1)
        score = np.where(broken > 0, 1e3 + 1e3 * broken, 0.0)
        keeps = np.flatnonzero(broken <= 0)
        if keeps.size:
            score[keeps] = self.curves.total(dli[keeps]) + cost[keeps]
        return score

    # --- days ------------------------------------------------------------------------------------------

    def days(self) -> list[DayChange]:
        """Lengths of the plateau that may be, the nearest to today's first."""
        plateau, wishes = self.outlook.plateau, self.wishes
        shape = day_shape(self.fixtures, plateau, self.limits.weight)
        asked = (wishes.plateau_h, wishes.ramp_up_h, wishes.ramp_down_h) != (None, None, None)
        if plateau is None or shape is None:
            if asked:
                raise InfeasibleError(
                    Problem(
                        "the light never stands still at its brightest, so there is no plateau to change",
                        cure="leave out --plateau, --ramp-up and --ramp-down",
                    )
                )
            return [SAME_DAY]
        up, down = (
            1.0 if h is None or now <= 0 else h / now
            for h, now in ((wishes.ramp_up_h, shape.ramp_up_h), (wishes.ramp_down_h, shape.ramp_down_h))
        )
        ramps = up * shape.ramp_up_h + down * shape.ramp_down_h
        low, high = self.plateau_bounds(plateau, ramps)
        step = max(PLATEAU_STEP_H, 2 * wishes.controller.time_step_min / 60)
        lengths = {plateau.hours + k * step for k in range(-96, 97)} | {low, high}
        lengths = {h for h in lengths if low - 1e-9 <= h <= high + 1e-9}
        days = [
            DayChange(round(h - plateau.hours, 6), up, down)
            for h in sorted(lengths, key=lambda h: (abs(h - plateau.hours), h))
        ]
        return [d for d in days if self.possible(d)] or [replace(SAME_DAY, up=up, down=down)]

    def plateau_bounds(self, plateau: Plateau, ramps_h: float) -> tuple[float, float]:
        """Shortest and longest plateau. [h]"""
        if self.wishes.plateau_h is None:
            longest = max(plateau.hours, LONGEST_DAY_H - ramps_h)
            low = min(max(plateau.hours - AROUND_TODAY_H, SHORTEST_H), plateau.hours)
            return low, min(plateau.hours + AROUND_TODAY_H, longest)
        low, high = self.wishes.plateau_h
        if low > high:
            raise InfeasibleError(
                Problem(
                    f"a plateau of at least {low:g} h and at most {high:g} h leaves no length",
                    cure="write the shorter one first, such as --plateau 5-9",
                )
            )
        if low + ramps_h > 24:
            raise InfeasibleError(
                Problem(
                    f"ramps of {ramps_h:g} h and a plateau of {low:g} h pass 24 h", cure="shorten one of them"
                )
            )
        return low, min(high, 24 - ramps_h)

    def possible(self, day: DayChange) -> bool:
        """Whether the programmes can run so long."""
        assert self.outlook.plateau is not None
        try:
            for fixture in self.fixtures:
                with_times(fixture, self.outlook.plateau, day)
        except ScheduleError:
            return False
        return True

    # --- programmes ------------------------------------------------------------------------------------

    def programmes(self, candidate: Candidate) -> tuple[Programme, ...]:
        """A candidate as the controllers take it; overall settings stay where they are set."""
        found = []
        for i, fixture in enumerate(self.fixtures):
            own = np.flatnonzero(self.fixture_of == i)
            factors = {
                c.name: candidate.factors[k] for c, k in zip(fixture.type.channels, own.tolist(), strict=True)
            }
            shapes = {
                c.name: self.shapes[k] for c, k in zip(fixture.type.channels, own.tolist(), strict=True)
            }
            made = set_programme(fixture, factors, shapes, self.wishes.controller)
            if candidate.day != SAME_DAY and self.outlook.plateau is not None:
                made = with_times(
                    replace(fixture, programme=made), self.outlook.plateau, candidate.day
                ).programme
            found.append(held(made, fixture, self.wishes.controller))
        return tuple(found)


@dataclass(frozen=True, eq=False)
class _Table:
    """A group of channels at several factors, ``now`` the entry of today.

    Attributes
    ----------
    factors : array, shape (n_entry, n_in_group)
    dli : array, shape (n_entry, n_coral); calculated. [mol m-2 d-1]
    kept : array, shape (n_entry, n_limit)
    cost : array, shape (n_entry,)
    """

    factors: FloatArray
    dli: FloatArray
    kept: FloatArray
    cost: FloatArray
    now: int


Entries = npt.NDArray[np.intp]


def _pairs(chosen: Entries, first: Entries, sizes: Sequence[int]) -> Entries:
    """Entries of any two groups, shape (n_trial, 2): all of few groups, of many some steps to either side."""
    near = [
        list(range(f, f + n))
        if len(sizes) <= FEW_GROUPS
        else [k + d for d in PAIR_STEPS if f <= k + d < f + n]
        for k, f, n in zip(chosen.tolist(), first.tolist(), sizes, strict=True)
    ]
    pairs = [(a, b) for one, other in combinations(near, 2) for a in one for b in other]
    return np.array(pairs, dtype=np.intp).reshape(-1, 2)


def shapes_of(outlook: Outlook) -> tuple[ChannelProgramme | None, ...]:
    """The course of every channel; one that is off borrows that of its fixture's leading channel, at full."""
    weight = outlook.response.mean(axis=(0, 2))
    hours = full_output_hours(day_curve(outlook.fixtures))
    found: list[ChannelProgramme | None] = []
    for i, fixture in enumerate(outlook.fixtures):
        own = outlook.channels_of(i)
        lead = fixture.type.channels[int(np.argmax((weight * hours)[own]))].name
        for channel in fixture.type.channels:
            programme = fixture.programme.channels.get(channel.name)
            if programme is None or not programme.level.any():
                lender = fixture.programme.channels.get(lead)
                programme = None
                if lender is not None and lender.level.any():
                    programme = replace(lender, level=lender.level / lender.level.max())
            found.append(programme)
    return tuple(found)


def top_level(fixture: Fixture, channel: str) -> float:
    """The highest level of a channel today, 0-1."""
    programme = fixture.programme.channels.get(channel)
    return 0.0 if programme is None else float(programme.level.max())


def set_programme(
    fixture: Fixture,
    factors: Mapping[str, float],
    shapes: Mapping[str, ChannelProgramme | None],
    controller: Controller,
) -> Programme:
    """A fixture's programme with factors on its channels' shapes.

    Where an overall setting is set apart from the levels, and all channels that run change alike, it changes
    and the levels stay; else the levels change and it stays.
    """
    dial, today = fixture.programme.dial, fixture.programme.channels
    running = {n: f for n, f in factors.items() if n in today and today[n].level.any()}
    silent = {n: f for n, f in factors.items() if n not in running and f > 0}
    kept = {f for f in running.values() if f > 0}
    if dial is not None and not silent:
        if len({round(f, 9) for f in kept}) == 1:
            factor = kept.pop()
            plateau = rounded_levels(np.array(dial.plateau * factor), controller)
            dial = dial.at(float(plateau))
            levels = {n: v * (running.get(n, 0.0) > 0) for n, v in dial.levels.items()}
        else:
            levels = {n: rounded_levels(v * running.get(n, 0.0), controller) for n, v in dial.levels.items()}
        return replace(dial, levels=levels).programme()
    channels = dict(today)
    for name, factor in factors.items():
        shape = shapes[name]
        if shape is not None and (factor > 0 or name in today):
            channels[name] = replace(
                shape, level=rounded_levels(np.minimum(shape.level * factor, 1.0), controller)
            )
    return Programme(channels)


def held(programme: Programme, fixture: Fixture, controller: Controller) -> Programme:
    """A programme as the controller takes it, with its overall setting where that can stay."""
    if programme.dial is not None and controller.least_level == 0 and controller.most_points is None:
        return held_dial(programme.dial, controller).programme()
    dimming = {c.name: c.dimming for c in fixture.type.channels}
    return Programme({n: held_programme(p, dimming[n], controller) for n, p in programme.channels.items()})


def day_shape(fixtures: Sequence[Fixture], plateau: Plateau | None, weight: FloatArray) -> DayShape | None:
    """First light, plateau and last light of a day; None where it has no plateau."""
    if plateau is None:
        return None
    time_h, output = day_points(day_curve(fixtures))
    lit = np.flatnonzero(output @ weight > 0)
    if not lit.size:
        return None
    first, last = float(time_h[max(lit[0] - 1, 0)]), float(time_h[min(lit[-1] + 1, time_h.size - 1)])
    return DayShape(first, plateau.start_h - first, plateau.hours, max(last - plateau.end_h, 0.0))
