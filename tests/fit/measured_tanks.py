"""Tanks that are read and calibrated in simulation, with readings or statements that are wrong: the cases."""

from __future__ import annotations

import hashlib
import math
import pickle
from collections.abc import Callable, Container, Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from fit.true_tanks import VIOLET_NM, VIOLET_SD, Truth, draw_truth, true_doses, true_readings, true_row

from lightdose.analysis import judged_under, light_of
from lightdose.errors import ReadingsError
from lightdose.files.library import reference_tables
from lightdose.files.readings_csv import read_readings
from lightdose.files.setup_file import read_setup
from lightdose.fit import observations
from lightdose.fit.calibration import calibrate
from lightdose.fit.calibration_problem import CalibrationRequest
from lightdose.model.calibration import CalibrationFit
from lightdose.model.setup import Setup, with_calibration
from lightdose.model.spectrum import Meter, Reading
from lightdose.physics.light_field import PreparedField

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "first-tank"
QUANTUM_SD, SHAPE_SD = 0.025, 0.02
"""What the meter states, and what the shape that stands for its sensor leaves open."""


class Remembered:
    """A prepared field that gives the same answer to the same question: each trial asks for it anew."""

    def __init__(self, field: PreparedField) -> None:
        self.field, self.lit = field, field.lit
        self.known: dict[bytes, Any] = {}

    @cached_property
    def clear(self) -> Remembered:
        return Remembered(self.field.clear)

    def at(self, points_m: Any) -> Any:
        key = points_m.tobytes()
        if key not in self.known:
            self.known[key] = self.field.at(points_m)
        return self.known[key].copy()


def _remembering(prepare_field: Callable[..., PreparedField]) -> Callable[..., Remembered]:
    """The same light field for the same question: every trial asks for that of the stated tank anew."""
    known: dict[bytes, Remembered] = {}

    def remembered(scene: Any, weightings: Any, **more: Any) -> Remembered:
        stated = [getattr(scene, f.name) for f in fields(scene) if f.name != "tables"]
        key = hashlib.sha256(pickle.dumps((stated, weightings, more))).digest()
        if key not in known:
            if len(known) > 200:
                known.clear()
            known[key] = Remembered(prepare_field(scene, weightings, **more))
        return known[key]

    return remembered


observations.prepare_field = _remembering(observations.prepare_field)  # type: ignore[attr-defined]

LUX = Meter("cheap", "lux", "v-lambda", "A", "built in", 0.10)
ROWS_OF = {15: range(15), 10: (1, 2, 4, 6, 7, 9, 10, 11, 12, 13), 6: range(9, 15), 3: (9, 10, 13), 1: (9,)}


@dataclass(frozen=True)
class Case:
    """One row of the table.

    Attributes
    ----------
    readings : how many of the example's; 0 for a tank that is not measured
    low, high : marks of the coverage
    scale_sd, hand_sd : true spread of the meter's scale and of one reading; it states 0.025
    beam_deg : true beam of all channels, where the files say 90 and 100
    share : (low, high) of the sheet that every fixture gives in truth, else by ``true_tanks``
    dead : one channel gives nothing
    wild, shaded : how many readings are wild, and how many read sites of open sky are shaded to 0.5
    lux : (spread of V's exponent, (low, high) of further scales in blue), else a quantum sensor reads
    named : least share of tanks whose mistakes are named; None where nothing is to be named
    or_named : the name is enough where the coverage falls short
    caution : key of a finding that counts as a name
    """

    name: str
    readings: int
    low: float
    high: float = 0.99
    scale_sd: float = QUANTUM_SD
    hand_sd: float = 0.03
    beam_deg: float | None = None
    share: tuple[float, float] | None = None
    dead: bool = False
    wild: int = 0
    shaded: int = 0
    lux_power_sd: float | None = None
    lux_scales: tuple[float, ...] = ()
    named: float | None = None
    or_named: bool = False
    caution: str = ""


CASES = (
    Case("not measured", 0, 0.93, 0.98),
    *(Case(f"{n} readings, assumptions true", n, 0.94, 0.97) for n in (15, 10, 3, 1)),
    Case(
        "meter 6 % where 2.5 % was stated, 15",
        15,
        0.92,
        scale_sd=0.06,
        caution="meter_scale",
        named=0.9,
        or_named=True,
    ),
    Case("each reading 6 % out besides its place, 15", 15, 0.92, hand_sd=0.06),
    Case("true beam 60, stated 90; 15 readings", 15, 0.93, beam_deg=60),
    Case("true beam 60, stated 90; 6 readings", 6, 0.93, beam_deg=60),
    Case("fixtures at 0.4-0.5 of the sheet, 15", 15, 0.94, share=(0.4, 0.5)),
    Case("one dead channel, 15", 15, 0.94, dead=True),
    Case("2 wild readings of 15", 15, 0.93, wild=2, named=0.9),
    Case("untold shade 0.5 at two read sites, 15", 15, 0.90, shaded=2, named=0.9, or_named=True),
    Case("untold shade 0.5 at two read sites, 6", 6, 0.90, shaded=2, named=0.9, or_named=True),
    Case("cheap lux sensor, V's exponent out by 15 %; 15", 15, 0.93, lux_power_sd=0.15),
    Case("lux meter 1.6 or 0.6 times true in blue; 6", 6, 0.93, lux_scales=(0.6, 1.6)),
)


@dataclass(frozen=True)
class Trial:
    """Which sites were covered, the relative half width, and whether each mistake was named."""

    covered: tuple[bool, ...]
    half: tuple[float, ...]
    named: tuple[bool, ...]
    said: int


def mistakes(
    case: Case, truth: Truth, setup: Setup, readings: Sequence[Reading], rng: np.random.Generator
) -> tuple[Truth, list[str]]:
    """The truth with what nobody told, and the names of the shaded sites."""
    gain, sky, shaded = truth.gain.copy(), dict(truth.sky), []
    own = np.cumsum([0, *(len(f.type.channels) for f in setup.lit_fixtures)])
    if case.share:
        for a, b in pairwise(own.tolist()):
            gain[a:b] *= rng.uniform(*case.share) / np.mean(gain[a:b])
    if case.dead:
        gain[rng.integers(gain.size)] = 1e-4
    if case.shaded:
        clear = sorted(
            {s.name for s in setup.sites if s.open_sky >= 1} & {r.site for r in readings if r.site}
        )
        shaded = [str(n) for n in rng.choice(clear, case.shaded, replace=False)]
        sky |= dict.fromkeys(shaded, 0.5)
    return replace(truth, gain=gain, sky=sky), shaded


def run_trial(case: Case, index: int) -> Trial:
    """One true tank."""
    setup, plan = scene(case)
    lux = case.lux_power_sd is not None or bool(case.lux_scales)
    rng = np.random.default_rng([7, index])
    power = 1.0 + (case.lux_power_sd or 0.0) * rng.normal()
    (meter,) = setup.meters.values()
    row_ = true_row(meter, power)
    if case.lux_scales:
        row_ = row_ * np.where(np.arange(300, 800) < 500, case.lux_scales[index % 2], 1.0)
    if not lux:  # quantum sensors disagree on violet light
        row_ = row_ * np.where(np.arange(300, 800) < VIOLET_NM, np.exp(VIOLET_SD * rng.normal()), 1.0)
    truth = draw_truth(setup, plan, rng, (row_,), beam_deg=case.beam_deg)
    truth, shaded = mistakes(case, truth, setup, plan, rng)
    doses = true_doses(setup, truth)
    named: list[bool] = []
    said = 0
    measured = setup
    if plan:
        stand_in = 0.0 if lux else SHAPE_SD
        scale = float(np.exp(math.hypot(0.1 if lux else case.scale_sd, stand_in) * rng.normal()))
        shown = list(
            true_readings(
                setup, plan, truth, rng, scales=(scale,), meter_of=(0,) * len(plan), hand_sd=case.hand_sd
            )
        )
        wild = rng.choice(len(shown), case.wild, replace=False)
        good = list(shown)
        for n in wild:
            factor = rng.choice([10.0, 2.0, 0.5])
            shown[n] = replace(shown[n], value=max(round(shown[n].value * factor), 1.0))
        refused: set[int] = set()
        try:
            fit = fitted(setup, shown)
        except ReadingsError as trouble:  # the keeper reads those again
            refused = {p.place.line for p in trouble.problems}
            shown = [g if s.place.line in refused else s for g, s in zip(good, shown, strict=True)]
            try:
                fit = fitted(setup, shown)
            except ReadingsError as again:  # and leaves out what is refused twice
                twice = {p.place.line for p in again.problems}
                fit = fitted(setup, [s for s in shown if s.place.line not in twice])
        named = names(fit, [shown[n].place.line for n in wild], shaded, refused)
        if case.caution:
            named.append(any(f.key == case.caution for f in fit.findings))
        said = len(fit.calibration.cautions)
        measured = with_calibration(setup, fit.calibration)
    stated = judged_under(measured, *light_of(measured), certainty=True).uncertainty
    assert stated is not None
    at = [i for i, r in enumerate(setup.receivers) if r.coral is None]
    low, high = stated.dli[at].T
    return Trial(
        tuple(((low <= doses) & (doses <= high)).tolist()),
        tuple((0.5 * np.log(high / np.maximum(low, 1e-9))).tolist()),
        tuple(named),
        said,
    )


def fitted(setup: Setup, shown: Sequence[Reading]) -> CalibrationFit:
    """`calibrate`."""
    return calibrate(setup, shown, reference_tables(), {}, CalibrationRequest("2026-03-14"))


def names(
    fit: CalibrationFit, lines: Sequence[int], sites: Sequence[str], refused: Container[int]
) -> list[bool]:
    """Whether each wild reading and each shaded site is named in what `calibrate` says."""
    text = " ".join(str(c) for c in fit.calibration.cautions) + " ".join(
        f"line {r.line}" for r in fit.residuals if r.outlier
    )
    return [f"line {n}" in text or n in refused for n in lines] + [site in text for site in sites]


def scene(case: Case) -> tuple[Setup, tuple[Reading, ...]]:
    """The stated setup and the readings that are made."""
    path = EXAMPLE / "setup.toml"
    setup = read_setup(path)
    lines, _ = read_readings(EXAMPLE / "readings.csv", "readings.csv", setup)
    plan = tuple(lines[n] for n in ROWS_OF[case.readings]) if case.readings else ()
    if case.lux_power_sd is not None or case.lux_scales:
        setup = replace(setup, meters={LUX.name: LUX})
        plan = tuple(replace(r, meter=LUX.name, unit="lux", value=1000.0) for r in plan)
    return setup, plan
