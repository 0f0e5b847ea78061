"""Small invented setups and simulated readings for the tests of calibration."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from lightdose.errors import Place
from lightdose.files.library import reference_tables
from lightdose.fit.calibration_problem import CalibrationRequest, SolvedFit
from lightdose.fit.observations import observe, sensed
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
from lightdose.model.record import FloatArray
from lightdose.model.setup import Setup, Site, Tank
from lightdose.model.spectrum import LedPeak, Meter, Reading

PEAKS_NM = {"violet": 420.0, "blue": 450.0, "cyan": 495.0, "red": 660.0}
SITES = (
    Site("a", 0.20, 0.20, 0.10),
    Site("b", 0.30, 0.20, 0.20),
    Site("c", 0.40, 0.25, 0.15),
    Site("d", 0.30, 0.35, 0.25),
    Site("e", 0.50, 0.20, 0.30),
    Site("f", 0.15, 0.30, 0.35),
)
LEVEL_SETS = (
    {"violet": 1.0},
    {"blue": 1.0},
    {"cyan": 1.0, "red": 0.3},
    {"violet": 0.4, "blue": 0.5, "cyan": 0.3, "red": 1.0},
)
METER = Meter("handheld", "umol", "soft", "A", "built in", 0.025)
DATA_SHEET = Flux("photon_flux_umol_s", 40.0)
REQUEST = CalibrationRequest("2026-11-25")


def channel(name: str, *, flux: Flux | None = None, beam: Beam | None = None) -> Channel:
    """A single-colour channel of the scene."""
    spectrum = LedPeak(PEAKS_NM[name], 20.0)
    return Channel(name, spectrum, beam or CosineLobe(90.0), DimmingCurve.linear(), flux)


def scene(
    *,
    names: Sequence[str] = tuple(PEAKS_NM),
    flux: Flux | None = DATA_SHEET,
    beam: Beam | None = None,
    sites: Sequence[Site] = SITES,
    meter: Meter = METER,
) -> Setup:
    """One fixture over a tank of 75 x 45 x 40 cm, all channels at 50 % from 9 to 17 h."""
    day = ChannelProgramme(np.array([9.0, 17.0]), np.array([0.5, 0.5]))
    kind = FixtureType("panel", tuple(channel(n, flux=flux, beam=beam) for n in names), Aperture(0.2, 0.06))
    fixture = Fixture("left", kind, 0.30, 0.22, 0.20, Programme(dict.fromkeys(names, day)))
    tank = Tank(0.75, 0.45, 0.40)
    return Setup("scene", tank, (fixture,), tuple(sites), (), {}, {}, meters={meter.name: meter})


def reading(
    line: int,
    levels: Mapping[str, float] | None,
    value: float = 100.0,
    *,
    site: Site | None = None,
    at: tuple[float, float, float] = (0.3, 0.2, 0.2),
    unit: str = "umol",
    meter: str | None = "handheld",
    fixture: str = "left",
    time_h: float | None = None,
    date: str | None = None,
) -> Reading:
    """A reading at a site or a free point."""
    spot = at if site is None else (site.x_m, site.y_m, site.depth_m)
    on = None if levels is None else {(fixture, name): level for name, level in levels.items()}
    name = None if site is None else site.name
    place = Place("readings.csv", line)
    return Reading(place, value, unit, name, *spot, time_h, on, meter, date)  # type: ignore[arg-type]


def plan() -> tuple[Reading, ...]:
    """24 readings: 6 sites x 4 sets of levels."""
    pairs = [(site, levels) for site in SITES for levels in LEVEL_SETS]
    return tuple(reading(n + 2, levels, site=site) for n, (site, levels) in enumerate(pairs))


def simulated(
    setup: Setup,
    readings: Sequence[Reading],
    gains: Mapping[str, float],
    *,
    truth: Setup | None = None,
    factor: FloatArray | float = 1.0,
) -> tuple[Reading, ...]:
    """The readings as they would be: ``truth`` may hang or shine otherwise than the setup says."""
    tables = reference_tables()
    real = setup if truth is None else truth
    # Stand-ins that no fixture of these tests would make implausible; their values are not used.
    placed = tuple(replace(r, value=1000.0 if r.unit == "lux" else 20.0) for r in readings)
    observed = observe(real, placed, tables, {})
    seen = sensed(real, observed, observed.fixtures, observed.points_m(), tables)
    shown = np.take_along_axis(seen, np.array(observed.meter_of)[:, None, None], axis=2)[..., 0]
    names = [c.name for f in observed.fixtures for c in f.type.channels]
    sky = {s.name: s.open_sky for s in real.sites}
    skies = np.array([sky.get(r.site or "", 1.0) for r in readings])
    value = (shown * observed.output) @ np.array([gains.get(n, 1.0) for n in names])
    value = value * skies / observed.immersion * factor
    return tuple(replace(r, value=float(v)) for r, v in zip(readings, value, strict=True))


def solved(setup: Setup, readings: Sequence[Reading], request: CalibrationRequest = REQUEST) -> SolvedFit:
    """The fit behind `calibrate`."""
    tables = reference_tables()
    return SolvedFit(setup, observe(setup, readings, tables, {}), tables, request)
