"""The slow way to an interval: every draw of the inputs through the whole model, one by one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from lightdose.analysis import fixture_emission
from lightdose.files.groups_file import default_groups
from lightdose.files.library import reference_tables
from lightdose.model.fixture import (
    Aperture,
    Channel,
    ChannelProgramme,
    CosineLobe,
    DimmingCurve,
    Fixture,
    FixtureType,
    Flux,
    Programme,
)
from lightdose.model.light import Scene
from lightdose.model.record import FloatArray
from lightdose.model.setup import Coral, Setup, Site, Tank, Wall, Water
from lightdose.model.spectrum import LedPeak
from lightdose.physics.day_curve import day_curve
from lightdose.physics.dose import daily_dose
from lightdose.physics.emission import weighting_matrix
from lightdose.physics.light_field import prepare_field

CURVED = DimmingCurve(np.array([0.0, 0.4, 1.0]), np.array([0.0, 0.3, 1.0]))
WEIGHTINGS = ("ppfd", "photons", "lux")


def small_setup(*, typical: bool = False, assumed: bool = False, floor: float = 0.3) -> Setup:
    """A cube of 30 cm under two lamps of two channels each, three places, invented."""
    lobes = (CosineLobe(120.0, assumed=True),) * 2 if assumed else (CosineLobe(90.0), CosineLobe(70.0))
    channels = tuple(
        Channel(name, LedPeak(nm, 22.0), lobe, CURVED, Flux("photon_flux_umol_s", flux, typical=typical))
        for name, nm, flux, lobe in (("blue", 450.0, 20.0, lobes[0]), ("red", 640.0, 9.0, lobes[1]))
    )
    kind = FixtureType("made", channels, Aperture(0.06, 0.03))
    day = Programme(
        {
            "blue": ChannelProgramme(np.array([8.0, 10.0, 17.0, 19.0]), np.array([0.0, 0.6, 0.6, 0.0])),
            "red": ChannelProgramme(np.array([11.0, 12.0, 15.0, 16.0]), np.array([0.0, 0.4, 0.4, 0.0])),
        }
    )
    walls = {"front": Wall(), "back": Wall("painted"), "left": Wall(), "right": Wall("dark")}
    groups, sources = default_groups()
    return Setup(
        "made",
        Tank(0.30, 0.30, 0.30, walls=walls, floor_reflectance=floor),
        (
            Fixture("one", kind, 0.08, 0.12, 0.15, day),
            Fixture("two", kind, 0.21, 0.16, 0.15, day, rotation_deg=30.0),
        ),
        (
            Site("high", 0.10, 0.13, 0.06),
            Site("low", 0.22, 0.09, 0.27, open_sky=0.6),
            Site("side", 0.03, 0.26, 0.15),
        ),
        (Coral("made coral", "lps-branching", "high"),),
        groups,
        sources,
        water=Water(yellowing_440_per_m=0.1),
    )


def dose_and_peak(setup: Setup, gain: FloatArray) -> FloatArray:
    """DLI and peak of every receiver by the whole model, (2, n_receiver); ``gain`` scales the channels."""
    tables = reference_tables()
    scene = Scene.of(setup, fixture_emission(setup) * gain[:, None], tables)
    ready = prepare_field(scene, weighting_matrix(tables, WEIGHTINGS), for_points=len(setup.receivers))
    field = ready.light_field(setup.receivers)
    dose = daily_dose(field, day_curve(setup.lit_fixtures))
    return np.array([dose.dli, dose.peak_ppfd])


def varied_fixture(fixture: Fixture, rise_m: float, ln_beam: float, dimming: float) -> Fixture:
    """A fixture hung otherwise, with wider beams and with an error of its output at mid level."""
    channels = []
    for channel in fixture.type.channels:
        assert isinstance(channel.beam, CosineLobe)
        width = min(channel.beam.fwhm_deg * float(np.exp(ln_beam)), 175.0)
        programme = fixture.programme.channels.get(channel.name)
        top = 1.0 if programme is None else float(programme.level.max())
        knots = np.union1d(channel.dimming.level, [0.175 * top, 0.5, top])
        output = np.interp(knots, channel.dimming.level, channel.dimming.output)
        tent = 1 - np.abs(2 * knots - 1) + 4 * top * np.interp(knots / top, [0, 0.175, 1], [0, 1, 0])
        drawn = np.maximum.accumulate(np.clip(output + dimming * tent, 0.0, 1.0))
        curve = DimmingCurve(knots, drawn)
        channels.append(replace(channel, beam=CosineLobe(width), dimming=curve))
    kind = replace(fixture.type, channels=tuple(channels))
    return replace(fixture, type=kind, height_m=fixture.height_m + rise_m)


def moved_site(site: Site, tank: Tank, move_m: FloatArray, sky: float) -> Site:
    """A site elsewhere, inside the tank."""
    x, y, z = np.clip(
        np.array([site.x_m, site.y_m, site.depth_m]) + move_m,
        0,
        [tank.length_m, tank.width_m, tank.water_depth_m],
    )
    return replace(site, x_m=float(x), y_m=float(y), depth_m=float(z), open_sky=sky)


def simulate(
    setup: Setup,
    count: int,
    rng: np.random.Generator,
    common: Callable[[np.random.Generator], float],
    beam_fraction: float = 0.05,
) -> FloatArray:
    """DLI and peak of every site in every draw, (count, 2, n_site); every distribution drawn by hand."""
    out = np.empty((count, 2, len(setup.sites)))
    for n in range(count):
        fixtures, gains = [], []
        for fixture in setup.fixtures:
            whole = common(rng)
            gains += [whole * np.exp(np.log(1.05) * rng.standard_normal()) for _ in fixture.type.channels]
            beam = np.log(1 + beam_fraction) * rng.standard_normal()
            fixtures.append(
                varied_fixture(fixture, 0.01 * rng.standard_normal(), beam, 0.02 * rng.standard_normal())
            )
        sites = []
        for site in setup.sites:
            sky = site.open_sky if site.open_sky == 1 else site.open_sky + 0.05 * rng.standard_normal()
            sites.append(moved_site(site, setup.tank, 0.01 * rng.standard_normal(3), min(max(sky, 0.0), 1.0)))
        yellow = setup.water.yellowing_440_per_m + 0.05 * abs(rng.standard_normal())
        water = replace(setup.water, yellowing_440_per_m=yellow)
        drawn = replace(setup, fixtures=tuple(fixtures), sites=tuple(sites), water=water)
        model = np.exp(np.log(1.02) * rng.standard_normal(len(sites)))
        out[n] = dose_and_peak(drawn, np.array(gains)) * model
    return out


def of_data_sheets(rng: np.random.Generator) -> float:
    """0.6 to 1.05, skewed low."""
    return 0.6 + 0.45 * float(rng.beta(7 / 3, 7 / 6))


def of_typical_values(rng: np.random.Generator) -> float:
    """A factor of 2 either way, 95 %."""
    return float(2 ** (rng.standard_normal() / 1.959964))
