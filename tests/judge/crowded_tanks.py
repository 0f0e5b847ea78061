"""Random crowded tanks, invented: mixed groups; some corals shaded, tall, pinned or stinging; free places."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from lightdose.files.groups_file import default_groups
from lightdose.judge.relocations import Relocation, moved_setup
from lightdose.judge.search import set_to
from lightdose.model.advice import Action
from lightdose.model.calibration import Calibration, ChannelGain
from lightdose.model.fixture import (
    Aperture,
    ChannelProgramme,
    Dial,
    Fixture,
    FixtureType,
    Programme,
)
from lightdose.model.setup import Coral, Setup, Site, Tank, with_calibration
from lightdose.physics.changed_day import DayChange, plateau_of, with_times

from .made_tank import WALLS, made_channel

CHANNELS = (("violet", 410, 14), ("blue", 450, 110), ("cyan", 500, 25), ("red", 660, 16))
"""Name, peak [nm], photons [umol s-1]."""


def made_lamp(name: str, x_m: float, top: float, dial: float | None) -> Fixture:
    """A panel whose blue runs longer than the rest; ``dial`` is an overall setting apart from the levels."""
    kind = FixtureType(
        "wide panel (invented)",
        tuple(made_channel(n, nm, flux, curved=n == "blue") for n, nm, flux in CHANNELS),
        Aperture(0.12, 0.06),
    )
    shape = np.array([0.0, 1.0, 1.0, 0.0])
    times = {"blue": np.array([9.0, 11.0, 18.0, 21.0])}
    rest = np.array([10.0, 11.5, 17.5, 19.0])
    share = {"violet": 0.8, "blue": 1.0, "cyan": 0.5, "red": 0.3}
    if dial is None:
        runs = {n: ChannelProgramme(times.get(n, rest), top * share[n] * shape) for n in share}
        return Fixture(name, kind, x_m, 0.25, 0.20, Programme(runs))
    rows = np.array([9.0, 11.0, 18.0, 21.0])
    levels = {n: share[n] * shape for n in share}
    return Fixture(name, kind, x_m, 0.25, 0.20, Dial(rows, np.full(4, dial), levels).programme())


def crowded_tank(seed: int, *, measured: bool = False, corals: int | None = None, free: int = 8) -> Setup:
    """A tank of 30 to 45 corals of mixed groups under two panels.

    Every fourth tank or so has overall settings apart from its levels; every eighth coral is pinned.
    """
    rng = np.random.default_rng([seed, 11])
    count = corals if corals is not None else int(rng.integers(30, 46))
    groups, sources = default_groups()
    keys = [*(k for k, g in groups.items() if g.band_dli), "non-photosynthetic"]
    keys = [keys[i] for i in rng.permutation(len(keys))[: int(rng.integers(3, 9))]]
    sites = tuple(
        Site(
            f"place {i}",
            float(rng.uniform(0.03, 0.87)),
            float(rng.uniform(0.03, 0.47)),
            float(rng.uniform(0.05, 0.40)),
            1.0 if rng.random() < 0.7 else float(rng.uniform(0.3, 0.9)),
        )
        for i in range(count + free)
    )
    stock = tuple(
        Coral(
            f"coral {i}",
            keys[int(rng.integers(len(keys)))],
            f"place {i}",
            height_m=0.02 if rng.random() < 0.2 else 0.0,
            keep_apart_m=0.04 if rng.random() < 0.1 else 0.0,
            open_sky=0.7 if rng.random() < 0.1 else 1.0,
            pinned=bool(rng.random() < 0.125),
        )
        for i in range(count)
    )
    dials = [float(rng.integers(30, 95)) / 100 if rng.random() < 0.5 else None for _ in range(2)]
    top = float(rng.uniform(0.3, 0.9))
    setup = Setup(
        title=f"Crowded tank {seed} (invented)",
        tank=Tank(0.9, 0.5, 0.45, walls=WALLS, rim_m=0.02),
        fixtures=(made_lamp("left", 0.22, top, dials[0]), made_lamp("right", 0.68, top, dials[1])),
        sites=sites,
        corals=stock,
        groups=groups,
        group_sources=sources,
        path="crowded/setup.toml",
    )
    return read_by_meter(setup) if measured else setup


def read_by_meter(setup: Setup) -> Setup:
    """The same with every channel read by a meter, to what its file says."""
    gains = tuple(
        ChannelGain(f.name, c.name, 1.0, (0.93, 1.07), c.flux.value, None)  # type: ignore[union-attr]
        for f in setup.fixtures
        for c in f.type.channels
    )
    return with_calibration(setup, Calibration("2026-03-14", ("handheld",), 24, gains, (), np.zeros((0, 0))))


def followed(setup: Setup, action: Action) -> Setup:
    """The setup after an action was done, as a keeper would change its files."""
    if action.dials:
        return replace(setup, fixtures=set_to(setup.fixtures, action.dials))
    if action.heights_m:
        hung = tuple(
            replace(f, height_m=action.heights_m[f.name][1]) if f.name in action.heights_m else f
            for f in setup.fixtures
        )
        return replace(setup, fixtures=hung)
    if action.moves:
        corals, sites = {c.name: c for c in setup.corals}, {s.name: s for s in setup.sites}
        to = tuple((corals[name], sites[there]) for name, (_, there) in action.moves.items())
        return moved_setup(setup, Relocation(0.0, to))
    if action.longer_h:
        plateau = plateau_of(
            setup.lit_fixtures, np.ones(sum(len(f.type.channels) for f in setup.lit_fixtures))
        )
        assert plateau is not None
        change = DayChange(action.longer_h)
        return replace(setup, fixtures=tuple(with_times(f, plateau, change) for f in setup.fixtures))
    return setup
