"""What could be done with a tank, each tried on all of its corals: the one place that ranks advice.

A change is judged by today's draws, so its "after" is what a fresh run on the changed files finds. Nothing is
offered that leaves fewer corals within, nor what hardly helps: whoever follows the first action and asks
again never comes back to where he was.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import islice
from typing import Any, Final

import numpy as np

from lightdose.errors import ScheduleError, SetupError
from lightdose.judge.outlook import Outcome, Outlook
from lightdose.judge.relocations import Relocation, Relocations
from lightdose.judge.search import Search, set_to
from lightdose.model.advice import Action, ActionKind, Advice, Stand, Unserved
from lightdose.model.fixture import Fixture
from lightdose.model.record import FloatArray, dataclass
from lightdose.model.results import severity
from lightdose.model.setup import Receiver, Setup
from lightdose.physics.changed_day import DayChange, with_times
from lightdose.physics.day_curve import programme_hours
from lightdose.quantities import MOL_PER_UMOL_S_H

LEAST_GAIN, LEAST_GAIN_SHARE = 0.5, 0.05
"""An action is offered from either fall of the penalty on: our choice."""

HOPE = 0.6
"""A search may be wrong by the rest of that: its curves leave out the error of levels between. Our choice."""

NOTABLE = 0.1
"""A coral is better or worse off from this change of its own penalty on: our choice."""

WIDE, OPEN_SHARE = 1.5, 0.25
"""An unmeasured tank is read first where an interval is wider than this factor, or where more of its corals
are undecided: our choice."""

PLATEAU_STEP_H, PLATEAU_REACH_H, LONGEST_DAY_H = 0.5, 3.0, 14.0
"""Lengths of the plateau that are tried, within the day that a caution allows: our choice."""

HEIGHT_STEP_M, HEIGHT_REACH_M, LOWEST_M = 0.01, 0.10, 0.02
"""Heights that are tried: our choice."""

OF_LIGHT_AT_MOST, TRIED_EXACTLY = 3, 3
"""Our choice."""

ORDER: Final[tuple[ActionKind, ...]] = (
    "measure",
    "overall",
    "fixture",
    "hours",
    "height",
    "move",
    "exchange",
    "leave",
)
"""Of equals the one that is least work."""


@dataclass(frozen=True, eq=False)
class Light:
    """What else the light of a tank is asked for.

    Attributes
    ----------
    at : PPFD of every channel at full output under open sky at points (n, 3): (n, n_channel)
    drawn : the same at receivers under their own sky in every draw: (n_receiver, n_channel, n_draw)
    raised : the same as ``at`` at points, with all fixtures higher by so much
    fresh : a whole new run of a changed setup
    """

    at: Callable[[FloatArray], FloatArray]
    drawn: Callable[[Sequence[Receiver]], FloatArray]
    raised: Callable[[float, FloatArray], FloatArray]
    fresh: Callable[[Setup], Outcome]


def advise(outlook: Outlook, light: Light, dials: Mapping[str, float]) -> Advice:
    """The actions worth doing, the most useful first, and the corals that only a move serves.

    Parameters
    ----------
    outlook : Outlook
        With one judged coral or more.
    light : Light
    dials : fixture -> its overall setting at the plateau, or 100. [%]

    Source
    ------
    Penalty of a tank: 0 within, 1 below or above, 2 far off (our choice), expected over the draws.
    """
    tried = _Tried(outlook, light, dials)
    if not tried.search.running:
        leave = Action("leave", tried.now, tried.now)
        return Advice(tuple(a for a in (tried.reading(()), leave) if a))
    of_light = [a for a in (tried.overall(), tried.one_fixture(), tried.hours()) if a]
    of_corals = tried.relocations()
    first = tried.reading(sorted([*of_light, *of_corals], key=_rank))
    least = min((a.after.penalty for a in of_light), default=tried.now.penalty)
    if first is None and tried.now.penalty - least < LEAST_GAIN and (hung := tried.height(least)):
        of_light.append(hung)  # where no setting does it; nobody hangs fixtures anew before a reading
    of_light.sort(key=_rank)
    offered = sorted([*of_light[:OF_LIGHT_AT_MOST], *of_corals], key=_rank)
    if not offered:
        offered = [Action("leave", tried.now, tried.now)]
    best = next((a for a in of_light if id(a) in tried.programmes), None)
    actions = tuple([first, *offered] if first else offered)
    return Advice(actions, tried.unserved(best), first is not None, best)


def _rank(action: Action) -> tuple[float, int]:
    return round(action.after.penalty, 2), ORDER.index(action.kind)


class _Tried:
    """One tank and what has been tried on it."""

    def __init__(self, outlook: Outlook, light: Light, dials: Mapping[str, float]) -> None:
        self.outlook, self.light = outlook, light
        self.search = Search(outlook, dials)
        self.setup = outlook.analysis.setup
        self.today_h = programme_hours(outlook.fixtures)
        self.today = outlook.today
        self.now = self.today.stand
        self.corals = Relocations(self.search, self.today, light.at)
        self.programmes: dict[int, tuple[Fixture, ...]] = {}

    @property
    def least_gain(self) -> float:
        """The least fall of the penalty that is offered."""
        return min(LEAST_GAIN, LEAST_GAIN_SHARE * self.now.penalty)

    def hopeful(self, penalty: float) -> bool:
        """Whether a penalty that a search expects is worth a look by all draws."""
        return self.now.penalty - penalty >= HOPE * self.least_gain > 0

    def worth_it(self, after: Stand) -> bool:
        """Whether what leads there is offered."""
        return self.now.penalty - after.penalty >= self.least_gain > 0 and after.within >= self.now.within

    def action(self, kind: ActionKind, outcome: Outcome, **change: Any) -> Action:
        """What a change does, and to whom."""
        better, worse = [], []
        for verdict, one, other, was, now in zip(
            self.outlook.verdicts,
            self.today.states,
            outcome.states,
            self.today.penalty,
            outcome.penalty,
            strict=True,
        ):
            step = severity(other) - severity(one)
            if step < 0 or (step == 0 and now <= was - NOTABLE):
                better.append(verdict.coral)
            elif step > 0 or now >= was + NOTABLE:
                worse.append(verdict.coral)
        lit = self.today.dli > 0
        ratio = outcome.dli[lit] / self.today.dli[lit]
        return Action(
            kind,
            self.now,
            outcome.stand,
            better=tuple(better),
            worse=tuple(worse),
            largest_rise=max(float(ratio.max(initial=1.0)) - 1, 0.0),
            largest_cut=max(1 - float(ratio.min(initial=1.0)), 0.0),
            **change,
        )

    def reading(self, offered: Sequence[Action]) -> Action | None:
        """A meter reading, where it comes before any change."""
        analysis = self.outlook.analysis
        known = analysis.uncertainty
        if analysis.basis.key == "measured" or known is None:
            return None
        ends = np.array([v.certainty.interval_dli for v in self.outlook.verdicts if v.certainty])
        wide = bool(np.any(ends[:, 1] > WIDE * ends[:, 0]))
        unsettled = self.now.undecided > OPEN_SHARE * len(self.outlook.verdicts)
        if not (wide or unsettled or (offered and offered[0].raises_light)):
            return None
        worst = self.outlook.verdicts[int(np.argmax(self.today.penalty))]
        return Action(
            "measure", self.now, self.now, reading=known.deciding.site if known.deciding else worst.site
        )

    def first_worth(
        self, kind: ActionKind, tries: Iterable[tuple[tuple[Fixture, ...], dict[str, Any]]]
    ) -> Action | None:
        """The first of some programmes that is worth it by all draws."""
        for fixtures, change in islice(tries, TRIED_EXACTLY):
            outcome = self.outlook.under(fixtures)
            if self.worth_it(outcome.stand):
                action = self.action(kind, outcome, **change)
                self.programmes[id(action)] = fixtures
                return action
        return None

    def _set(self, kind: ActionKind, together: Sequence[int]) -> Action | None:
        found = self.search.best_settings(together)
        dials = [self.search.dialled(together, s) for s, penalty in found if self.hopeful(penalty)]
        return self.first_worth(kind, ((set_to(self.outlook.fixtures, d), {"dials": d}) for d in dials))

    def overall(self) -> Action | None:
        """One factor for all fixtures."""
        return self._set("overall", self.search.running)

    def one_fixture(self) -> Action | None:
        """A factor for one of several fixtures."""
        running = self.search.running
        found = [self._set("fixture", [i]) for i in running] if len(running) > 1 else []
        return min((a for a in found if a), key=_rank, default=None)

    def hours(self) -> Action | None:
        """A longer or shorter plateau, levels as they are."""
        plateau, fixtures = self.outlook.plateau, self.outlook.fixtures
        if plateau is None:
            return None
        lit_h = float(self.outlook.analysis.dose.photoperiod_h.max(initial=0.0))
        steps = int(PLATEAU_REACH_H / PLATEAU_STEP_H)
        days = [
            DayChange(k * PLATEAU_STEP_H)
            for k in range(-steps, steps + 1)
            if k
            and plateau.hours + k * PLATEAU_STEP_H >= PLATEAU_STEP_H
            and (k < 0 or lit_h + k * PLATEAU_STEP_H <= LONGEST_DAY_H)
        ]
        if not days:
            return None
        dli = sum(self.search.doses(i, np.ones(1), days) for i in range(len(fixtures)))
        penalty = self.search.curves.total(np.asarray(dli))
        hopeful = [k for k in range(len(days)) if self.hopeful(float(penalty[k]))]
        order = sorted(hopeful, key=lambda k: (round(float(penalty[k]), 1), abs(days[k].longer_h)))

        def tries() -> Iterator[tuple[tuple[Fixture, ...], dict[str, Any]]]:
            for k in order:
                try:
                    made = tuple(with_times(f, plateau, days[k]) for f in fixtures)
                except ScheduleError:  # a programme around the clock cannot grow
                    continue
                yield made, {"longer_h": days[k].longer_h}

        return self.first_worth("hours", tries())

    def height(self, to_beat: float) -> Action | None:
        """All fixtures higher or lower together, where that does more than what needs no ladder."""
        try:
            return self._height(to_beat)
        except SetupError:  # a height at which light takes too many rays is not offered
            return None

    def _height(self, to_beat: float) -> Action | None:
        lowest = min(f.height_m for f in self.outlook.fixtures)
        down = min(HEIGHT_REACH_M, math.floor((lowest - LOWEST_M) / HEIGHT_STEP_M) * HEIGHT_STEP_M)
        if down < HEIGHT_STEP_M:
            return None
        receivers = self.outlook.analysis.light_field.receivers
        at = [receivers[v.receiver] for v in self.outlook.verdicts]
        points = np.array([(r.x_m, r.y_m, r.depth_m) for r in at])
        today = self.light.at(points)
        ends = [self.light.raised(h, points) for h in (-down, HEIGHT_REACH_M)]
        lit = (today > 0) & (ends[0] > 0) & (ends[1] > 0)
        ln = [np.log(np.divide(end, today, out=np.ones_like(today), where=lit)) for end in ends]
        found = []
        for k in range(-round(down / HEIGHT_STEP_M), round(HEIGHT_REACH_M / HEIGHT_STEP_M) + 1):
            h, span = k * HEIGHT_STEP_M, down + HEIGHT_REACH_M
            # The parabola through today and both ends, in the logarithm.
            lower = h * (h - HEIGHT_REACH_M) / (down * span)
            higher = h * (h + down) / (HEIGHT_REACH_M * span)
            light = self.search.light * np.exp(lower * ln[0] + higher * ln[1])
            penalty = float(self.search.curves.total(MOL_PER_UMOL_S_H * light @ self.today_h))
            found.append((round(penalty, 1), abs(k), h))
        penalty, _, shift = min(found)
        if penalty > to_beat - LEAST_GAIN or shift == 0:
            return None
        fixtures = tuple(
            replace(f, height_m=round(f.height_m + shift, 4)) if f.enabled else f for f in self.setup.fixtures
        )
        outcome = self.light.fresh(replace(self.setup, fixtures=fixtures))
        if not self.worth_it(outcome.stand):
            return None
        both = zip(self.setup.fixtures, fixtures, strict=True)
        heights = {f.name: (f.height_m, g.height_m) for f, g in both if f.enabled}
        return self.action("height", outcome, heights_m=heights)

    def relocations(self) -> list[Action]:
        """The best move of one coral to a free place and the best exchange of two, by all draws."""
        best: list[tuple[ActionKind, Relocation]] = []
        kinds: tuple[tuple[ActionKind, list[Relocation]], ...] = (
            ("move", self.corals.to_free_places(self.today_h)),
            ("exchange", self.corals.exchanges()),
        )
        for kind, found in kinds:
            best += [(kind, relocation) for relocation in found[:1] if relocation.gain > 0]
        places = [(coral, site) for _, relocation in best for coral, site in relocation.to]
        if not places:
            return []
        light = self.light.drawn([self.corals.receiver(*at) for at in places])
        drawn = self.outlook.doses(light, self.outlook.hours_today)
        actions, first = [], 0
        for kind, relocation in best:
            dli = self.outlook.doses_today.copy()
            last = first + len(relocation.to)
            dli[[self.corals.rows[coral.name] for coral, _ in relocation.to]] = drawn[first:last]
            first = last
            outcome = self.outlook.judged(dli)
            if self.worth_it(outcome.stand):
                actions.append(self.action(kind, outcome, moves=relocation.moves()))
        return actions

    def unserved(self, best: Action | None) -> tuple[Unserved, ...]:
        """Corals that are off even under the best programme that was found; under today's for None."""
        if best is None:
            return self.corals.unserved(self.today, self.today_h, self.today_h)
        fixtures = self.programmes[id(best)]
        hours = programme_hours(fixtures)
        return self.corals.unserved(self.outlook.under(fixtures), hours, self.today_h)
