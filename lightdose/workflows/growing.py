"""Colonies as they will be in some months, what that does to everybody's light, and what to cut first."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from lightdose.analysis import scene_of
from lightdose.errors import Place, Problem, SetupError
from lightdose.judge.verdict import dli_state
from lightdose.model.growing import Fall, Growing, Shading, Trim
from lightdose.model.light import DayCurve
from lightdose.model.record import FloatArray, dataclass
from lightdose.model.results import Analysis, DliState, Verdict, counted
from lightdose.model.setup import Coral, Receiver, Setup
from lightdose.model.solids import MAT_M, Growth, Solid
from lightdose.physics.day_curve import full_output_hours
from lightdose.physics.dose import daily_light_integral
from lightdose.physics.emission import weighting_matrix
from lightdose.physics.light_field import PreparedField, normals_of, prepare_field
from lightdose.physics.shaded_by import kept_by_each, rays_among
from lightdose.quantities import MOL_PER_UMOL_S_H

TOLD_AT: Final = (3.0, 6.0, 12.0)
"""Months that are told of."""

STEPS: Final = 4
"""Parts of the whole time at whose ends light is computed besides. Our choice."""

NOTABLE: Final = 0.05
"""A colony is named that comes to keep so much more of a coral's light. Our choice."""

LEAST_M, CUTS_M = 0.02, 0.01
"""Nobody cuts a colony to less, and diameters are tried in such steps. Our choice."""


def grown(setup: Setup, months: float, rest: Growth | None = None) -> Setup:
    """The setup in some months.

    Parameters
    ----------
    setup : Setup
    months : float
        Faster growth is more months.
    rest : Growth or None
        Of colonies that tell a diameter and no growth.
    """
    depth = {s.name: s.depth_m for s in setup.sites}
    corals = []
    for coral in setup.corals:
        growth = coral.growth or (rest if coral.diameter_m > 0 else None)
        if growth is None or months == 0:
            corals.append(coral)
            continue
        tall = max(coral.height_m + months * growth.height_m, MAT_M if coral.diameter_m == 0 else 0.0)
        corals.append(
            replace(
                coral,
                diameter_m=coral.diameter_m + months * growth.diameter_m,
                height_m=min(tall, max(depth[coral.site], coral.height_m)),
            )
        )
    return replace(setup, corals=tuple(corals))


@dataclass(frozen=True, eq=False)
class _Then:
    """The tank in some months, and where judged corals are judged in it."""

    setup: Setup
    receivers: tuple[Receiver, ...]

    @staticmethod
    def of(setup: Setup, verdicts: Sequence[Verdict]) -> _Then:
        """With the place of each verdict's coral."""
        own = {r.coral: r for r in setup.receivers if r.coral is not None}
        at_site = {r.name: r for r in setup.receivers if r.coral is None}
        return _Then(setup, tuple(own.get(v.coral, at_site[v.site]) for v in verdicts))

    @property
    def solids(self) -> tuple[Solid, ...]:
        """All that stands in it."""
        return self.setup.standing.solids if self.setup.standing else ()

    @property
    def points(self) -> FloatArray:
        """Places of the corals, (n, 3)."""
        return np.array([(r.x_m, r.y_m, r.depth_m) for r in self.receivers]).reshape(-1, 3)

    def prepared(self) -> PreparedField:
        """Its light, with all bounces."""
        scene = scene_of(self.setup)
        weightings = weighting_matrix(scene.tables, ("ppfd",))
        return prepare_field(scene, weightings, for_points=len(self.receivers))

    def rays(self, ready: PreparedField) -> FloatArray:
        """Light of the lamps that comes to the corals by rays, (n, n_channel); none in the air."""
        points, looks = self.points, normals_of(self.receivers)
        wet = np.flatnonzero(points[:, 2] >= 0)
        own = np.array([self.receivers[n].own_sky for n in wet], dtype=bool)
        sky = np.array([self.receivers[n].open_sky for n in wet])
        behind, clear = rays_among(ready, points[wet], None if looks is None else looks[wet], self.solids, ())
        out = np.zeros((len(points), behind.shape[1]))
        out[wet] = np.where(own[:, None], clear, behind) * sky[:, None]
        return out

    def kept(self, ready: PreparedField, grows: Sequence[str], hours: FloatArray) -> FloatArray:
        """What each growing colony keeps of the rays to each other coral, (n_growing, n); 0-1."""
        bodies = {s.coral: s for s in self.solids if s.coral}
        some = [n for n, name in enumerate(grows) if name in bodies]
        kept = np.zeros((len(grows), len(self.receivers)))
        solids, looks = [bodies[grows[n]] for n in some], normals_of(self.receivers)
        kept[some] = kept_by_each(ready, self.points, looks, solids, hours)
        kept[:, [r.own_sky for r in self.receivers]] = 0.0
        for n, name in enumerate(grows):
            kept[n, [r.coral == name for r in self.receivers]] = 0.0
        return kept


def months_of(end: float) -> tuple[float, ...]:
    """The months at which light is computed, from 0 to the end.

    Parameters
    ----------
    end : float
        Above 0.
    """
    every = {end * n / STEPS for n in range(STEPS + 1)} | {m for m in TOLD_AT if m <= end}
    return tuple(sorted(every))


def growing(
    analysis: Analysis,
    end: float,
    rest: Growth | None = None,
    advance: Callable[[], None] = lambda: None,
) -> Growing:
    """What growth does to the corals of an analysed tank until ``end`` months from now.

    Parameters
    ----------
    analysis : Analysis
    end : float
        [months]
    rest : Growth or None
        Of colonies that tell none.
    advance : called for each of ``months_of``

    Raises
    ------
    SetupError
        If no coral tells its growth, and ``rest`` is None.
    """
    setup = analysis.setup
    able = [c for c in setup.corals if c.form != "none"]
    grows = tuple(c.name for c in able if c.growth or (rest and c.diameter_m > 0))
    if not grows:
        found = "no coral tells how its colony grows"
        cure = 'add growth = { diameter = "0.6 cm", height = "0.3 cm" } and a diameter to a [[coral]]'
        if any(c.diameter_m > 0 for c in able):
            cure += ', or say it for all: --growth "0.5 cm"'
        raise SetupError(Problem(found, "", cure, Place(setup.path)))
    months, curve = months_of(end), analysis.day_curve
    verdicts = [v for v in analysis.verdicts if v.band_dli is not None]
    tanks = [_Then.of(grown(setup, month, rest), verdicts) for month in months]
    hours, ready = full_output_hours(curve), tanks[-1].prepared()
    rays, kept = [], []
    for tank in tanks:
        rays.append(tank.rays(ready))
        kept.append(tank.kept(ready, grows, hours))
        advance()
    field = analysis.light_field
    row = {receiver: n for n, receiver in enumerate(field.receivers)}
    today = field.of("ppfd")[[row[receiver] for receiver in tanks[0].receivers]]
    then = ready.light_field(tanks[-1].receivers).of("ppfd")
    dli = _doses(months, rays, (today, then), curve)
    falls = _falls(verdicts, months, dli, np.array(kept), grows)
    return Growing(
        analysis=analysis,
        months=months,
        counts=tuple(counted([_state(v, d) for v, d in zip(verdicts, row, strict=True)]) for row in dli),
        dli={v.coral: tuple(dli[:, n].tolist()) for n, v in enumerate(verdicts)},
        shadings=_shadings(verdicts, kept, grows),
        falls=falls,
        trims=_trims(falls, verdicts, tanks[0].setup, tanks[-1], ready, hours),
        growing=grows,
        still=tuple(c.name for c in able if c.name not in grows),
    )


def _doses(
    months: Sequence[float], rays: Sequence[FloatArray], ends: tuple[FloatArray, FloatArray], curve: DayCurve
) -> FloatArray:
    """Doses of all corals in all months, (n_month, n_coral), from the rays of each and all light at the ends.

    What comes by the bounces is known for today and for the end, and between them it changes evenly (our
    choice): in the example with caves that is within 0.03 mol m-2 d-1 of a solution for every month.
    """
    first, last = (light - traced for light, traced in zip(ends, (rays[0], rays[-1]), strict=True))
    parts = [month / months[-1] for month in months]
    lit = [traced + (1 - part) * first + part * last for traced, part in zip(rays, parts, strict=True)]
    return np.array([daily_light_integral(light, curve) for light in lit]).reshape(len(months), -1)


def _state(verdict: Verdict, dli: float) -> DliState:
    return dli_state(dli, verdict.band_dli, verdict.floor_dli, verdict.ceiling_dli)


def _shadings(
    verdicts: Sequence[Verdict], kept: Sequence[FloatArray], grows: Sequence[str]
) -> tuple[Shading, ...]:
    """Pairs of a colony and a coral with what it keeps beyond today, in every month after 0."""
    more = np.array([then - kept[0] for then in kept[1:]])
    found = []
    for n, m in zip(*np.nonzero(more.max(axis=0, initial=0.0) >= NOTABLE), strict=True):
        share = tuple(np.maximum(more[:, n, m], 0.0).tolist())
        found.append(Shading(grows[n], verdicts[m].coral, share))
    return tuple(sorted(found, key=lambda s: -max(s.share)))


def _falls(
    verdicts: Sequence[Verdict],
    months: Sequence[float],
    dli: FloatArray,
    kept: FloatArray,
    grows: Sequence[str],
) -> tuple[Fall, ...]:
    """Corals whose dose crosses the low end of their range, and who keeps the light from them."""
    found = []
    for m, verdict in enumerate(verdicts):
        assert verdict.band_dli is not None
        low, doses = verdict.band_dli[0], dli[:, m]
        below = np.flatnonzero(doses < low)
        if doses[0] < low or below.size == 0:
            continue
        step = int(below[0])
        part = (doses[step - 1] - low) / (doses[step - 1] - doses[step])
        more = kept[-1, :, m] - kept[0, :, m]
        by = {grows[n]: float(more[n]) for n in np.argsort(-more, kind="stable") if more[n] >= NOTABLE}
        found.append(
            Fall(
                verdict.coral,
                verdict.band_dli,
                float(doses[0]),
                float(doses[-1]),
                _state(verdict, float(doses[-1])),
                float(months[step - 1] + part * (months[step] - months[step - 1])),
                by,
            )
        )
    return tuple(sorted(found, key=lambda f: f.months))


def _trims(
    falls: Sequence[Fall],
    verdicts: Sequence[Verdict],
    today: Setup,
    end: _Then,
    ready: PreparedField,
    hours: FloatArray,
) -> tuple[Trim, ...]:
    """For each colony that takes most from a falling coral, how far to cut it back."""
    pushed: dict[str, list[Fall]] = {}
    for fall in falls:
        if fall.by:
            pushed.setdefault(next(iter(fall.by)), []).append(fall)
    now, then = ({c.name: c for c in s.corals} for s in (today, end.setup))
    row = {v.coral: n for n, v in enumerate(verdicts)}
    found = []
    for name, victims in pushed.items():
        rows = [row[f.coral] for f in victims]
        to_m = _cut(then[name], end, ready, rows, [f.band_dli[0] for f in victims], hours)
        corals = tuple(f.coral for f in victims)
        found.append(Trim(name, now[name].diameter_m, then[name].diameter_m, to_m, corals, victims[0].months))
    return tuple(sorted(found, key=lambda t: (t.to_m is None, -len(t.keeps), t.months)))


def _cut(
    coral: Coral,
    end: _Then,
    ready: PreparedField,
    rows: Sequence[int],
    lows: Sequence[float],
    hours: FloatArray,
) -> float | None:
    """The largest whole centimetre to which a colony may grow; None where no cut is enough."""
    others = [s for s in end.solids if s.coral != coral.name]
    body = next(s for s in end.solids if s.coral == coral.name)
    count = max(0, math.ceil(coral.diameter_m / CUTS_M - 1e-9) - 1)
    sizes = [CUTS_M * n for n in range(count, 0, -1) if CUTS_M * n >= LEAST_M]
    if not sizes:
        return None
    sets = [[*others, _cut_to(body, size / coral.diameter_m)] for size in sizes]
    receivers = [end.receivers[n] for n in rows]
    points, looks = end.points[rows], normals_of(receivers)
    rays = rays_among(ready, points, looks, *sets)
    doses = MOL_PER_UMOL_S_H * (rays + ready.bounced(points, looks)[:, :, 0]) @ hours
    skies = np.array([r.open_sky for r in receivers])
    enough = (doses * skies >= np.array(lows)).all(axis=1)
    return sizes[int(np.argmax(enough))] if enough.any() else None


def _cut_to(body: Solid, share: float) -> Solid:
    """A colony cut back to a share of its width; it stays as tall."""
    wide, deep, tall = body.size_m
    return replace(body, size_m=(wide * share, deep * share if deep == wide else deep, tall))
