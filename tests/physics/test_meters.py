"""Spectral factors against their definition and published figures; immersion; a budget after the GUM."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lightdose.errors import ReadingsError, SpectrumError
from lightdose.files.library import (
    calibration_sources,
    daylight_d65,
    emitter_names,
    node_tables,
    read_emitter,
    reference_tables,
)
from lightdose.model.spectrum import GRID_NM, SENSOR_SHAPES, LedPeak, Meter, SensorShape, SpectralTable
from lightdose.physics.emission import photon_distribution
from lightdose.physics.meters import (
    CorrectedReading,
    combined_fraction,
    corrected_reading,
    illuminant_a,
    immersion_factor,
    meter_response,
    rectangular,
    sensor_row,
    shape_response,
    target_row,
)

TABLES = reference_tables()
A = photon_distribution(illuminant_a())
D65 = photon_distribution(daylight_d65())
METER = Meter("handheld", "umol", "soft", "A", "built in")


def gaussian(peak_nm: float, fwhm_nm: float) -> np.ndarray:
    """Photons of a Gaussian of spectral power."""
    return GRID_NM * np.exp(-4 * math.log(2) * ((GRID_NM - peak_nm) / fwhm_nm) ** 2)


def factor(light: np.ndarray, source: np.ndarray, meter: Meter) -> float:
    """The factor on a reading of this light by a meter that was calibrated on the source."""
    row = sensor_row(meter, (source,), TABLES).row
    return float((light @ target_row(meter.reads, TABLES)) / (light @ row))


def quantum_sensor(response: SensorShape | SpectralTable) -> Meter:
    return Meter("made", "umol", response, "A", "built in")


# ---- spectral factor -----------------------------------------------------------


@pytest.mark.published
@pytest.mark.parametrize("reads", ["umol", "lux"])
@pytest.mark.parametrize("name", emitter_names())
def test_ideal_sensor_needs_no_spectral_correction(reads, name):
    """F* is 1 for an ideal sensor under any light, whatever it was calibrated on."""
    # Source: CIE S 017:2020, 17-25-115: the factor corrects for a response that differs from the ideal one.
    light = photon_distribution(read_emitter(name))
    target = target_row(reads, TABLES)
    for source in (A, D65):
        if light @ target > 1e-9:
            assert factor(light, source, Meter("m", reads, "ideal")) == pytest.approx(1, abs=1e-12)


@pytest.mark.identity
@pytest.mark.parametrize("shape", SENSOR_SHAPES)
def test_any_sensor_is_right_under_the_light_it_was_calibrated_on(shape):
    """F* is 1 under the calibration source itself."""
    assert factor(D65, D65, quantum_sensor(shape)) == pytest.approx(1, abs=1e-12)


@pytest.mark.identity
@given(st.floats(400, 690), st.floats(8, 60), st.floats(0.01, 1000))
def test_spectral_factor_ignores_every_scale(peak_nm, fwhm_nm, scale):
    """Neither the light, the source, nor the response needs an absolute unit."""
    light, response = gaussian(peak_nm, fwhm_nm), shape_response("tilted", "umol", TABLES)
    plain = factor(light, A, quantum_sensor("tilted"))
    scaled = quantum_sensor(SpectralTable("scaled", GRID_NM, scale * response))
    assert factor(scale * light, A / scale, scaled) == pytest.approx(plain)


@pytest.mark.published
def test_tilted_sensor_under_a_blue_gaussian():
    """The generic shape S3, calibrated on A, needs 0.9468 under a Gaussian of 450 nm, FWHM 20."""
    # Source: computed from the definition of CIE S 017:2020, 17-25-115 by a separate script for the design.
    assert factor(gaussian(450, 20), A, quantum_sensor("tilted")) == pytest.approx(0.9468, abs=1e-4)


@pytest.mark.identity
def test_calibration_source_matters_under_blue_light():
    """A sensor that misses red reads too high under blue if it was set on a red lamp: 0.75 and 0.89."""
    meter = quantum_sensor("short-red")
    on_a, on_d65 = (factor(gaussian(450, 20), source, meter) for source in (A, D65))
    assert on_a < on_d65 < 1
    # The ratio of both is a property of sensor and sources alone, so one common unknown covers it.
    red = [factor(gaussian(640, 20), source, meter) for source in (A, D65)]
    assert on_a / on_d65 == pytest.approx(red[0] / red[1], rel=1e-12)


@pytest.mark.published
def test_illuminant_a_agrees_with_its_table():
    """The formula gives the standard's table to its rounding."""
    # Source: CIE 015:2018, table of illuminant A, as in colour-science.
    colour = pytest.importorskip("colour")
    table = colour.SDS_ILLUMINANTS["A"]
    ours = illuminant_a()
    nodes = table.wavelengths[(table.wavelengths >= 300) & (table.wavelengths <= 780)]
    expected = np.interp(nodes, table.wavelengths, table.values)
    assert np.interp(nodes, ours.wavelength_nm, ours.values) == pytest.approx(expected, rel=2e-4)


@pytest.mark.published
@pytest.mark.parametrize("name", ["D65", "A"])
def test_lux_per_umol_of_cie_illuminants(name):
    """Illuminance per PPFD of two standard lights agrees with colour-science's own tables."""
    # Source: V(lambda), A and D65 of colour-science 0.4.7, integrated here by the trapezoid at 1 nm.
    colour = pytest.importorskip("colour")
    shape = colour.SpectralShape(380, 780, 1)
    power = colour.SDS_ILLUMINANTS[name].copy().align(shape)
    photopic = colour.SDS_LEFS["CIE 1924 Photopic Standard Observer"].copy().align(shape)
    nodes, inside = power.wavelengths, (power.wavelengths >= 400) & (power.wavelengths <= 700)
    luminous = 683.002 * np.trapezoid(power.values * photopic.values, nodes)
    photons = 0.00835934722911 * np.trapezoid((nodes * power.values)[inside], nodes[inside])
    light = D65 if name == "D65" else A
    ours = (light @ target_row("lux", TABLES)) / (light @ target_row("umol", TABLES))
    assert ours == pytest.approx(luminous / photons, rel=5e-4)


@pytest.mark.published
def test_good_lux_meter_still_misses_deep_blue():
    """A sensor of f1' 2.4 % needs 1.141 under a blue LED of 450 nm."""
    # Source: computed from the definition for the design; V(lambda) of CIE 018:2019, LED of FWHM 20.
    nodes = node_tables().photopic
    table = SpectralTable("V^1.05", nodes.wavelength_nm, nodes.values**1.05)
    assert factor(gaussian(450, 20), A, Meter("phone", "lux", table)) == pytest.approx(1.141, abs=2e-3)


# ---- rows of meters ----------------------------------------------------------------


@pytest.mark.identity
@pytest.mark.parametrize("reads", ["umol", "lux"])
@pytest.mark.parametrize("shape", SENSOR_SHAPES)
def test_row_shows_the_true_figure_under_its_calibration_source(reads, shape):
    """A meter is right where it was calibrated."""
    meter = Meter("m", reads, shape, "D65")
    row = sensor_row(meter, (D65,), TABLES)
    assert D65 @ row.row == pytest.approx(D65 @ target_row(reads, TABLES), rel=1e-12)
    assert row.ln_spread == 0


@pytest.mark.identity
def test_unknown_source_spans_both_lamps():
    """Between A and D65 the scale lies in their geometric middle, with a rectangle's spread."""
    blue = gaussian(450, 20)
    meter = Meter("m", "umol", "short-red", "unknown")
    on_a, on_d65, unknown = (sensor_row(meter, s, TABLES) for s in ((A,), (D65,), (A, D65)))
    assert blue @ unknown.row == pytest.approx(math.sqrt((blue @ on_a.row) * (blue @ on_d65.row)))
    span = abs(math.log((blue @ on_a.row) / (blue @ on_d65.row)))
    assert unknown.ln_spread == pytest.approx(span / math.sqrt(12))


@pytest.mark.identity
def test_response_from_a_file_is_per_photon_or_per_watt():
    """An even response per photon is the ideal quantum sensor; V per watt is the ideal lux meter."""
    even = SpectralTable("even", np.array([400.0, 700.0]), np.array([1.0, 1.0]))
    assert np.array_equal(
        meter_response(replace(METER, response=even), TABLES) > 0, target_row("umol", TABLES) > 0
    )
    photopic = node_tables().photopic
    lux = meter_response(Meter("m", "lux", photopic), TABLES)
    ideal = target_row("lux", TABLES)
    assert lux / lux.sum() == pytest.approx(ideal / ideal.sum(), abs=2e-6)


@pytest.mark.pinned
def test_negative_response_is_refused():
    """A table below zero is no response."""
    table = SpectralTable("bad.csv", np.array([400.0, 700.0]), np.array([1.0, -1.0]))
    with pytest.raises(SpectrumError, match=r"bad\.csv"):
        meter_response(replace(METER, response=table), TABLES)


@pytest.mark.identity
def test_calibration_sources_are_those_the_meters_name():
    """LEDs by their CIE name, daylight for the unknown, nothing for the formula."""
    meters = [replace(METER, calibrated_on=name) for name in ("A", "LED-B3", "unknown")]
    assert list(calibration_sources(meters)) == ["D65", "LED-B3"]


# ---- immersion -----------------------------------------------------------------------


@pytest.mark.identity
@pytest.mark.parametrize(
    ("stated", "factor", "spread"),
    [("built in", 1.0, 0.0), ("unknown", 1.2, 0.2 / math.sqrt(3) / 1.2), (1.25, 1.25, 0.02)],
)
def test_immersion_is_a_number_built_in_or_unknown(stated, factor, spread):
    """Each statement has its factor and its uncertainty."""
    found = immersion_factor(replace(METER, immersion=stated))
    assert found == pytest.approx((factor, spread))


@pytest.mark.pinned
def test_immersion_is_never_silently_one():
    """A meter that says nothing about it is refused, with what to write."""
    with pytest.raises(ReadingsError, match=r"add it to \[meter\.handheld\]"):
        immersion_factor(replace(METER, immersion=None))


@pytest.mark.identity
def test_reading_is_corrected_once():
    """Factors multiply the reading; a corrected one is refused, so immersion never counts twice."""
    once = corrected_reading(178.4, 1.036, 1.25)
    assert once == CorrectedReading(178.4 * 1.036 * 1.25, 1.036, 1.25, under_water=True)
    with pytest.raises(ReadingsError, match="applied twice"):
        corrected_reading(once, 1.036, 1.25)
    assert corrected_reading(100.0, 1.0, None).under_water is False


# ---- the budget of the GUM -------------------------------------------------------------

READING, TIMES, SCATTER = 178.4, 5, 2.1
SPECTRAL, IMMERSION, DAY_H = 1.036, 1.25, 9.0
HALF_WIDTHS = {
    "spectral": 0.02,
    "immersion": 0.05,
    "cosine": 0.03,
    "position": 0.04,
    "drift": 0.02,
    "h": 0.05,
}


@pytest.mark.published
def test_uncertainty_of_a_daily_dose_in_quadrature():
    """DLI 7.4853 with u 4.782 % and U(k=2) 0.716 mol m-2 d-1."""
    # Source: budget by GUM (JCGM 100:2008), worked for the design; rectangles by its 4.3.7.
    dose = corrected_reading(READING, SPECTRAL, IMMERSION).ppfd_umol_m2_s * 0.0036 * DAY_H
    fraction = combined_fraction(
        SCATTER / math.sqrt(TIMES) / READING,
        0.05 / 2,
        rectangular(HALF_WIDTHS["spectral"]) / SPECTRAL,
        rectangular(HALF_WIDTHS["immersion"]) / IMMERSION,
        rectangular(HALF_WIDTHS["cosine"]),
        rectangular(HALF_WIDTHS["position"]),
        rectangular(HALF_WIDTHS["drift"]),
        rectangular(HALF_WIDTHS["h"]) / DAY_H,
    )
    assert dose == pytest.approx(7.4853, abs=5e-5)
    assert fraction == pytest.approx(0.04782, abs=5e-6)
    assert 2 * fraction * dose == pytest.approx(0.716, abs=5e-4)


@pytest.mark.published
def test_uncertainty_of_a_daily_dose_by_monte_carlo():
    """400,000 draws of the same budget give mean 7.485 and standard deviation 0.360."""
    # Source: GUM supplement 1 (JCGM 101:2008); 7.485 and 0.360 from 2e6 draws worked for the design. With
    # 4e5 draws the mean is good to 0.0006 and the deviation to 0.0004 (one standard error).
    draw, n = np.random.default_rng(17), 400_000

    def flat(key: str) -> np.ndarray:
        return draw.uniform(-HALF_WIDTHS[key], HALF_WIDTHS[key], n)

    shown = READING + SCATTER / math.sqrt(TIMES) * draw.normal(size=n)
    factors = (SPECTRAL + flat("spectral")) * (IMMERSION + flat("immersion"))
    further = (1 + flat("cosine")) * (1 + flat("position")) * (1 + flat("drift"))
    calibration = 1 + 0.025 * draw.normal(size=n)
    dose = shown * factors * further * calibration * 0.0036 * (DAY_H + flat("h"))
    assert dose.mean() == pytest.approx(7.485, abs=2.5e-3)
    assert dose.std() == pytest.approx(0.360, abs=2e-3)


@pytest.mark.identity
def test_factor_of_a_mix_is_the_mean_of_its_parts():
    """F* of a mix is the response-weighted mean of its parts' factors."""
    meter = quantum_sensor("silicon")
    parts = [photon_distribution(LedPeak(peak, 20)) for peak in (450, 630)]
    factors = [factor(p, A, meter) for p in parts]
    shown = [float(p @ meter_response(meter, TABLES)) for p in parts]
    assert factor(parts[0] + parts[1], A, meter) == pytest.approx(
        np.average(factors, weights=shown), rel=1e-12
    )
