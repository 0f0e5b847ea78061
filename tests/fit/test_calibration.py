"""What `calibrate` finds in simulated readings, and what it says it cannot find."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from fit.calibration_scenes import LEVEL_SETS, METER, REQUEST, SITES, plan, reading, scene, simulated

from lightdose.analysis import analyse, light_field
from lightdose.answers.calibrate import trend_sentence
from lightdose.errors import ReadingsError
from lightdose.files.library import calibration_sources, reference_tables
from lightdose.fit.calibration import calibrate
from lightdose.fit.calibration_problem import CalibrationRequest
from lightdose.fit.observations import TWIN_SD
from lightdose.judge.cautions import calibration_cautions
from lightdose.model.calibration import UNREAD, CalibrationFit, ChannelGain, EarlierCalibration
from lightdose.model.fixture import CosineLobe, Flux
from lightdose.model.setup import Setup, Site, Water, with_calibration
from lightdose.model.solids import Solid
from lightdose.model.spectrum import Meter, Reading
from lightdose.physics.meters import SHAPE_FRACTION

GAINS = {"violet": 0.84, "blue": 0.90, "cyan": 0.94, "red": 0.87}
"""Around what fixtures give of their data sheets, so that the priors hardly pull."""

LITTLE = {"flux_common_fraction": 1.0, "flux_channel_fraction": 1.0, "model_fraction": 0.001}
"""What a keeper states who trusts no data sheet."""

HUNG = {"height_cm": 0.1}
"""What a keeper states who measured how high the lamps hang."""


def fit(setup: Setup, readings: tuple[Reading, ...], request: CalibrationRequest = REQUEST) -> CalibrationFit:
    sources = calibration_sources(setup.meters.values())
    return calibrate(setup, readings, reference_tables(), sources, request)


def gains(found: CalibrationFit) -> dict[str, float]:
    return {g.channel: g.gain for g in found.calibration.gains}


def with_beam(setup: Setup, fwhm_deg: float) -> Setup:
    (fixture,) = setup.fixtures
    channels = tuple(replace(c, beam=CosineLobe(fwhm_deg)) for c in fixture.type.channels)
    return replace(setup, fixtures=(replace(fixture, type=replace(fixture.type, channels=channels)),))


# ---- gains ---------------------------------------------------------


@pytest.mark.identity
def test_exact_readings_give_back_the_gains() -> None:
    """Readings without noise give the truth back to 0.5 % where little is claimed to be known before."""
    setup = replace(
        scene(meter=replace(METER, response="ideal", standard_uncertainty=0.001)), uncertainty=LITTLE
    )
    found = fit(setup, simulated(setup, plan(), GAINS))
    assert gains(found) == pytest.approx(GAINS, rel=0.005)
    assert all(g.tied_to is None for g in found.calibration.gains)
    assert all(g.interval_95[0] < GAINS[g.channel] < g.interval_95[1] for g in found.calibration.gains)
    assert found.untying is None


@pytest.mark.identity
def test_calibrated_setup_gives_the_model_figures_of_the_fit() -> None:
    """`dose` with the calibration computes what `calibrate` printed beside the readings, to 0.5 %."""
    setup = scene()
    truth = with_beam(setup, 84.0)
    readings = simulated(setup, plan(), GAINS, truth=truth)
    found = fit(setup, readings)
    measured = with_calibration(setup, found.calibration)
    points = [(r.x_m, r.y_m, r.depth_m) for r in readings]
    output = np.array([[r.levels.get(("left", n), 0.0) for n in GAINS] for r in readings if r.levels])
    ppfd = (light_field(measured, points)[:, :, 0] * output).sum(axis=1)
    assert ppfd == pytest.approx([r.model_umol_m2_s for r in found.residuals], rel=5e-3)
    assert analyse(measured).basis.key == "measured"


@pytest.mark.identity
def test_readings_at_programme_times_serve_as_well() -> None:
    """A time means the outputs of the programme then: 50 % of every channel."""
    setup = scene(names=("blue",))
    readings = simulated(
        setup, tuple(reading(n, None, site=s, time_h=12.0) for n, s in enumerate(SITES)), {"blue": 0.9}
    )
    assert gains(fit(setup, readings))["blue"] == pytest.approx(0.9, rel=0.02)
    full = simulated(setup, (reading(1, {"blue": 0.5}, site=SITES[0]),), {"blue": 0.9})
    assert full[0].value == pytest.approx(readings[0].value, rel=1e-12)


@pytest.mark.identity
def test_one_reading_makes_an_unscaled_fixture_usable() -> None:
    """Without any stated flux the gain is the flux in umol/s, and the meter's own doubt stays in it."""
    setup = scene(names=("blue",), flux=None)
    real = scene(names=("blue",), flux=Flux("photon_flux_umol_s", 37.0))
    found = fit(setup, simulated(real, (reading(2, {"blue": 1.0}, site=SITES[0]),), {}))
    (gain,) = found.calibration.gains
    assert gain.flux_umol_s == pytest.approx(37.0, rel=0.02)
    assert gain.interval_95[1] / gain.interval_95[0] > np.exp(2 * 1.96 * METER.standard_uncertainty)
    assert analyse(with_calibration(setup, found.calibration)).dose.dli[0] > 0


@pytest.mark.identity
def test_twin_of_a_measured_unscaled_fixture_follows_it() -> None:
    """Two of a kind without a data sheet: the second is taken like the first, to 10 %, and that is said."""
    setup = scene(names=("blue",), flux=None)
    twins = replace(setup, fixtures=(*setup.fixtures, replace(setup.fixtures[0], name="right", x_m=0.55)))
    real = scene(names=("blue",), flux=Flux("photon_flux_umol_s", 37.0))
    found = fit(twins, simulated(real, (reading(2, {"blue": 1.0}, site=SITES[0]),), {}))
    first, second = found.calibration.gains
    assert second.flux_umol_s == pytest.approx(first.flux_umol_s, rel=0.02)
    assert (first.tied_to, second.tied_to) == (None, "left, of the same kind")
    sd = np.sqrt(np.diagonal(found.calibration.covariance))
    assert np.sqrt(sd[1] ** 2 - sd[0] ** 2) == pytest.approx(np.hypot(TWIN_SD, 0.05 * np.sqrt(2)), rel=0.3)
    assert analyse(with_calibration(twins, found.calibration)).basis.key == "measured"


@pytest.mark.identity
def test_common_error_of_the_meter_does_not_shrink_with_readings() -> None:
    """Ten times the readings leave at least the meter's own standard uncertainty in the gain."""
    setup = scene(names=("blue",), flux=None)
    real = scene(names=("blue",))
    many = tuple(reading(n, {"blue": 1.0}, site=SITES[n % 6]) for n in range(60))
    found = fit(setup, simulated(real, many, {}))
    sd = float(np.sqrt(found.calibration.covariance[0, 0]))
    common = np.hypot(METER.standard_uncertainty, SHAPE_FRACTION)
    assert common < sd < 1.3 * common


@pytest.mark.identity
def test_unknown_immersion_stays_in_the_gain() -> None:
    """Readings under water with an unknown immersion cannot be known better than its rectangle."""
    meter = replace(METER, immersion="unknown")
    setup, real = scene(names=("blue",), flux=None, meter=meter), scene(names=("blue",), meter=meter)
    setup = replace(setup, uncertainty=HUNG)
    many = tuple(reading(n, {"blue": 1.0}, site=SITES[n % 6]) for n in range(24))
    found = fit(setup, simulated(real, many, {}))
    assert float(np.sqrt(found.calibration.covariance[0, 0])) > 0.2 / np.sqrt(3) / 1.2
    # Readings in the air settle it.
    air = tuple(reading(n, {"blue": 1.0}, at=(0.3, 0.22, -0.05)) for n in range(30, 40))
    settled = fit(setup, simulated(real, (*many, *air), {}))
    assert float(np.sqrt(settled.calibration.covariance[0, 0])) < 0.06


@pytest.mark.identity
def test_lux_meter_finds_the_same_gain() -> None:
    """A lux reading is turned into photons by the mix's own spectrum."""
    lux = Meter("handheld", "lux", "v-lambda", "A", "built in", 0.03)
    setup = scene(names=("blue", "red"), meter=lux)
    readings = tuple(
        reading(n, {"blue": 1.0} if n % 2 else {"red": 1.0}, site=SITES[n % 6], unit="lux") for n in range(8)
    )
    found = fit(setup, simulated(setup, readings, GAINS))
    assert gains(found) == pytest.approx({k: GAINS[k] for k in ("blue", "red")}, rel=0.02)


# ---- beams and the rest ---------------------------------------------------------


@pytest.mark.identity
@pytest.mark.parametrize("fwhm_deg", [60.0, 90.0, 120.0])
def test_beam_width_comes_back_from_three_readings(fwhm_deg: float) -> None:
    """One reading below and two to the side, 15 and 25 cm, tell the width to 6 %, whatever was assumed."""
    sites = (Site("below", 0.30, 0.22, 0.15), Site("near", 0.45, 0.22, 0.15), Site("far", 0.55, 0.22, 0.15))
    setup = scene(names=("blue",), flux=None, beam=CosineLobe(120.0, assumed=True), sites=sites)
    setup = replace(setup, uncertainty=HUNG | {"beam_fraction": 0.5})
    truth = with_beam(scene(names=("blue",), sites=sites), fwhm_deg)
    readings = tuple(reading(n + 2, {"blue": 1.0}, site=s) for n, s in enumerate(sites))
    found = fit(setup, simulated(setup, readings, {}, truth=truth))
    (beam,) = found.calibration.beams
    assert beam.fwhm_deg == pytest.approx(fwhm_deg, rel=0.06)
    assert beam.interval_95[0] < fwhm_deg < beam.interval_95[1]
    assert not any(r.outlier for r in found.residuals)


@pytest.mark.identity
def test_open_sky_of_a_shaded_site_comes_back() -> None:
    """A site known to be half under is fitted by itself; one that is asked for may be anything."""
    shaded = (*SITES[:5], replace(SITES[5], open_sky=0.5))
    real = (replace(SITES[0], open_sky=0.7), *SITES[1:5], replace(SITES[5], open_sky=0.43))
    setup, truth = scene(sites=shaded), scene(sites=real)
    readings = simulated(setup, plan(), GAINS, truth=truth)
    found = fit(setup, readings, replace(REQUEST, open_sky=frozenset({"a"}))).calibration
    assert {s.site: s.value for s in found.open_sky} == pytest.approx({"a": 0.70, "f": 0.43}, rel=0.06)


@pytest.mark.identity
@pytest.mark.parametrize("stated", [False, True])
def test_reading_in_the_shade_of_rock_agrees(stated: bool) -> None:
    """Rock in the setup shades readings as it shades doses, but where a site states its own open sky."""
    boulder = Solid("boulder", "box", 0.30, 0.44, 0.10, (0.20, 0.16, 0.04))
    shaded = replace(SITES[3], y_m=0.40, own_sky=stated)
    setup = replace(scene(sites=(*SITES[:3], shaded)), rocks=(boulder,))
    readings = [reading(n + 2, {"blue": 1.0}, site=site) for n, site in enumerate(setup.sites)]
    points = [(s.x_m, s.y_m, s.depth_m) for s in setup.sites]
    clear = light_field(replace(setup, rocks=()), points)[:, 1, 0]
    true = clear if stated else light_field(setup, points)[:, 1, 0]
    assert true[3] < 0.8 * clear[3] or stated
    shown = tuple(replace(r, value=0.9 * float(v)) for r, v in zip(readings, true, strict=True))
    found = fit(setup, shown)
    assert not any(r.outlier for r in found.residuals)
    assert max(abs(r.residual_fraction) for r in found.residuals) < 0.02
    assert [f.key for f in found.findings if f.key in {"shaded_place", "reading_left_out"}] == []


@pytest.mark.identity
def test_yellowing_and_height_come_back_when_asked() -> None:
    """Blue against red at several depths shows yellowing; readings near and far show the height."""
    setup = scene()
    (fixture,) = setup.fixtures
    air = tuple(reading(60 + n, levels, at=(0.3, 0.22, -0.02)) for n, levels in enumerate(LEVEL_SETS))
    tinted = replace(setup, water=Water(1.0))
    found = fit(
        setup, simulated(setup, (*plan(), *air), GAINS, truth=tinted), replace(REQUEST, yellowing=True)
    )
    assert found.calibration.yellowing is not None
    assert found.calibration.yellowing.per_m == pytest.approx(1.0, abs=0.25)
    higher = replace(setup, fixtures=(replace(fixture, height_m=0.22),))
    found = fit(setup, simulated(setup, (*plan(), *air), GAINS, truth=higher), replace(REQUEST, height=True))
    (height,) = found.calibration.heights
    assert height.height_m == pytest.approx(0.22, abs=0.008)


@pytest.mark.identity
def test_loss_of_running_together_becomes_a_factor_and_a_caution() -> None:
    """Warm readings of all channels 15 % below the sum of single ones leave the single gains alone."""
    setup = replace(scene(), uncertainty=LITTLE)
    single = [reading(n, {name: 1.0}, site=SITES[n % 3]) for n, name in enumerate([*GAINS, *GAINS])]
    warm = [reading(50 + n, dict.fromkeys(GAINS, 1.0), site=SITES[n]) for n in range(4)]
    factor = np.array([1.0] * len(single) + [0.85] * len(warm))
    found = fit(setup, simulated(setup, (*single, *warm), GAINS, factor=factor))
    (loss,) = found.calibration.together
    assert loss.factor == pytest.approx(0.85, abs=0.02)
    assert gains(found) == pytest.approx(GAINS, rel=0.03)
    (caution,) = calibration_cautions(found.calibration)
    assert re.search("1[45] % less with many channels on", caution.text)
    assert analyse(with_calibration(setup, found.calibration)).cautions.count(caution) == 1
    emitted = found.calibration.emitted_umol_s("left", "blue")
    assert emitted == pytest.approx(40 * gains(found)["blue"] * loss.factor)


@pytest.mark.identity
def test_no_loss_is_spoken_of_where_sums_agree() -> None:
    """Readings that add up give neither a factor nor a caution."""
    setup = scene()
    single = [reading(n, {name: 1.0}, site=SITES[n % 3]) for n, name in enumerate(GAINS)]
    warm = [reading(50 + n, dict.fromkeys(GAINS, 1.0), site=SITES[n]) for n in range(4)]
    found = fit(setup, simulated(setup, (*single, *warm), GAINS)).calibration
    assert found.together == ()
    assert calibration_cautions(found) == ()


# ---- ties, outliers, contradictions ---------------------------------------------------------


@pytest.mark.identity
def test_channels_that_only_come_together_are_tied_and_said() -> None:
    """Fewer readings than unknowns: the mix is measured, its parts keep the file's ratio."""
    setup = scene()
    mix = {"blue": 1.0, "violet": 1.0}
    low = {"blue": 0.77, "violet": 0.71}
    readings = simulated(setup, (reading(2, mix, site=SITES[0]), reading(3, mix, site=SITES[2])), low)
    found = fit(setup, readings)
    ties = {g.channel: g.tied_to for g in found.calibration.gains}
    assert ties["blue"] == "violet"
    assert ties["violet"] == "blue"
    assert ties["red"] is not None
    assert found.untying is not None
    assert (found.untying.channel, found.untying.brightest.site) == ("blue", SITES[0].name)
    measured = gains(found)
    assert measured["red"] == pytest.approx(measured["cyan"], rel=1e-3)
    assert measured["red"] < 0.82  # follows the measured channels, below what data sheets usually give


@pytest.mark.identity
def test_fixture_without_readings_stands_on_its_file() -> None:
    """Its gains are tied to the file, and the basis says that part is unmeasured."""
    setup = scene(names=("blue",))
    second = replace(setup.fixtures[0], name="right", x_m=0.55)
    both = replace(setup, fixtures=(*setup.fixtures, second))
    found = fit(both, simulated(both, (reading(2, {"blue": 1.0}, site=SITES[0]),), GAINS))
    assert [g.tied_to for g in found.calibration.gains] == [None, UNREAD]
    basis = analyse(with_calibration(both, found.calibration)).basis
    assert basis.key == "data sheet"
    assert "no reading saw 'right'" in basis.sentence


@pytest.mark.identity
def test_reading_off_by_two_is_named_with_its_line() -> None:
    """One wild reading is left out, named, and hardly moves the gains."""
    setup = scene()
    factor = np.ones(24)
    factor[5] = 2.0
    found = fit(setup, simulated(setup, plan(), GAINS, factor=factor))
    assert [r.line for r in found.residuals if r.outlier] == [7]
    assert gains(found) == pytest.approx(GAINS, rel=0.03)
    assert found.calibration.readings == 23


@pytest.mark.identity
def test_readings_that_contradict_each_other_are_named() -> None:
    """Two figures for one place and one mix: both lines are in the sentence."""
    setup = scene(names=("blue",))
    again = (reading(2, {"blue": 1.0}, site=SITES[0]), reading(3, {"blue": 1.0}, site=SITES[0]))
    found = fit(setup, simulated(setup, again, GAINS, factor=np.array([1.0, 1.9])))
    (both,) = found.contradictions
    assert {r.place.line for r in (both.reading, *both.others)} == {2, 3}
    assert calibration_cautions(found.calibration) == ()  # the file holds only what concerns the light


@pytest.mark.identity
def test_channel_that_died_does_not_distort_the_others() -> None:
    """A channel at a third of its file is found, though its file counts it as known to 5 %."""
    setup = scene()
    true = GAINS | {"violet": 0.26}
    found = fit(setup, simulated(setup, plan(), true))
    assert gains(found) == pytest.approx(true, rel=0.04)


# ---- refusals ---------------------------------------------------------


def refusal(setup: Setup, *readings: Reading) -> str:
    with pytest.raises(ReadingsError) as caught:
        fit(setup, readings)
    return str(caught.value)


@pytest.mark.pinned
def test_reading_in_the_dark_is_refused_with_its_line() -> None:
    """The programme says that nothing was on."""
    text = refusal(scene(), reading(4, None, site=SITES[0], time_h=22.5))
    assert "readings.csv:4: the lights are off at 22:30 by the programme" in text


@pytest.mark.pinned
def test_lux_written_as_umol_is_refused_with_its_line() -> None:
    """A figure many times what the fixture can give names the likely unit."""
    text = refusal(scene(), reading(5, {"blue": 1.0}, 5000.0, site=SITES[3]))
    assert "readings.csv:5: 5000 umol/m2/s is" in text
    assert "write lux in unit" in text


@pytest.mark.pinned
def test_umol_written_as_lux_is_refused_with_its_line() -> None:
    """A figure that is a small part of what the fixture gives names the likely unit."""
    lux = Meter("handheld", "lux", "v-lambda", "A", "built in", 0.03)
    text = refusal(
        scene(names=("red",), meter=lux), reading(6, {"red": 1.0}, 60.0, site=SITES[0], unit="lux")
    )
    assert "readings.csv:6: 60 lx is 0.0" in text
    assert "write umol_m2_s in unit" in text


@pytest.mark.identity
def test_reading_just_beyond_the_limit_shows_on_which_side_it_lies() -> None:
    """A hair more than allowed is told with so many digits that it is more as it stands there."""
    text = refusal(scene(), reading(5, {"blue": 1.0}, 5e6, site=SITES[3]))
    times = float(re.search(r"is ([\d.]+) times", text)[1])  # type: ignore[index]
    for over in (1.002, 1.0002):
        told = refusal(scene(), reading(5, {"blue": 1.0}, 5e6 * 8 / times * over, site=SITES[3]))
        told_times = float(re.search(r"is ([\d.]+) times", told)[1])  # type: ignore[index]
        assert 8 < told_times < 8.1


@pytest.mark.pinned
def test_wet_reading_without_immersion_is_refused_with_its_line() -> None:
    """Neither a meter that is silent about it nor no meter at all passes under water."""
    setup = scene(meter=replace(METER, immersion=None))
    text = refusal(setup, reading(7, {"blue": 1.0}, site=SITES[0]))
    assert "readings.csv:7: meter 'handheld' says nothing about immersion" in text
    text = refusal(setup, reading(8, {"blue": 1.0}, site=SITES[0], meter=None))
    assert "readings.csv:8: a reading under water without a meter" in text


@pytest.mark.identity
def test_reading_in_the_air_needs_no_immersion() -> None:
    """Above the water a silent meter is fine."""
    setup = scene(names=("blue",), meter=replace(METER, immersion=None))
    air = reading(2, {"blue": 1.0}, at=(0.3, 0.22, -0.05))
    assert gains(fit(setup, simulated(setup, (air,), GAINS)))["blue"] == pytest.approx(0.9, rel=0.03)


# ---- history ---------------------------------------------------------


def earlier(date: str, factor: float, meters: tuple[str, ...]) -> EarlierCalibration:
    old = tuple(ChannelGain("left", n, g * factor, (g, g), 40.0) for n, g in GAINS.items())
    return EarlierCalibration(date, meters, 24, old)


@pytest.mark.pinned
def test_trend_says_what_meters_differ_by() -> None:
    """12 % less is within what two meters differ by, and beyond what one does."""
    setup = replace(scene(), uncertainty=LITTLE)
    readings = simulated(setup, plan(), GAINS)
    before = earlier("2025-03-14", 1 / 0.88, ("borrowed",))
    trend = trend_sentence(fit(setup, readings, replace(REQUEST, earlier=(before,))).trend)
    assert trend == "Since 2025-03-14: left 12 % lower; two meters can differ that much."
    before = earlier("2025-03-14", 1 / 0.88, ("handheld",))
    trend = trend_sentence(fit(setup, readings, replace(REQUEST, earlier=(before,))).trend)
    assert trend == "Since 2025-03-14: left 12 % lower; more than readings with one meter usually differ."


@pytest.mark.identity
def test_calibration_of_the_same_day_is_replaced_not_kept() -> None:
    """Running twice gives the same file; older ones stay, newest first."""
    same, old = earlier(REQUEST.date, 1.0, ("handheld",)), earlier("2024-01-02", 1.0, ("handheld",))
    older = replace(REQUEST, earlier=(same, old, earlier("2025-05-06", 1.0, ("handheld",))))
    setup = scene()
    kept = fit(setup, simulated(setup, plan(), GAINS), older).calibration.earlier
    assert [e.date for e in kept] == ["2025-05-06", "2024-01-02"]
