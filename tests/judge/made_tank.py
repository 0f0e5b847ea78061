"""A small invented tank for tests of decisions: two fixtures, a curved dimming, a white, a ramp."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from lightdose.files.groups_file import default_groups
from lightdose.model.fixture import (
    Aperture,
    Beam,
    Channel,
    ChannelProgramme,
    CosineLobe,
    DimmingCurve,
    Fixture,
    FixtureType,
    Flux,
    Programme,
)
from lightdose.model.setup import Coral, Setup, Site, Tank, Wall, Water
from lightdose.model.spectrum import LedPeak

CURVED = DimmingCurve(np.array([0, 0.1, 0.5, 1.0]), np.array([0, 0.07, 0.46, 1.0]))
WALLS = {"front": Wall(), "back": Wall("painted"), "left": Wall(), "right": Wall("dark")}


def made_channel(
    name: str, peak_nm: float, flux: float, beam: Beam | None = None, *, curved: bool = False
) -> Channel:
    return Channel(
        name,
        LedPeak(peak_nm, 20.0),
        beam or CosineLobe(90.0),
        CURVED if curved else DimmingCurve.linear(),
        Flux("photon_flux_umol_s", flux),
    )


def made_fixture(name: str, x_m: float, highest: float = 0.6) -> Fixture:
    kind = FixtureType(
        "panel (invented)",
        (
            made_channel("violet", 420, 9),
            made_channel("blue", 450, 60, curved=True),
            made_channel("red", 660, 6),
        ),
        Aperture(0.10, 0.05),
    )
    shape = np.array([0.0, 1.0, 1.0, 0.0])
    programme = Programme(
        {
            "violet": ChannelProgramme(np.array([9.0, 11.0, 18.0, 20.0]), 0.5 * highest * shape),
            "blue": ChannelProgramme(np.array([8.0, 10.0, 18.0, 20.0]), highest * shape),
        }
    )
    return Fixture(name, kind, x_m, 0.2, 0.18, programme)


def made_tank(**changes: object) -> Setup:
    groups, sources = default_groups()
    setup = Setup(
        title="Test tank (invented)",
        tank=Tank(0.6, 0.4, 0.35, walls=WALLS, rim_m=0.02),
        fixtures=(made_fixture("left", 0.15), made_fixture("right", 0.45, 0.4)),
        sites=(
            Site("ridge", 0.18, 0.2, 0.08),
            Site("shelf", 0.42, 0.25, 0.15, open_sky=0.8),
            Site("sand", 0.3, 0.1, 0.34),
        ),
        corals=(
            Coral("staghorn", "sps-shallow", "ridge", height_m=0.03),
            Coral("hammer", "lps-branching", "shelf"),
            Coral("brain", "open-brain", "sand"),
            Coral("sun coral", "non-photosynthetic", "sand"),
        ),
        groups=groups,
        group_sources=sources,
        water=Water(yellowing_440_per_m=0.2),
        path="tank/setup.toml",
    )
    return replace(setup, **changes)  # type: ignore[arg-type]


def stepped(n: int) -> Setup:
    """So many free sites above each other under the left fixture."""
    tank = made_tank()
    sites = tuple(Site(f"P{i}", 0.24, 0.28, 0.34 - 0.28 * i / (n - 1)) for i in range(n))
    return replace(tank, sites=(*tank.sites, *sites))
