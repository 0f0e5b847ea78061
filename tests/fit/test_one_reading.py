"""One reading means the same wherever it is asked: `estimate` holds `meter`, `calibrate` agrees with it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from lightdose.analysis import analyse
from lightdose.errors import Place
from lightdose.files.groups_file import default_groups
from lightdose.files.library import daylight_d65, read_emitter, reference_tables
from lightdose.fit.calibration import calibrate
from lightdose.fit.calibration_problem import CalibrationRequest
from lightdose.fit.meter_reading import read_meter
from lightdose.judge.estimate import EMITTERS, estimate
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
from lightdose.model.setup import Setup, Site, Tank, with_calibration
from lightdose.model.shop import Question, WhiteAmount
from lightdose.model.spectrum import Meter, MeterAnswer, Reading, ReadsQuantity
from lightdose.physics.emission import channel_emission, photon_distribution
from lightdose.physics.meters import illuminant_a

TABLES = reference_tables()
PHOTONS = {name: photon_distribution(read_emitter(name)) for name in EMITTERS}
SOURCES = {"A": photon_distribution(illuminant_a()), "D65": photon_distribution(daylight_d65())}
GROUPS, CITED = default_groups()
WHITE_SHARES: dict[WhiteAmount, tuple[float, float]] = {
    "none": (0, 0),
    "little": (0.05, 0.18),
    "much": (0.25, 0.65),
}
HOURS = 8.0


def lamp(rng: np.random.Generator, white: WhiteAmount, *, states_flux: bool) -> Setup:
    """One lamp of a violet, a royal blue, a blue, a cyan and a white LED, 8 h at a mix that is drawn."""
    share = rng.uniform(*WHITE_SHARES[white])
    violet, cyan = rng.uniform(0, 0.38), rng.uniform(0, 0.18)
    royal = rng.uniform(0.05, 1 - violet - cyan)
    parts = np.array([violet, royal, max(1 - violet - cyan - royal, 0.0), cyan]) * (1 - share)
    picks = [rng.choice(["violet-405", "violet-420"]), "blue-450", "blue-470", "cyan-495", "white-led-b2"]
    names = ("violet", "royal blue", "blue", "cyan", "white")
    ppfd = [
        p @ ((np.arange(300, 800) >= 400) & (np.arange(300, 800) < 700)) / p.sum()
        for p in map(PHOTONS.get, picks)
    ]  # type: ignore[union-attr]
    level = np.array([*parts, share]) / np.array(ppfd)
    level = np.clip(level / level.max(), 0, 1)
    flux = Flux("photon_flux_umol_s", 60.0) if states_flux else None
    channels = tuple(
        Channel(n, read_emitter(str(e)), CosineLobe(100.0), DimmingCurve.linear(), flux)
        for n, e in zip(names, picks, strict=True)
    )
    day = {
        n: ChannelProgramme(np.array([9.0, 9.0 + HOURS]), np.array([v, v]))
        for n, v in zip(names, level.tolist(), strict=True)
    }
    fixture = Fixture(
        "left", FixtureType("panel", channels, Aperture(0.2, 0.06)), 0.3, 0.22, 0.25, Programme(day)
    )
    site = Site("spot", 0.33, 0.2, 0.15)
    return Setup("one reading", Tank(0.75, 0.45, 0.40), (fixture,), (site,), (), {}, {})


def case(seed: int) -> tuple[Setup, Reading, MeterAnswer, Question]:
    """A drawn lamp, meter and place, what the meter shows, and the same as a question at the counter."""
    rng = np.random.default_rng([11, seed])
    white: WhiteAmount = ("none", "little", "much")[seed % 3]  # type: ignore[assignment]
    unit: ReadsQuantity = "lux" if seed % 2 else "umol"
    wet = unit == "umol" and seed % 4 == 0
    setup = lamp(rng, white, states_flux=False)
    meter = Meter("handheld", "umol", "soft", "A", "unknown", 0.05) if wet else None
    setup = replace(setup, meters={} if meter is None else {"handheld": meter})
    at = ("spot", 0.33, 0.2, 0.15) if wet else (None, 0.33, 0.2, -0.04)
    reading = Reading(
        Place("readings.csv", 2),
        150.0 if unit == "umol" else 6000.0,
        unit,
        *at,
        12.0,
        None,
        meter and "handheld",
    )
    lit = lamp(np.random.default_rng([11, seed]), white, states_flux=True)
    emission = np.array([channel_emission(c, TABLES) for c in lit.fixtures[0].type.channels])
    read = read_meter(replace(lit, meters=setup.meters), emission, reading, TABLES, {})
    immersion = {"immersion": "unknown"} if wet else {}
    where = "water" if wet else "air"
    return setup, reading, read, Question(reading.value, unit, where, white, HOURS, 0.001, **immersion)  # type: ignore[arg-type]


@pytest.mark.identity
@pytest.mark.parametrize("seed", range(24))
def test_estimate_holds_what_meter_says_of_the_same_reading(seed: int) -> None:
    """`meter` knows the lamp and its mix, `estimate` only how much white: its range is never narrower."""
    _, _, read, question = case(seed)
    found = estimate(question, PHOTONS, SOURCES, TABLES, list(GROUPS.values()), CITED, group=None)
    assert found.ppfd_umol_m2_s[0] <= read.interval_95[0] * 1.001
    assert read.interval_95[1] <= found.ppfd_umol_m2_s[1] * 1.001


@pytest.mark.identity
@pytest.mark.parametrize("seed", range(12))
def test_calibrate_agrees_with_meter_on_one_reading(seed: int) -> None:
    """A lamp that states no output, read once: its light there is what `meter` says, as widely known."""
    setup, reading, read, _ = case(seed)
    air = reading.depth_m < 0
    fit = calibrate(setup, (reading,), TABLES, {}, CalibrationRequest("2026-03-14"))
    (kept,) = fit.residuals
    assert kept.reading_umol_m2_s == pytest.approx(read.ppfd_umol_m2_s, rel=0.1)
    measured = with_calibration(setup, fit.calibration)
    if air:
        assert kept.model_umol_m2_s == pytest.approx(read.ppfd_umol_m2_s, rel=0.1)
        return
    found = analyse(measured)
    assert found.uncertainty is not None
    day = 0.0036 * HOURS
    low, high = found.uncertainty.dli[0] / day
    assert found.dose.dli[0] / day == pytest.approx(read.ppfd_umol_m2_s, rel=0.05)
    width = math.log(high / low) / math.log(read.interval_95[1] / read.interval_95[0])
    assert 0.9 <= width <= 1.5
