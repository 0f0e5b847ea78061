"""True tanks and what meters show in them, by code that shares only the light field with `calibrate`.

A true tank is the stated one with everything a little off: what lamps give, how wide their beams are, how
high they hang, where corals stand, how open their sky is, how yellow the water is, how drivers dim.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from lightdose.files.library import reference_tables
from lightdose.model.fixture import CosineLobe, Fixture
from lightdose.model.light import Scene
from lightdose.model.setup import Setup
from lightdose.model.spectrum import GRID_NM, Meter, Reading, Weightings
from lightdose.physics.emission import channel_emission
from lightdose.physics.light_field import response_at
from lightdose.physics.meters import illuminant_a, shape_response

Array = npt.NDArray[np.float64]

SHEET = (0.6, 1.05)
SHEET_SHAPE = (7 / 3, 7 / 6)
CHANNEL_SD, BEAM_SD, HEIGHT_SD_M, PLACE_SD_M, SKY_SD = 0.05, 0.05, 0.01, 0.01, 0.05
YELLOWING_SD_PER_M, DIMMING_SD, MODEL_SD, HAND_SD = 0.05, 0.02, 0.02, 0.03
TAIL_SD, VIOLET_SD, VIOLET_NM, FOOT = 0.02, 0.17, 420, 0.175
MINUTES = np.arange(0, 1440, 2) / 60


@dataclass(frozen=True)
class Truth:
    """A true tank.

    ``gain`` (channel) on the stated flux; ``dimming`` (fixture) the error of its output at mid level;
    ``site_dli`` (site) under open sky 1; ``shown`` (reading, channel, meter) at full output and open sky 1;
    ``sky`` by site.
    """

    gain: Array
    dimming: Array
    sky: Mapping[str, float]
    site_ppfd: Array
    shown: Array


def draw_truth(
    setup: Setup,
    readings: Sequence[Reading],
    rng: np.random.Generator,
    rows: Sequence[Array],
    *,
    beam_deg: float | None = None,
) -> Truth:
    """One true tank; ``rows`` (500,) are the true responses of the meters that read there."""
    fixtures, gains, dimming = [], [], []
    for fixture in setup.lit_fixtures:
        common = SHEET[0] + (SHEET[1] - SHEET[0]) * rng.beta(*SHEET_SHAPE)
        apart = math.hypot(CHANNEL_SD, TAIL_SD)
        gains += [common * math.exp(apart * rng.normal()) for _ in fixture.type.channels]
        wide = math.exp(BEAM_SD * rng.normal())
        channels = tuple(
            replace(c, beam=CosineLobe(min((beam_deg or c.beam.fwhm_deg) * wide, 175.0)))
            if isinstance(c.beam, CosineLobe)
            else c
            for c in fixture.type.channels
        )
        height = max(fixture.height_m + HEIGHT_SD_M * rng.normal(), 0.02)
        fixtures.append(replace(fixture, height_m=height, type=replace(fixture.type, channels=channels)))
        dimming.append(DIMMING_SD * rng.normal())
    water = replace(
        setup.water,
        yellowing_440_per_m=setup.water.yellowing_440_per_m + YELLOWING_SD_PER_M * abs(rng.normal()),
    )
    sky = {
        s.name: 1.0 if s.open_sky >= 1 else float(np.clip(s.open_sky + SKY_SD * rng.normal(), 0.02, 1))
        for s in setup.sites
    }
    receivers = [r for r in setup.receivers if r.coral is None]
    places = np.array(
        [(r.x_m, r.y_m, r.depth_m) for r in receivers] + [(r.x_m, r.y_m, r.depth_m) for r in readings]
    )
    moved = places + PLACE_SD_M * rng.normal(size=places.shape)
    for _ in range(50):  # no place is inside rock
        if not (inside := _in_rock(setup, moved)).any():
            break
        moved[inside] = places[inside] + PLACE_SD_M * rng.normal(size=(int(inside.sum()), 3))
    tank = setup.tank
    dry = places[:, 2] < 0
    moved = np.clip(moved, [0.0, 0.0, -1.0], [tank.length_m, tank.width_m, tank.water_depth_m])
    moved[:, 2] = np.where(dry, np.minimum(moved[:, 2], -0.005), np.maximum(moved[:, 2], 0.0))
    tables = reference_tables()
    emission = np.array([channel_emission(c, tables) for f in fixtures for c in f.type.channels])
    ppfd = ((GRID_NM >= 400) & (GRID_NM < 700)).astype(np.float64)
    weightings = Weightings(("ppfd", *(f"meter {n}" for n in range(len(rows)))), np.array([ppfd, *rows]))
    scene = Scene(tuple(fixtures), emission, tank, water, setup.cover, tables, setup.standing)
    # Where a site's open sky is stated, it stands for the rock too.
    own = {s.name for s in setup.sites if s.own_sky}
    bare = np.array([r.site in own for r in (*receivers, *readings)])
    seen = np.empty((len(moved), len(emission), len(weightings.keys)))
    for part, light in ((bare, replace(scene, standing=None)), (~bare, scene)):
        if part.any():
            seen[part] = response_at(moved[part], light, weightings)
    seen = seen * np.exp(MODEL_SD * rng.normal(size=(len(moved), 1, 1)))
    count = len(receivers)
    return Truth(np.array(gains), np.array(dimming), sky, seen[:count, :, 0], seen[count:, :, 1:])


def _in_rock(setup: Setup, points: Array) -> npt.NDArray[np.bool_]:
    """Which points lie within something solid."""
    solids = () if setup.standing is None else setup.standing.solids
    return np.array([any(s.inside_m(*p) > 0 for s in solids) for p in points.tolist()], dtype=np.bool_)


def outputs_at(fixtures: Sequence[Fixture], time_h: float | Array, dimming: Array) -> Array:
    """True output of every channel at times, shape (..., channel), by plain interpolation."""
    time, rows = np.atleast_1d(time_h), []
    for fixture, off in zip(fixtures, dimming, strict=True):
        for channel in fixture.type.channels:
            programme = fixture.programme.channels.get(channel.name)
            level = np.zeros(time.size)
            if programme is not None:
                for shift in (0.0, 24.0):
                    at = time + shift
                    on = (at >= programme.time_h[0]) & (at <= programme.time_h[-1])
                    level = np.maximum(level, on * np.interp(at, programme.time_h, programme.level))
            top = 1.0 if programme is None else float(np.max(programme.level))
            rows.append(_dimmed(channel.dimming, level, off, top))
    return np.array(rows).T.reshape(*np.shape(time_h), -1)


def _dimmed(curve: object, level: Array, off: float, top: float = 1.0) -> Array:
    """Output with an error of the driver: largest at mid level, four times that near the foot of ramps."""
    tent = np.minimum(2 * level, 2 - 2 * level)
    if 0 < top < 1:
        tent = tent + 4 * top * np.interp(level, [0, FOOT * top, top, 1], [0, 1, 0, 0])
    return np.maximum(np.interp(level, curve.level, curve.output) + off * tent, 0.0)  # type: ignore[attr-defined]


def true_doses(setup: Setup, truth: Truth) -> Array:
    """True DLI of every site, shape (site,). [mol m-2 d-1]"""
    output = outputs_at(setup.lit_fixtures, MINUTES, truth.dimming).mean(axis=0)
    sky = np.array([truth.sky[r.site] for r in setup.receivers if r.coral is None])
    return np.asarray(0.0864 * sky * (truth.site_ppfd @ (truth.gain * output)))


def true_readings(
    setup: Setup,
    readings: Sequence[Reading],
    truth: Truth,
    rng: np.random.Generator,
    *,
    scales: Sequence[float],
    meter_of: Sequence[int],
    hand_sd: float = HAND_SD,
) -> tuple[Reading, ...]:
    """What the meters show: ``scales`` are the factors common to all readings of each."""
    names = [(f.name, c) for f in setup.lit_fixtures for c in f.type.channels]
    owner = [n for n, f in enumerate(setup.lit_fixtures) for _ in f.type.channels]
    out = []
    for n, reading in enumerate(readings):
        if reading.time_h is not None:
            output = outputs_at(setup.lit_fixtures, reading.time_h, truth.dimming)
        else:
            levels = reading.levels or {}
            output = np.array(
                [
                    _dimmed(c.dimming, np.array([levels.get((f, c.name), 0.0)]), truth.dimming[k])[0]
                    for (f, c), k in zip(names, owner, strict=True)
                ]
            )
        value = float(truth.shown[n, :, meter_of[n]] @ (truth.gain * output))
        value *= truth.sky.get(reading.site or "", 1.0)
        value *= scales[meter_of[n]] * math.exp(hand_sd * rng.normal())
        step = 1.0 if reading.unit == "umol" else 10.0
        out.append(replace(reading, value=max(round(value / step) * step, step)))
    return tuple(out)


def true_row(meter: Meter, power: float = 1.0) -> Array:
    """What a meter that is right under light A shows for a micromole of photons in each cell, (500,).

    A lux sensor follows V to a power.
    """
    tables = reference_tables()
    target = (
        shape_response("v-lambda", "lux", tables)
        if meter.reads == "lux"
        else shape_response("ideal", "umol", tables)
    )
    if meter.reads == "lux":
        response = target * np.maximum(tables.photopic, 1e-12) ** (power - 1)
    else:
        assert isinstance(meter.response, str)
        response = shape_response(meter.response, "umol", tables)
    lamp = illuminant_a()
    photons = np.interp(GRID_NM, lamp.wavelength_nm, lamp.values, left=0, right=0) * GRID_NM
    return np.asarray(response * (photons @ target) / (photons @ response))
