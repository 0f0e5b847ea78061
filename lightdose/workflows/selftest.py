"""Checks on the user's own machine: data as shipped, physics as published, an example as recorded."""

from __future__ import annotations

import math
import platform
from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np

from lightdose import __version__
from lightdose.analysis import analyse
from lightdose.errors import LightdoseError
from lightdose.files.coral_names import shipped_names
from lightdose.files.groups_file import default_groups
from lightdose.files.growth_trial import growth_trial
from lightdose.files.library import (
    daylight_d65,
    is_at_least,
    library_versions,
    node_tables,
    packed_sums,
    reference_tables,
    schema_states,
    table_sums,
    typical_radiant_efficiency,
)
from lightdose.files.reef_light import reef_light
from lightdose.files.setup_file import read_setup
from lightdose.model.fixture import (
    Channel,
    ChannelProgramme,
    CosineLobe,
    DimmingCurve,
    Fixture,
    FixtureType,
    Programme,
)
from lightdose.model.light import DayCurve
from lightdose.model.results import SelfCheck, SelfTest
from lightdose.model.spectrum import GRID_NM, MEAN_CURVE, LedPeak
from lightdose.physics.day_curve import day_curve
from lightdose.physics.dose import daily_light_integral, hours_at_pmax
from lightdose.physics.emission import photon_distribution
from lightdose.physics.photons import lux_per_umol, photons_per_joule
from lightdose.physics.spectrum_metrics import spectrum_metrics
from lightdose.physics.water import horizontal_reach, surface_transmittance

RECORDED_DLI = {"ridge": 6.175537, "shelf": 4.635112, "ledge": 1.841361}
"""Doses of the shipped example when its last digits were recorded. [mol m-2 d-1]"""

_DLI_UNIT = "mol/m2/day"
_LUX_UNIT = "lx per umol/m2/s"
_FRESNEL = "Fresnel and Snell, Born & Wolf, Principles of Optics, 1.5; n = 1.333"
_LEDS_NM = ((420, 15), (450, 20), (525, 33))
"""Peak and full width at half maximum of the channels whose usable share was recorded."""
_POPE_FRY = "Pope & Fry 1997, Appl. Opt. 36:8710; the table shipped is another measurement"


def self_test(example: Path, others: Mapping[str, Callable[[], object]] | None = None) -> SelfTest:
    """Every check; ``example`` is the folder of the shipped example.

    Nothing that fails raises: it stands in its line. ``others`` reads what the layers above bring along.
    """
    checks = [*_installed(example), *_readable({**_SHIPPED, **(others or {})})]
    for group in (_spectra, _water, _symbionts, _days, lambda: _example(example)):
        try:
            checks += group()
        except Exception:
            # A table that is gone or broken stands in its line already; anything else is a fault of ours.
            if not SelfTest(tuple(checks), __version__, {}).failed:
                raise
    libraries = {name: found for name, _, found in library_versions()}
    versions = {"python": platform.python_version(), **libraries}
    return SelfTest(tuple(checks), __version__, versions)


def _installed(example: Path) -> list[SelfCheck]:
    """Files and libraries."""
    sums = [
        SelfCheck(f"table {name}", expected, got, "sha256", 0, "installed", "SOURCES.toml, shipped beside it")
        for name, expected, got in table_sums()
    ]
    schemas = [
        SelfCheck(f"editor schema {name}", "as the readers check", state, "", 0, "installed", "our own files")
        for name, state in schema_states(example)
    ]
    libraries = [
        SelfCheck(
            f"library {name}",
            f"{least} or later",
            f"{least} or later" if is_at_least(found, least) else found,
            "",
            0,
            "installed",
            "what the package asks for",
        )
        for name, least, found in library_versions()
    ]
    packed = [
        SelfCheck(f"packed {name}", expected, got, "sha256", 0, "installed", "the list that the wheel brings")
        for name, expected, got in packed_sums()
    ]
    return [*sums, *packed, *schemas, *libraries]


_SHIPPED: Mapping[str, Callable[[], object]] = {
    "coral groups": default_groups,
    "names of corals": shipped_names,
    "published growth": growth_trial,
    "light of the reef": reef_light,
    "typical efficiencies": lambda: typical_radiant_efficiency(LedPeak(450, 20)),
}


def _readable(shipped: Mapping[str, Callable[[], object]]) -> list[SelfCheck]:
    """What is shipped besides spectra, which have sums of their own, can be read."""
    checks = []
    for what, read in shipped.items():
        try:
            read()
            got = "read"
        except Exception as trouble:  # whatever a broken file does to its reader is told, not raised
            got = f"{type(trouble).__name__}: {trouble}".partition("\n")[0]
        checks.append(
            SelfCheck(f"contents {what}", "read", got, "", 0, "installed", "shipped with this version")
        )
    return checks


def _spectra() -> list[SelfCheck]:
    """Photons, energy and light for the eye."""
    si, eye = "SI Brochure 9th ed., exact h, c, N_A", "CIE 018:2019: 683.002 lm/W"
    photopic = node_tables().photopic
    seen = {nm: float(np.interp(nm, photopic.wavelength_nm, photopic.values)) for nm in (450, 555)}
    d65 = spectrum_metrics("D65", daylight_d65(), node_tables(), with_colour=False).umol_per_j
    joules = [(450, 3.761706), (660, 5.517169)]
    luxes = [(450, 6.8995, 1e-4), (555, 147.2165, 1e-5)]
    return [
        *(
            _number(f"photons in a joule at {nm} nm", value, photons_per_joule(nm), "umol/J", 1e-6, si)
            for nm, value in joules
        ),
        *(
            _number(f"lux at {nm} nm", value, lux_per_umol(float(nm), seen[nm]), _LUX_UNIT, near, eye)
            for nm, value, near in luxes
        ),
        _number("photons in a joule of D65, 400-700 nm", 4.5284, d65 or math.nan, "umol/J", 2e-4,
                "CIE 015:2018 through two general-purpose colour libraries"),
    ]  # fmt: skip


def _water() -> list[SelfCheck]:
    """Surface and absorption."""
    upright, slanted = (1 - float(surface_transmittance(np.array(c), 1.333)) for c in (1.0, 0.5))
    slope = float(horizontal_reach(math.tan(math.radians(60)), 0.0, 1.0, 1.333))
    table = reference_tables().pure_water_absorption_per_m
    nodes = [(450, 0.00922, 2e-3), (600, 0.2224, 2e-3), (650, 0.340, 4.5e-3)]
    return [
        _number("light mirrored by water, upright", 0.020373, upright, "", 1e-4, _FRESNEL),
        _number("light mirrored by water at 60 deg", 0.05969, slanted, "", 2e-4, _FRESNEL),
        _number("a ray of 60 deg in water", 40.518, math.degrees(math.atan(slope)), "deg", 3e-5, _FRESNEL),
        *(
            _number(
                f"light of {nm} nm left by half a metre of water",
                math.exp(-0.5 * absorption_per_m),
                float(np.exp(-0.5 * np.interp(nm, GRID_NM, table))),
                "",
                spread,
                _POPE_FRY,
            )
            for nm, absorption_per_m, spread in nodes
        ),
    ]


def _symbionts() -> list[SelfCheck]:
    """Mean usable share of LED channels under the default curve."""
    curve = node_tables().usable[MEAN_CURVE]
    weight = np.interp(GRID_NM, curve.wavelength_nm, curve.values, left=0, right=0)
    source = "mean of five published curves, as computed from them apart from this program"
    found = {nm: float(photon_distribution(LedPeak(nm, width)) @ weight) for nm, width in _LEDS_NM}
    return [
        SelfCheck(f"usable share of {nm} nm", index, found[nm], "", 0.02 / index, "published", source)
        for nm, index in ((420, 0.79), (450, 0.95), (525, 0.59))
    ]


def _days() -> list[SelfCheck]:
    """Daily integrals against their closed forms."""
    sine = [(6 + 12 * x, math.sin(math.pi * x)) for x in np.linspace(0, 1, 721)]
    trapezoid = [(8.0, 0.0), (10.0, 1.0), (16.0, 1.0), (18.0, 0.0)]
    late = [(time_h + 10, level) for time_h, level in trapezoid]
    closed = "integral in closed form"
    at_pmax = float(hours_at_pmax(np.array([[300.0]]), _day(trapezoid), 200, "tanh")[0])
    sine_dli = 0.0036 * 300 * 24 / math.pi
    days = [
        ("ramps of 2 h around 6 h at 300 umol/m2/s", 8.64, trapezoid, 1e-12, closed),
        ("the same day across midnight", 8.64, late, 1e-12, closed),
        (
            "12 h of half a sine to 300 umol/m2/s",
            sine_dli,
            sine,
            1e-5,
            "2/pi of the peak; 720 straight pieces",
        ),
    ]
    return [
        *(
            SelfCheck(w, value, _dli(day), _DLI_UNIT, near, "identity", src)
            for w, value, day, near, src in days
        ),
        _number("that trapezoid at Ek 200", 7.7120633112, at_pmax, "h at Pmax", 1e-9, "Jassby & Platt 1976"),
    ]


def _example(example: Path) -> list[SelfCheck]:
    """Doses of the shipped example to the digits recorded."""
    source = "recorded with this version; proves that nothing moved, not that it is true"
    try:
        analysis = analyse(read_setup(example / "setup.toml"), certainty=False)
    except LightdoseError as refusal:
        return [SelfCheck("the shipped example", "read", str(refusal.problems[0]), "", 0, "pinned", source)]
    doses = {site.name: float(d) for site, d in zip(analysis.setup.sites, analysis.dose.dli, strict=False)}
    return [
        SelfCheck(f"the example's dose at {site}", expected, doses[site], _DLI_UNIT, 1e-5, "pinned", source)
        for site, expected in RECORDED_DLI.items()
    ]


def _number(what: str, expected: float, got: object, unit: str, tolerance: float, source: str) -> SelfCheck:
    return SelfCheck(what, expected, float(np.asarray(got)), unit, tolerance, "published", source)


def _day(points: list[tuple[float, float]]) -> DayCurve:
    """One channel's day."""
    time_h, level = (np.array(column) for column in zip(*points, strict=True))
    channel = Channel("c", LedPeak(450, 20), CosineLobe(120), DimmingCurve.linear())
    programme = Programme({"c": ChannelProgramme(time_h, level)})
    return day_curve([Fixture("f", FixtureType("made", (channel,)), 0.1, 0.1, 0.2, programme)])


def _dli(points: list[tuple[float, float]]) -> float:
    return float(daily_light_integral(np.array([[300.0]]), _day(points))[0])
