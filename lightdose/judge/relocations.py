"""One coral to a free place, or two exchanged: what each would gain, and who cannot be served otherwise."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import replace

import numpy as np

from lightdose.judge.outlook import Outcome
from lightdose.judge.search import DARK, Search
from lightdose.model.advice import FreePlace, Unserved
from lightdose.model.paths import ROUNDING, Neighbours, free_sites, own_skies, reachable, too_near
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
        self.near = Neighbours([(c, self.sites[c.site]) for c in self.setup.corals])
        self.free: dict[str, tuple[list[Site], FloatArray]] = {}
        self.light = self._known()

    def _known(self) -> dict[tuple[str, float], FloatArray]:
        """Site and height -> PPFD of every channel there under open sky, where the analysis holds it."""
        if self.setup.standing is not None:
            return {}  # where the open sky was stated no solid counted
        field = self.search.outlook.analysis.light_field.of("ppfd")
        sites = zip(self.setup.sites, field, strict=False)
        return {(s.name, 0.0): light for s, light in sites if s.open_sky == 1}

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
                if (s.name, coral.height_m) not in self.light:
                    points[s.name, coral.height_m] = s.x_m, s.y_m, max(0.0, s.depth_m - coral.height_m)
        found = self.at(np.array(list(points.values())).reshape(-1, 3))
        self.light.update(zip(points, found, strict=True))
        for name, sites in wanted.items():
            height, sky = self.corals[name].height_m, self.skies[name]
            there = [s.open_sky * sky * self.light[s.name, height] for s in sites]
            self.free[name] = sites, np.array(there).reshape(len(sites), self.search.light.shape[1])

    def reached(
        self, row: int, hours: FloatArray, today_h: FloatArray
    ) -> tuple[list[Site], FloatArray, FloatArray]:
        """Free sites that a coral can get to in weekly steps today, its doses and penalties there."""
        verdict = self.search.outlook.verdicts[row]
        sites, light = self.free.get(self.coral(row).name, ([], np.zeros((0, 0))))
        if not sites or not verdict.dli_mol_m2_d > 0:
            return [], np.zeros(0), np.zeros(0)
        floor = verdict.floor_dli or 0.0
        today = MOL_PER_UMOL_S_H * light @ today_h
        found = np.flatnonzero(reachable(verdict.dli_mol_m2_d, today, 1 + WEEKLY_RISE, floor)).tolist()
        dli = (MOL_PER_UMOL_S_H * light @ hours)[found]
        return [sites[k] for k in found], dli, self.search.curves.one(row, dli)

    def concerned(self) -> list[int]:
        """Rows of the corals worst off that may move, the worst first."""
        order = np.argsort(-self.today.penalty, kind="stable").tolist()
        ill = [i for i in order if self.today.penalty[i] >= ILL_OFF and not self.coral(i).pinned]
        return ill[:CORALS_TRIED]

    def to_free_places(self, today_h: FloatArray) -> list[Relocation]:
        """Each of them to the best free place that it can get to, the largest gain first."""
        self.look_at(self.concerned())
        found = []
        for i in self.concerned():
            sites, _, penalty = self.reached(i, today_h, today_h)
            if sites:
                best = int(np.argmin(penalty))
                gain = float(self.today.penalty[i] - penalty[best])
                found.append(Relocation(gain, ((self.coral(i), sites[best]),)))
        return sorted(found, key=lambda r: -r.gain)

    def exchanges(self) -> list[Relocation]:
        """Each of them with the other coral that it gains most with; doses by those of the sites."""
        field = self.search.outlook.analysis
        at_site = {
            r.name: float(dli)
            for r, dli in zip(field.light_field.receivers, field.dose.dli, strict=True)
            if r.coral is None
        }
        verdicts, found = self.search.outlook.verdicts, []
        dli = np.array([v.dli_mol_m2_d for v in verdicts])
        light = np.array([at_site[self.corals[v.coral].site] for v in verdicts])
        lit = np.flatnonzero(light > DARK)
        for i in self.concerned():
            if not light[i] > DARK:
                continue
            change = np.divide(light[i], light, out=np.ones_like(light), where=light > DARK)
            gain = self.today.penalty[i] + self.today.penalty - self.search.curves.each(dli * change)
            gain[lit] -= self.search.curves.one(i, dli[i] / change[lit])
            by_gain = lit[np.argsort(-gain[lit], kind="stable")].tolist()
            best = next((j for j in by_gain if j != i and self.may_exchange(i, j)), None)
            if best is not None:
                one, other = self.coral(i), self.coral(best)
                both = (one, self.sites[other.site]), (other, self.sites[one.site])
                found.append(Relocation(float(gain[best]), both))
        return sorted(found, key=lambda r: -r.gain)

    def may_exchange(self, row: int, other_row: int) -> bool:
        """Whether two corals fit at one another's named sites, and keep their distance from all others."""
        one, other = self.coral(row), self.coral(other_row)
        here, there = self.sites[one.site], self.sites[other.site]
        if other.pinned or here.implicit or there.implicit or here == there:
            return False
        if here.depth_m < other.height_m - ROUNDING or there.depth_m < one.height_m - ROUNDING:
            return False
        if not (suits(one, there) and suits(other, here)):
            return False
        both = one.name, other.name
        return not any(
            too_near(coral, site, [pair for pair in self.near.of(site) if pair[0].name not in both])
            for coral, site in ((one, there), (other, here))
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
        """Corals that are off in an outcome, the worst first, with free places that each can get to.

        Places where the calculated dose is usual; where there are none, those where it probably is.
        """
        verdicts = self.search.outlook.verdicts
        off = [i for i, s in enumerate(outcome.states) if s != "undecided" and verdicts[i].penalties[s] > 0]
        off.sort(key=lambda i: -float(outcome.penalty[i]))
        tried = off[:CORALS_TRIED]
        self.look_at(tried)
        found = []
        for i in off:
            places: tuple[FreePlace, ...] = ()
            if i in tried:
                sites, dli, penalty = self.reached(i, hours, today_h)
                low, high = verdicts[i].band_dli or (0.0, math.inf)
                best = [k for k in np.argsort(penalty, kind="stable").tolist() if penalty[k] < ILL_OFF]
                suit = [
                    FreePlace(
                        sites[k].name,
                        float(dli[k]),
                        "below" if dli[k] < low else "above" if dli[k] > high else "",
                    )
                    for k in best
                ]
                places = tuple([p for p in suit if not p.off][:PLACES_NAMED] or suit[:PLACES_NAMED])
            found.append(Unserved(self.coral(i).name, places))
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
