"""Daily doses, peaks and hours, exact on breakpoints."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lightdose.model.light import LightField
from lightdose.physics.day_curve import day_curve, output_at
from lightdose.physics.dose import (
    brightest_window,
    daily_dose,
    daily_light_integral,
    peak_and_photoperiod,
    time_above,
)

from .day_scenes import Points, field, fixture

RAMPS_AND_JUMPS: Points = ((6, 0), (8, 0.3), (8, 0.7), (11, 0.2), (13, 1), (13.25, 0.1), (21, 0))


def half_sine(steps: int, peak: float = 1.0) -> Points:
    """A half-sine day of 12 h from 6 to 18, sampled at equal steps."""
    return [(6 + 12 * i / steps, peak * max(0.0, math.sin(math.pi * i / steps))) for i in range(steps + 1)]


@pytest.mark.identity
def test_trapezoid_dli_equals_its_area() -> None:
    """Ramps of 2 h to 250 and 6 h there: 0.0036 x 250 x 8 h = 7.2, its peak worth 8 h."""
    dose = daily_dose(field([[250]]), day_curve([fixture()]))
    assert dose.dli[0] == pytest.approx(7.2, rel=1e-12)
    assert dose.peak_ppfd[0] == 250
    assert dose.peak_equivalent_h[0] == pytest.approx(8, rel=1e-12)
    assert dose.photoperiod_h[0] == pytest.approx(10 - 2 * 0.05 * 2, rel=1e-12)
    assert dose.any_light_h[0] == 10
    assert dose.brightest_hour_ppfd[0] == pytest.approx(250, rel=1e-14)
    assert dose.lux_at_peak[0] == pytest.approx(5000, rel=1e-14)


@pytest.mark.identity
def test_half_sine_is_the_limit_of_many_points() -> None:
    """A 12 h half-sine with peak 500 has 0.0036 x 500 x 24/pi mol; n steps fall short by pi^2 / (12 n^2)."""
    steps = 2000
    dli = daily_light_integral(np.array([[500.0]]), day_curve([fixture(programmes={"b": half_sine(steps)})]))
    closed = 0.0036 * 500 * 24 / math.pi
    assert closed == pytest.approx(13.750987, abs=1e-6)
    assert dli[0] / closed - 1 == pytest.approx(-(math.pi**2) / (12 * steps**2), rel=1e-5)


@pytest.mark.identity
def test_hourly_half_sine_has_the_error_of_a_fixed_grid() -> None:
    """Sampled by the hour, a half-sine day loses 0.57181 %: (pi/24) cot(pi/24) - 1. So no grids here."""
    dli = daily_light_integral(np.array([[500.0]]), day_curve([fixture(programmes={"b": half_sine(12)})]))
    loss = dli[0] / (0.0036 * 500 * 24 / math.pi) - 1
    assert loss == pytest.approx(math.pi / 24 / math.tan(math.pi / 24) - 1, abs=1e-12)
    assert 100 * loss == pytest.approx(-0.57181, abs=1e-4)


@pytest.mark.identity
def test_all_channels_multiplies_at_the_rows_only(tmp_path: Path) -> None:
    """Two ramps 0 to 100 % multiplied at their rows make a line: mean 1/2; in continuous time 1/3."""
    from lightdose.files.schedule_csv import read_schedule

    daily = tmp_path / "daily.csv"
    daily.write_text("time,blue,all_channels\n08:00,0,0\n18:00,100,100\n", encoding="utf-8")
    programme, _ = read_schedule(daily, "daily.csv", ["blue"])
    run = programme.channels["blue"]
    points = list(zip(run.time_h.tolist(), run.level.tolist(), strict=True))
    dli = daily_light_integral(np.array([[100.0]]), day_curve([fixture(programmes={"blue": points})]))
    assert dli[0] == pytest.approx(0.0036 * 100 * 10 / 2, rel=1e-14)


@pytest.mark.identity
def test_fixtures_that_overlap_over_midnight_add_up() -> None:
    """A 14:00-02:00+1 and B 00:00-06:00 overlap from 0 to 2 h, and only there."""
    curve = day_curve([fixture("A", {"x": [(14, 1), (26, 1)]}), fixture("B", {"y": [(0, 1), (6, 1)]})])
    response = np.array([[100.0, 30.0]])
    dose = daily_dose(field(response), curve)
    assert dose.dli[0] == pytest.approx(0.0036 * (100 * 12 + 30 * 6), rel=1e-14)
    assert dose.peak_ppfd[0] == 130
    assert time_above(response, curve, 100)[0] == pytest.approx(2, rel=1e-14)
    assert time_above(response, curve, 30)[0] == pytest.approx(12, rel=1e-14)
    assert dose.any_light_h[0] == pytest.approx(16, rel=1e-14)


@pytest.mark.identity
def test_night_light_counts_as_any_light_but_not_as_photoperiod() -> None:
    """1 % through the night makes 24 h of light, and a photoperiod of the day only."""
    night = fixture("moon", {"m": [(0, 0.01), (24, 0.01)]})
    dose = daily_dose(field([[200, 200]]), day_curve([fixture(), night]))
    assert dose.any_light_h[0] == 24
    assert dose.photoperiod_h[0] == pytest.approx(10 - 4 * (0.05 * 1.01 - 0.01), rel=1e-12)


@pytest.mark.identity
def test_ultraviolet_alone_is_light_without_a_dose() -> None:
    """Photons outside 400-700 nm count for any light, not for PPFD; hours at the peak do not exist then."""
    dose = daily_dose(field([[0.0]], photons=[[5.0]]), day_curve([fixture()]))
    assert dose.any_light_h[0] == 10
    assert (dose.dli[0], dose.peak_ppfd[0], dose.photoperiod_h[0], dose.lux_at_peak[0]) == (0, 0, 0, 0)
    assert math.isnan(dose.peak_equivalent_h[0])


@pytest.mark.identity
def test_dark_tank_gives_zeros() -> None:
    """No fixture: no light, no hours, no failure."""
    dose = daily_dose(field(np.zeros((2, 0))), day_curve([]))
    for values in (dose.dli, dose.peak_ppfd, dose.brightest_hour_ppfd, dose.any_light_h, dose.photoperiod_h):
        assert values.tolist() == [0, 0]
    assert np.all(np.isnan(dose.peak_equivalent_h))


@pytest.mark.identity
def test_spike_has_a_brightest_hour_that_is_exact() -> None:
    """A triangle of 2 h with peak 100: its best hour, mean 75, stands around the tip, off all points."""
    curve = day_curve([fixture(programmes={"b": [(11, 0), (12, 1), (13, 0)]})])
    assert brightest_window(np.array([[100.0]]), curve)[0] == pytest.approx(75, rel=1e-13)


@pytest.mark.identity
def test_lopsided_spike_has_a_brightest_hour_that_is_exact() -> None:
    """Sides of 3 h and 1 h: equal values an hour apart at 3/4 of the peak, so the mean is 7/8 of it."""
    curve = day_curve([fixture(programmes={"b": [(9, 0), (12, 1), (13, 0)]})])
    assert brightest_window(np.array([[80.0]]), curve)[0] == pytest.approx(80 * 0.875, rel=1e-13)


@pytest.mark.identity
def test_brightest_hour_runs_over_midnight() -> None:
    """The day repeats: light from 23:30 to 00:30 is one hour."""
    curve = day_curve([fixture(programmes={"b": [(23.5, 1), (24.5, 1)]})])
    assert brightest_window(np.array([[40.0]]), curve)[0] == pytest.approx(40, rel=1e-13)


@pytest.mark.identity
def test_brightest_hour_beats_every_window_of_a_fine_search() -> None:
    """No window on a grid of seconds is brighter, and the best of them comes within its step."""
    curve = day_curve([fixture(programmes={"b": RAMPS_AND_JUMPS}), fixture("r", {"w": half_sine(7)})])
    response = np.array([[100.0, 80.0], [10.0, 150.0]])
    best = brightest_window(response, curve)
    dense = np.arange(0, 24, 1 / 3600)
    light = np.concatenate([output_at(curve, dense)] * 2) @ response.T
    running = np.cumsum(np.vstack([np.zeros(2), 0.5 * (light[1:] + light[:-1])]), axis=0)
    searched = ((running[3600:] - running[:-3600]) / 3600).max(axis=0)
    assert np.all(best >= searched * (1 - 1e-4))
    assert best == pytest.approx(searched, rel=3e-4)  # jumps within one step of a second


@pytest.mark.identity
def test_whole_day_window_is_the_mean_of_the_day() -> None:
    """A window of 24 h holds the whole dose wherever it starts."""
    curve = day_curve([fixture(programmes={"b": RAMPS_AND_JUMPS})])
    response = np.array([[90.0]])
    mean = daily_light_integral(response, curve)[0] / 0.0036 / 24
    assert brightest_window(response, curve, 24)[0] == pytest.approx(mean, rel=1e-13)


@pytest.mark.identity
def test_time_above_follows_the_ramp() -> None:
    """Above a share of the plateau: 10 h less the same share of both ramps; a threshold apiece."""
    curve = day_curve([fixture()])
    hours = time_above(np.array([[100.0], [200.0], [100.0]]), curve, np.array([50.0, 50.0, 100.0]))
    assert hours == pytest.approx([8, 9, 0], abs=1e-13)


@pytest.mark.identity
def test_many_sites_equal_one_site_at_a_time() -> None:
    """Blocks of sites are a matter of memory only."""
    rng = np.random.default_rng(7)
    curve = day_curve([fixture("a", {"b": RAMPS_AND_JUMPS}), fixture("r", {"w": half_sine(3000)})])
    response = rng.uniform(0, 200, (400, 2))
    whole = daily_dose(field(response), curve)
    for i in (0, 131, 399):
        alone = daily_dose(field(response[i : i + 1]), curve)
        for name in (
            "dli",
            "peak_ppfd",
            "brightest_hour_ppfd",
            "photoperiod_h",
            "any_light_h",
            "lux_at_peak",
        ):
            assert getattr(alone, name)[0] == pytest.approx(getattr(whole, name)[i], rel=1e-13), name


@pytest.mark.identity
def test_lux_at_peak_takes_the_first_moment_of_a_plateau() -> None:
    """Equal PPFD all along the plateau: the mix at its start gives the lux, whatever the rounding."""
    swap = fixture(programmes={"b": [(8, 0), (9, 1), (15, 0.3), (16, 0)], "w": [(9, 0), (15, 0.7), (16, 0)]})
    dose = daily_dose(field([[100, 100]], lux=[[1000, 6000]]), day_curve([swap]))
    assert dose.peak_ppfd[0] == pytest.approx(100, rel=1e-14)
    assert dose.lux_at_peak[0] == pytest.approx(1000, rel=1e-12)


@given(st.floats(0.01, 50), st.floats(0.01, 50))
@pytest.mark.identity
def test_dose_is_linear_in_output(first: float, second: float) -> None:
    """Doses of channels add, and scale with the channel; hours do not change with the scale."""
    curve = day_curve([fixture("a", {"b": RAMPS_AND_JUMPS}), fixture("r", {"w": half_sine(9)})])
    both = daily_dose(field([[first, second]]), curve)
    alone = [daily_dose(field([row]), curve) for row in ([first, 0.0], [0.0, second])]
    assert both.dli[0] == pytest.approx(alone[0].dli[0] + alone[1].dli[0], rel=1e-13)
    assert both.dli_by_channel[0] == pytest.approx([alone[0].dli[0], alone[1].dli[0]], rel=1e-13)
    thrice = daily_dose(field([[3 * first, 3 * second]]), curve)
    assert thrice.peak_ppfd[0] == pytest.approx(3 * both.peak_ppfd[0], rel=1e-13)
    assert thrice.photoperiod_h[0] == pytest.approx(both.photoperiod_h[0], rel=1e-10)
    assert thrice.peak_equivalent_h[0] == pytest.approx(both.peak_equivalent_h[0], rel=1e-13)


@pytest.mark.identity
def test_order_of_channels_is_irrelevant() -> None:
    """Channels listed the other way round give the same day."""
    runs = {"b": RAMPS_AND_JUMPS, "w": half_sine(11)}
    forth = daily_dose(field([[70, 40]]), day_curve([fixture(programmes=runs)]))
    back = daily_dose(field([[40, 70]]), day_curve([fixture(programmes=dict(reversed(list(runs.items()))))]))
    for name in ("dli", "peak_ppfd", "brightest_hour_ppfd", "photoperiod_h", "any_light_h"):
        assert getattr(back, name) == pytest.approx(getattr(forth, name), rel=1e-13), name


@pytest.mark.identity
def test_bands_of_photons_add_up_to_the_dose() -> None:
    """Weighted doses come from the same hours: parts of the response give parts of the dose."""
    scene = field([[70, 40]], blue=[[60, 10]], red=[[10, 30]])
    dose = daily_dose(scene, day_curve([fixture(programmes={"b": RAMPS_AND_JUMPS, "w": half_sine(11)})]))
    parts = [dose.weighted[0, scene.weightings.index(k)] for k in ("blue", "red")]
    assert sum(parts) == pytest.approx(dose.dli[0], rel=1e-13)
    assert dose.weighted[0, 0] == pytest.approx(dose.dli[0], rel=1e-14)


@pytest.mark.identity
def test_peak_and_photoperiod_alone_equal_those_of_the_dose() -> None:
    """The quick path is the same function."""
    curve = day_curve([fixture(programmes={"b": RAMPS_AND_JUMPS, "w": half_sine(11)})])
    response = np.array([[70.0, 40.0], [0.0, 0.0]])
    dose = daily_dose(field(response), curve)
    peak, hours = peak_and_photoperiod(response, curve)
    assert np.array_equal(peak, dose.peak_ppfd)
    assert np.array_equal(hours, dose.photoperiod_h)


@given(st.integers(0, 10_000))
@pytest.mark.identity
def test_points_left_out_decide_nothing(seed: int) -> None:
    """Peak and hours equal a plain search over every breakpoint, whatever the programmes and responses."""
    rng = np.random.default_rng(seed)
    runs = {}
    for name in "abc":
        times = np.sort(rng.integers(0, 49, 6)) / 2 + rng.integers(0, 24)
        times[2:][times[2:] == times[:-2]] += 0.25
        if not np.all(np.diff(times) >= 0) or np.any(times[2:] == times[:-2]) or times[0] >= 24:
            continue
        runs[name] = list(zip(times, rng.choice([0, 0, 0.04, 0.5, 1], 6) * rng.uniform(0.5, 1), strict=True))
    curve = day_curve([fixture(programmes=runs, channels=["a", "b", "c"])])
    response = rng.choice([0, 1, 10, 100], (6, 3)) * rng.uniform(0.1, 1, (6, 3))
    peak, hours = peak_and_photoperiod(response, curve)
    anything = time_above(response, curve, 0.0)
    for s, row in enumerate(response):
        start, end = curve.output_start @ row, curve.output_end @ row
        assert peak[s] == pytest.approx(max(start.max(), end.max()), rel=1e-14)
        for found, limit in ((hours[s], 0.05 * peak[s]), (anything[s], 0.0)):
            total = 0.0
            for width, a, b in zip(np.diff(curve.edge_h), start - limit, end - limit, strict=True):
                if max(a, b) > 0:
                    total += width * (1.0 if min(a, b) >= 0 else max(a, b) / abs(a - b))
            assert found == pytest.approx(total, abs=1e-9)


@pytest.mark.identity
def test_field_and_day_of_other_channels_are_refused() -> None:
    """Two channels of light on a day of one are a fault of the caller, named by numbers."""
    with pytest.raises(ValueError, match="2 channels in the light field, 1 in the day"):
        daily_dose(field([[1, 2]]), day_curve([fixture()]))


@pytest.mark.identity
def test_output_scale_is_not_applied_a_second_time() -> None:
    """The light field holds a fixture's output scale; the day does not."""
    scaled, plain = (day_curve([fixture(output_scale=s)]) for s in (0.5, 1.0))
    scene: LightField = field([[100.0]])
    assert daily_dose(scene, scaled).dli[0] == daily_dose(scene, plain).dli[0]


@pytest.mark.identity
def test_any_light_is_never_shorter_than_the_photoperiod() -> None:
    """Where light is hardly there, rounding may leave fewer photons in all than those of PPFD."""
    dose = daily_dose(field([[5e-29]], photons=[[0.0]]), day_curve([fixture()]))
    assert 0 < dose.photoperiod_h[0] <= dose.any_light_h[0]
