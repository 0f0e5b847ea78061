"""One coral to a free place, or two exchanged: what each would gain, and who cannot be served otherwise."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace

import numpy as np

from lightdose.judge.outlook import Outcome
from lightdose.judge.search import Search
from lightdose.model.advice import FreePlace, Unserved
from lightdose.model.paths import ROUNDING, fewest_steps, free_sites, own_skies
from lightdose.model.record import FloatArray, dataclass
from lightdose.model.setup import Coral, Receiver, Setup, Site, own_receiver, sky_words
from lightdose.quantities import MOL_PER_UMOL_S_H

WEEKLY_RISE = 0.10
"""A path to a brighter place rises by so much a week: common practice, no published rule per week."""

ILL_OFF = 0.5
"""A coral is looked at from this penalty of its own on: our choice."""

CORALS_TRIED, PLACES_NAMED = 12, 3
"""Our choice."""


@dataclass(frozen=True, eq=False)
class Relocation:
    """Corals at other sites, and what the tank's penalty is guessed to become less by."""

    gain: float
    to: tuple[tuple[Coral, Site], ...]

    def moves(self) -> dict[str, tuple[str, str]]:
        """Coral -> site before and after."""
        return {coral.name: (coral.site, site.name) for coral, site in self.to}


class Relocations:
    """The corals of a tank that may move, and the places that they may take.

    Parameters
    ----------
    search : Search
    today : Outcome
    at : callable
        PPFD of every channel at full output under open sky at points (n, 3): (n, n_channel). [umol m-2 s-1]

    Attributes
    ----------
    free : coral -> free sites that suit it, and its light there at full output, (n_site, n_channel)
    """

    def __init__(self, search: Search, today: Outcome, at: Callable[[FloatArray], FloatArray]) -> None:
        self.search, self.today, self.at = search, today, at
        self.setup = search.outlook.analysis.setup
        self.corals = {c.name: c for c in self.setup.corals}
        self.sites = {s.name: s for s in self.setup.sites}
        self.skies = own_skies(self.setup)
        self.rows = {v.coral: i for i, v in enumerate(search.outlook.verdicts)}
        self.free: dict[str, tuple[list[Site], FloatArray]] = {}

    def coral(self, row: int) -> Coral:
        """A judged coral."""
        return self.corals[self.search.outlook.verdicts[row].coral]

    def look_at(self, rows: Iterable[int]) -> None:
        """Compute the light at the free places of some corals, each point once."""
        points: dict[tuple[str, float], tuple[float, float, float]] = {}
        wanted: dict[str, list[Site]] = {}
        for row in rows:
            coral = self.coral(row)
            if coral.name in self.free or coral.pinned:
                continue
            wanted[coral.name] = [s for s in free_sites(self.setup, coral) if suits(coral, s)]
            for s in wanted[coral.name]:
                points[s.name, coral.height_m] = s.x_m, s.y_m, max(0.0, s.depth_m - coral.height_m)
        light = dict(zip(points, self.at(np.array(list(points.values())).reshape(-1, 3)), strict=True))
        for name, sites in wanted.items():
            height, sky = self.corals[name].height_m, self.skies[name]
            found = [s.open_sky * sky * light[s.name, height] for s in sites]
            self.free[name] = sites, np.array(found).reshape(len(sites), self.search.light.shape[1])

    def reached(self, row: int, hours: FloatArray, today_h: FloatArray) -> Iterator[tuple[Site, float]]:
        """Free sites that a coral can get to in weekly steps today, and its dose there under some hours."""
        verdict = self.search.outlook.verdicts[row]
        sites, light = self.free.get(self.coral(row).name, ([], np.zeros((0, 0))))
        if not sites or not verdict.dli_mol_m2_d > 0:
            return
        floor = verdict.floor_dli or 0.0
        paths = fewest_steps(verdict.dli_mol_m2_d, MOL_PER_UMOL_S_H * light @ today_h, 1 + WEEKLY_RISE, floor)
        for site, dli, path in zip(sites, (MOL_PER_UMOL_S_H * light @ hours).tolist(), paths, strict=True):
            if path is not None:
                yield site, dli

    def guessed(self, row: int, dli: float) -> float:
        """The penalty of a coral whose calculated dose is another, as sure as it is today. [mol m-2 d-1]"""
        return float(self.search.curves.one(row, np.array(dli)))

    def concerned(self) -> list[int]:
        """Rows of the corals worst off that may move, the worst first."""
        order = np.argsort(-self.today.penalty, kind="stable").tolist()
        ill = [i for i in order if self.today.penalty[i] >= ILL_OFF and not self.coral(i).pinned]
        return ill[:CORALS_TRIED]

    def to_free_places(self, today_h: FloatArray) -> list[Relocation]:
        """Each of them to each free place that it can get to, the largest gain first."""
        self.look_at(self.concerned())
        found = [
            Relocation(float(self.today.penalty[i]) - self.guessed(i, dli), ((self.coral(i), site),))
            for i in self.concerned()
            for site, dli in self.reached(i, today_h, today_h)
        ]
        return sorted(found, key=lambda r: -r.gain)

    def exchanges(self) -> list[Relocation]:
        """Each of them with any other coral, the largest gain first; doses by those of the sites."""
        field = self.search.outlook.analysis
        at_site = {
            r.name: float(dli)
            for r, dli in zip(field.light_field.receivers, field.dose.dli, strict=True)
            if r.coral is None
        }
        found = []
        for i in self.concerned():
            coral = self.coral(i)
            for name, j in self.rows.items():
                other = self.corals[name]
                if other.pinned or j == i or not self.may_exchange(coral, other):
                    continue
                here, there = at_site[coral.site], at_site[other.site]
                if not (here > 0 and there > 0):
                    continue
                verdicts = self.search.outlook.verdicts
                gain = self.today.penalty[i] + self.today.penalty[j]
                gain -= self.guessed(i, verdicts[i].dli_mol_m2_d * there / here)
                gain -= self.guessed(j, verdicts[j].dli_mol_m2_d * here / there)
                both = (coral, self.sites[other.site]), (other, self.sites[coral.site])
                found.append(Relocation(float(gain), both))
        return sorted(found, key=lambda r: -r.gain)

    def may_exchange(self, one: Coral, other: Coral) -> bool:
        """Whether two corals fit at one another's named sites, and keep their distance from all others."""
        here, there = self.sites[one.site], self.sites[other.site]
        if here.implicit or there.implicit or here == there:
            return False
        if here.depth_m < other.height_m - ROUNDING or there.depth_m < one.height_m - ROUNDING:
            return False
        if not (suits(one, there) and suits(other, here)):
            return False
        rest = [c for c in self.setup.corals if c.name not in (one.name, other.name)]
        return self._apart(one, there, rest) and self._apart(other, here, rest)

    def _apart(self, coral: Coral, site: Site, others: Sequence[Coral]) -> bool:
        return all(
            math.dist((site.x_m, site.y_m), (self.sites[o.site].x_m, self.sites[o.site].y_m))
            >= max(o.keep_apart_m, coral.keep_apart_m) - ROUNDING
            for o in others
        )

    def receiver(self, coral: Coral, site: Site) -> Receiver:
        """Where a coral at a site is judged, as a setup with it there names it."""
        sky, face = self.skies[coral.name], coral.face or site.face
        own_sky = site.own_sky or coral.own_sky
        if coral.height_m > 0 or sky != 1.0 or face or own_sky != site.own_sky:
            depth, name = site.depth_m - coral.height_m, f"{coral.name} ({'face' if face else 'top'})"
            sky *= site.open_sky
            words = sky_words(site, coral)
            return Receiver(name, site.name, site.x_m, site.y_m, depth, sky, coral.name, own_sky, face, words)
        return own_receiver(site)

    def unserved(self, outcome: Outcome, hours: FloatArray, today_h: FloatArray) -> tuple[Unserved, ...]:
        """Corals that are off in an outcome, the worst first, with free places that each can get to."""
        verdicts = self.search.outlook.verdicts
        off = [i for i, s in enumerate(outcome.states) if s != "undecided" and verdicts[i].penalties[s] > 0]
        off.sort(key=lambda i: -float(outcome.penalty[i]))
        self.look_at(off[:CORALS_TRIED])
        found = []
        for i in off:
            places: list[tuple[float, FreePlace]] = []
            if i in off[:CORALS_TRIED]:
                for site, dli in self.reached(i, hours, today_h):
                    if (penalty := self.guessed(i, dli)) < ILL_OFF:
                        places.append((penalty, FreePlace(site.name, dli)))
            places.sort(key=lambda p: p[0])
            found.append(Unserved(self.coral(i).name, tuple(p for _, p in places[:PLACES_NAMED])))
        return tuple(found)


def moved_setup(setup: Setup, relocation: Relocation) -> Setup:
    """The setup with corals at other sites."""
    skies, to = own_skies(setup), {coral.name: site.name for coral, site in relocation.to}
    corals = [
        replace(c, site=to[c.name], open_sky=skies[c.name]) if c.name in to else c for c in setup.corals
    ]
    used = {c.site for c in corals}
    sites = [s for s in setup.sites if not s.implicit or s.name in used]
    return replace(setup, corals=tuple(corals), sites=tuple(sites))


def suits(coral: Coral, site: Site) -> bool:
    """Whether a place is of the kind that a coral wants; either may leave that open."""
    wanted, offered = getattr(coral, "on", None), getattr(site, "on", None)
    return wanted is None or offered is None or wanted == offered
