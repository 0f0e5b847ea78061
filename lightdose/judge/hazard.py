"""How long one may look into the fixtures before a limit of the standards is reached, and how to behave.

An estimate for behaviour around a tank; no assessment to IEC 62471.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np

from lightdose.judge.uncertain_inputs import (
    SHEET_HIGH,
    SHEET_LOW,
    TYPICAL_SD_LN,
    FixtureSpread,
    UncertainInputs,
    basis_of,
    uncertain_inputs,
)
from lightdose.model.fixture import CosineLobe, Fixture
from lightdose.model.light import DayCurve
from lightdose.model.record import FloatArray
from lightdose.model.results import (
    EYES,
    Caution,
    DirectView,
    Exposure,
    Hazard,
    LimitKey,
    LimitTime,
    duration_words,
)
from lightdose.model.setup import Setup
from lightdose.model.spectrum import HazardTables
from lightdose.physics.emission import cosine_exponent
from lightdose.physics.hazard import (
    WORKING_DAY_S,
    actinic_uv_time_s,
    blue_irradiance_time_s,
    blue_radiance_time_s,
    emitter_radiance,
    largest_irradiance,
    uv_a_time_s,
    weighted_power,
    worst_view,
)
from lightdose.quantities import METRES_PER_INCH

DISTANCES_M = (0.2, 0.5)
"""A face near the fixture, 0.2 m as for lamps in IEC 62471 (from memory); one beside it, 0.5 m (ours)."""

WORKING_HOUR_S = 3600.0
TOGETHER = "all together"

_SD_95 = 1.96
_INTENSITY_PER_WIDTH = 2.0
"""A lobe half as wide has four times the intensity: relative change of intensity per change of width."""

LIMITS: dict[LimitKey, tuple[str, str]] = {
    "blue_light_irradiance": (
        "E_B 100/t W m-2 up to 100 s, 1 W m-2 beyond (small source)",
        "IEC 62471:2006; ICNIRP 2013, from memory",
    ),
    "blue_light_radiance": (
        "L_B 1e6/t W m-2 sr-1 up to 1e4 s, 100 W m-2 sr-1 beyond (a single emitter)",
        "IEC 62471:2006; Directive 2006/25/EC",
    ),
    "actinic_uv": ("H_eff 30 J m-2 in 8 h (eye and skin)", "Directive 2006/25/EC"),
    "uv_a": (
        "E_UVA 10 W m-2 beyond 1000 s, 10 kJ m-2 before (eye)",
        "IEC 62471:2006, from memory",
    ),
}


def find_hazards(
    setup: Setup, emission: FloatArray, tables: HazardTables, curve: DayCurve
) -> tuple[DirectView, ...]:
    """Staring straight into each lit fixture from each distance, at full output and in the programme.

    Through air, whatever the cover; the output scale is kept.

    Parameters
    ----------
    setup : Setup
    emission : array, shape (n_channel, 500)
        Of the lit fixtures at full output, without ``output_scale``. [umol s-1]
    tables : HazardTables
    curve : DayCurve
        Outputs of the same channels.

    Returns
    -------
    tuple of DirectView
        Fixtures in order, nearest distance first.

    Source
    ------
    Limits: see ``LIMITS``. Distances: our choice.
    """
    power_w = weighted_power(emission, tables)
    output = np.concatenate((curve.output_start, curve.output_end))
    inputs = uncertain_inputs(setup)
    views, first = [], 0
    for spread in inputs.fixtures:
        fixture = spread.fixture
        own = slice(first, first := first + len(fixture.type.channels))
        scaled = fixture.output_scale * power_w[own]
        known = _factor_95(inputs, spread)
        views += [_direct_view(fixture, d, scaled, output[:, own], known) for d in DISTANCES_M]
    return tuple(views)


def all_together(views: Sequence[DirectView]) -> tuple[DirectView, ...]:
    """At most what all fixtures give together at a distance from each: the sum of all, wherever they hang.

    Radiance does not add: the highest of any fixture stands.

    Returns
    -------
    tuple of DirectView
        One a distance; empty for fewer than two fixtures.

    Source
    ------
    Light adds; nobody can be nearer to one fixture than to the nearest.
    """
    if len({s.fixture for s in views}) < 2:
        return ()
    found = []
    for distance_m in dict.fromkeys(s.distance_m for s in views):
        here = [s for s in views if s.distance_m == distance_m]
        full, programme = (_sum([getattr(s, view) for s in here]) for view in ("full_output", "programme"))
        low, high = (pick(s.factor_95[n] for s in here) for n, pick in enumerate((min, max)))
        found.append(
            DirectView(TOGETHER, distance_m, full, programme, _limit_times(full, programme), (low, high))
        )
    return tuple(found)


def short_lines(hazards: Sequence[DirectView]) -> tuple[Caution, ...]:
    """The short form for other answers: lines for limits that can be reached within a working hour.

    Returns
    -------
    tuple of Caution
        "safety_eyes" with the time to the blue-light limit, "safety_ultraviolet" with that to a limit of
        ultraviolet; none where an hour at full output reaches no limit.

    Source
    ------
    Limits: see ``LIMITS``. V(lambda): CIE 018:2019.
    """
    lines = []
    for code, keys, words in (
        ("safety_eyes", ("blue_light_irradiance", "blue_light_radiance"), _EYES),
        ("safety_ultraviolet", ("actinic_uv", "uv_a"), _ULTRAVIOLET),
    ):
        soon = [
            (t.full_output_s, s, t)
            for s in hazards
            for t in s.limits
            if t.key in keys and t.full_output_s is not None and t.full_output_s <= WORKING_HOUR_S
        ]
        if soon:
            seconds, view, limit = min(soon, key=lambda found: found[0])
            far = f"{100 * view.distance_m:g} cm ({view.distance_m / METRES_PER_INCH:.0f} in)"
            text = words.format(fixture=view.fixture, far=far, time=duration_words(seconds))
            lines.append(Caution(code, text, f"{limit.limit}: {limit.source}; an estimate, no assessment"))
    return tuple(lines)


_EYES = (
    f"{EYES} Staring straight into {{fixture}}, at full output, from {{far}} reaches the blue-light limit in "
    "{time}; dim before working under the light."
)
_ULTRAVIOLET = (
    "Ultraviolet: staring into {fixture}, at full output, from {far} reaches a limit for eyes or skin in "
    "{time}, and nobody sees it. Switch it off before working under it."
)


def _direct_view(
    fixture: Fixture,
    distance_m: float,
    power_w: FloatArray,
    output: FloatArray,
    factor_95: tuple[float, float],
) -> DirectView:
    geometry = worst_view(fixture.type, distance_m)
    emitters = fixture.type.emitters

    def exposure(outputs: FloatArray) -> Exposure:
        blue, actinic, uv_a = (float(e) for e in largest_irradiance(geometry, outputs, power_w))
        radiance = None if emitters is None else emitter_radiance(geometry, outputs, power_w, emitters)
        return Exposure(blue, radiance, WORKING_DAY_S * actinic, uv_a)

    full, programme = exposure(np.ones((1, len(power_w)))), exposure(output)
    times = _limit_times(full, programme)
    return DirectView(fixture.name, distance_m, full, programme, times, factor_95)


def _limit_times(full: Exposure, programme: Exposure) -> tuple[LimitTime, ...]:
    """The times of both views; the radiance limit only where the radiance is known."""
    pairs: tuple[tuple[LimitKey, float | None, float | None, Callable[[float], float | None]], ...] = (
        ("blue_light_irradiance", full.e_b_w_m2, programme.e_b_w_m2, blue_irradiance_time_s),
        ("blue_light_radiance", full.l_b_w_m2_sr, programme.l_b_w_m2_sr, blue_radiance_time_s),
        ("actinic_uv", full.h_eff_8h_j_m2, programme.h_eff_8h_j_m2, actinic_uv_time_s),
        ("uv_a", full.e_uv_a_w_m2, programme.e_uv_a_w_m2, uv_a_time_s),
    )
    return tuple(
        LimitTime(key, *LIMITS[key], time_of(at_full), time_of(at_peak))
        for key, at_full, at_peak, time_of in pairs
        if at_full is not None and at_peak is not None
    )


def _sum(exposures: Sequence[Exposure]) -> Exposure:
    radiances = [e.l_b_w_m2_sr for e in exposures if e.l_b_w_m2_sr is not None]
    return Exposure(
        sum(e.e_b_w_m2 for e in exposures),
        max(radiances) if len(radiances) == len(exposures) else None,
        sum(e.h_eff_8h_j_m2 for e in exposures),
        sum(e.e_uv_a_w_m2 for e in exposures),
    )


def _factor_95(inputs: UncertainInputs, spread: FixtureSpread) -> tuple[float, float]:
    """By which factors the true figures may differ: output as in `dose`, channel and beam in quadrature."""
    fixture, calibration = spread.fixture, inputs.calibration
    kinds = {c.flux is not None and c.flux.typical for c in fixture.type.channels}
    channel_ln = math.log1p(inputs.values["flux_channel_fraction"])
    if calibration is not None and calibration.measures(fixture.name):
        gains = [g for g in calibration.gains if g.fixture == fixture.name]
        low, high = (pick(g.interval_95[n] / g.gain for g in gains) for n, pick in enumerate((min, max)))
        channel_ln = 0.0
    elif "flux_common_fraction" in inputs.own:
        high = math.exp(_SD_95 * math.log1p(inputs.values["flux_common_fraction"]))
        low = 1 / high
    elif True in kinds:
        low, high = math.exp(-_SD_95 * TYPICAL_SD_LN), math.exp(_SD_95 * TYPICAL_SD_LN)
    else:
        low, high = SHEET_LOW, SHEET_HIGH
    apart = _SD_95 * math.hypot(channel_ln, _INTENSITY_PER_WIDTH * spread.ln_beam_sd)
    least = math.log(max(low, 1e-3))
    return math.exp(-math.hypot(least, apart)), math.exp(math.hypot(math.log(max(high, 1.0)), apart))


_PRACTICE = "common practice, no published source"
_LENS_FWHM_DEG = 60.0

BEHAVIOUR = (
    Caution(
        "look_away",
        "Do not look into the emitters, lit or about to be lit, nor through a lens or a magnifier. Blue and "
        "violet look dim while they are strong, and no reflex protects the eye.",
        f"V(lambda) is 0.038 at 450 nm against 1 at 555 nm, CIE 018:2019; behaviour: {_PRACTICE}",
    ),
    Caution("dim_first", "Dim the light or switch it off before you work under it.", _PRACTICE),
    Caution(
        "extra_care",
        "Take extra care with children, with people on medicine that makes them sensitive to light, and with "
        "eyes without a natural lens: the limits do not hold for them.",
        f"limits are for healthy adults (IEC 62471:2006, ICNIRP 2013, from memory); behaviour: {_PRACTICE}",
    ),
    Caution("unplug", "Unplug before touching gear over the water, and touch it with dry hands.", _PRACTICE),
    Caution("two_people", "Lift heavy gear with two people, never over the open tank alone.", _PRACTICE),
    Caution(
        "over_water",
        "Feed everything through residual-current protection, give every cable a drip loop, and secure "
        "hanging gear twice.",
        _PRACTICE,
    ),
    Caution(
        "codes",
        "Local codes and the maker's instructions come first; wiring is for a licensed electrician.",
        _PRACTICE,
    ),
    Caution(
        "no_assessment",
        "The figures are estimates to guide behaviour, no assessment to IEC 62471 or any other standard.",
        "limits of this model",
    ),
)
"""What to do, before any figure."""


def describe_hazard(
    setup: Setup, emission: FloatArray, tables: HazardTables, curve: DayCurve, version: str
) -> Hazard:
    """Everything `hazard` reports.

    Parameters
    ----------
    setup, emission, tables, curve : as for ``find_hazards``
    version : str
        Of the program.
    """
    views = find_hazards(setup, emission, tables, curve)
    return Hazard(
        setup, basis_of(setup), BEHAVIOUR, views, all_together(views), tuple(_remarks(setup)), version
    )


def _remarks(setup: Setup) -> list[str]:
    """What the figures assume or leave out, the gravest first."""
    lit = setup.lit_fixtures
    found = []
    if unknown := [f.name for f in lit if f.type.emitters is None]:
        found.append(
            f"The radiance of a single emitter of {', '.join(unknown)} is not known: its fixture file needs "
            'emitters = { count = ..., diameter = "..." }. A panel\'s mean would understate it.'
        )
    if len(unknown) < len(lit):
        found.append(
            "L_B is the mean of all emitters of a fixture; where only a few of them are blue, each of those "
            "is stronger by as much."
        )
    if assumed := [
        f.name for f in lit if any(isinstance(c.beam, CosineLobe) and c.beam.assumed for c in f.type.channels)
    ]:
        wide, narrow = (cosine_exponent(c) + 1 for c in (120.0, _LENS_FWHM_DEG))
        found.append(
            f"The beam of {', '.join(assumed)} is assumed 120 deg wide; lenses of {_LENS_FWHM_DEG:g} deg "
            f"would make these figures {narrow / wide:.1f} times as high."
        )
    found += [
        f"{f.name} stands at output_scale {f.output_scale:g}: wiped clean or new it may give "
        f"{1 / f.output_scale:.2g} times these figures."
        for f in lit
        if f.output_scale < 1
    ]
    if lit:
        found.append(
            "Through air from the emitting area, without cover or water. A whole panel is taken for one "
            "small source, which is on the safe side. Light below 300 nm is outside this model."
        )
    if dark := [f.name for f in setup.fixtures if not f.enabled]:
        found.append(f"Not enabled and not counted: {', '.join(dark)}.")
    return found
