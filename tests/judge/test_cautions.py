"""Cautions: the mix, the day, limits and safety, each with its source and the places it concerns."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from lightdose.files.groups_file import default_groups
from lightdose.judge.cautions import SAFETY, find_cautions
from lightdose.judge.verdict import judge_corals
from lightdose.model.calibration import Calibration, ChannelGain
from lightdose.model.fixture import CosineLobe, Fixture, FixtureType, Flux
from lightdose.model.light import LightField
from lightdose.model.results import Caution
from lightdose.model.setup import Coral, Receiver, Setup, Site, Tank
from lightdose.physics.day_curve import day_curve
from lightdose.physics.dose import daily_dose

from ..physics.day_scenes import TRAPEZOID, field, fixture

MIX_AND_DAY = {
    "little_blue",
    "much_red",
    "ultraviolet",
    "violet_tail",
    "long_day",
    "no_dark_hours",
    "no_ramp",
    "sudden_rise",
}


def cautions(
    scene: LightField,
    lamps: Sequence[Fixture] | None = None,
    corals: Sequence[Coral] = (),
    calibration: Calibration | None = None,
) -> dict[str, Caution]:
    """Cautions by code for a tank with the sites of a light field."""
    fixtures = tuple(lamps or (fixture(),))
    sites = tuple(Site(r.name, r.x_m, r.y_m, r.depth_m) for r in scene.receivers if r.coral is None)
    groups, sources = default_groups()
    setup = Setup(
        "made", Tank(1.0, 0.4, 0.4), fixtures, sites, tuple(corals), groups, sources, calibration=calibration
    )
    curve = day_curve(fixtures)
    dose = daily_dose(scene, curve)
    found = find_cautions(setup, scene, curve, dose, judge_corals(setup, scene, dose))
    assert len({c.code for c in found}) == len(found)
    return {c.code: c for c in found}


@pytest.mark.identity
def test_ordinary_day_has_no_caution_on_mix_or_day() -> None:
    """Half blue, a quarter red, no ultraviolet, ramps and dark hours: only limits and safety remain."""
    found = cautions(field([[100]], blue=[[50]], red=[[25]]))
    assert not MIX_AND_DAY & set(found)


@pytest.mark.identity
@pytest.mark.parametrize(
    ("code", "below", "above"),
    [
        ("little_blue", {"blue": 30.0}, {"blue": 29.9}),
        ("much_red", {"red": 50.0}, {"red": 50.1}),
        ("ultraviolet", {"below_390": 1.0, "uv_a": 1.0}, {"below_390": 1.1, "uv_a": 1.1}),
        ("violet_tail", {"below_390": 0.5, "uv_a": 1.4}, {"below_390": 0.5, "uv_a": 1.6}),
    ],
)
def test_shares_caution_beyond_their_threshold(
    code: str, below: dict[str, float], above: dict[str, float]
) -> None:
    """30 % blue, 50 % red, 1 % below 390 nm and 1 % of violet tail are fine; beyond them is named."""
    assert code not in cautions(field([[100]], **{k: [[v]] for k, v in below.items()}))
    assert code in cautions(field([[100]], **{k: [[v]] for k, v in above.items()}))


@pytest.mark.identity
def test_one_caution_names_all_the_places_it_concerns() -> None:
    """Two red sites and a dark one: one caution with two names."""
    scene = field([[100], [100], [100], [0]], red=[[60], [10], [70], [0]])
    text = cautions(scene)["much_red"].text
    assert "S1, S3." in text
    assert "S2" not in text
    assert "S4" not in text


@pytest.mark.identity
def test_long_list_of_places_is_cut_and_counted() -> None:
    """Four names and the number of the rest."""
    text = cautions(field([[100]] * 9, red=[[60]] * 9))["much_red"].text
    assert "S4 and 5 more" in text


@pytest.mark.identity
def test_shares_weigh_channels_by_their_hours() -> None:
    """A red channel that runs for an hour does not make a red day."""
    lamp = fixture(programmes={"b": ((8, 0), (9, 1), (17, 1), (18, 0)), "r": ((12, 0), (12.5, 1), (13, 0))})
    assert "much_red" not in cautions(field([[100, 300]], red=[[0, 300]]), [lamp])


@pytest.mark.identity
def test_lit_over_14_hours_is_named() -> None:
    """A photoperiod of 14 h is fine, more is not; the length counts from 5 % of the peak."""
    long, longer = (
        fixture(programmes={"b": ((6, 0.001), (6.01, 1), (6.01 + h, 1), (6.02 + h, 0))}) for h in (13.9, 14.1)
    )
    assert "long_day" not in cautions(field([[100]]), [long])
    assert "long_day" in cautions(field([[100]]), [longer])


@pytest.mark.identity
def test_night_light_leaves_no_dark_hours() -> None:
    """A faint channel around the clock is named though the photoperiod is short."""
    night = fixture("moon", {"m": [(0, 0.01), (24, 0.01)]})
    found = cautions(field([[100, 100]]), [fixture(), night])
    assert "no_dark_hours" in found
    assert "long_day" not in found


@pytest.mark.identity
def test_day_without_ramp_is_named_where_no_ramping_channel_reaches() -> None:
    """A site that only a switched channel lights has no ramp; one that a ramping channel reaches has."""
    switched = fixture("B", {"x": [(9, 1), (17, 1)]})
    text = cautions(field([[0, 100], [50, 100]]), [fixture(), switched])["no_ramp"].text
    assert "S1 " in text
    assert "S2" not in text


@pytest.mark.identity
def test_rise_above_a_quarter_is_named_with_both_doses() -> None:
    """previous = 1 against a dose of 2.88 is a sudden rise; 2.4 (20 %) and "unknown" are not."""
    corals = [
        Coral("new", "sps-plating", "S1", previous=1.0),
        Coral("same", "sps-plating", "S1", previous=2.4),
        Coral("guest", "sps-plating", "S1", previous="unknown"),
    ]
    found = cautions(field([[100]]), corals=corals)["sudden_rise"]
    assert "new (from 1.0 to 2.9)" in found.text
    assert "same" not in found.text
    assert "no published paper" in found.source
    assert "sudden_rise" not in cautions(field([[100]]), corals=corals[1:])


@pytest.mark.identity
def test_light_is_not_the_diagnosis_wherever_corals_are_judged() -> None:
    """The note on other causes, and on usual amounts being practice, stand beside verdicts only."""
    notes = {"light_is_not_the_diagnosis", "usual_is_practice"}
    assert notes <= set(cautions(field([[100]]), corals=[Coral("a", "soft", "S1")]))
    assert not notes & set(cautions(field([[100]])))
    sun = cautions(field([[100]]), corals=[Coral("a", "non-photosynthetic", "S1")])
    assert "usual_is_practice" not in sun


@pytest.mark.identity
def test_fixture_beside_the_water_is_named_where_it_is_lit() -> None:
    """A centre outside the opening is computed, and said; on the edge and above the water nothing is said."""
    lamp = fixture()
    beside = replace(lamp, name="stray", x_m=-0.05)
    text = cautions(field([[100]]), [beside])["beside_the_water"].text
    assert text.startswith("Not above the water but beside it: stray.")
    assert "beside_the_water" not in cautions(field([[100]]), [replace(lamp, x_m=0.0, y_m=0.4)])


@pytest.mark.identity
def test_unmeasured_and_assumed_inputs_are_named() -> None:
    """Typical flux and a default beam name their fixtures; data sheets get the general note."""
    plain = fixture()
    channel = replace(
        plain.type.channels[0],
        beam=CosineLobe(120, assumed=True),
        flux=Flux("electrical_w", 20.0, radiant_efficiency=0.4, typical=True),
    )
    guessed = Fixture("shelf", FixtureType("made", (channel,)), 0.1, 0.1, 0.2, plain.programme)
    found = cautions(field([[100]]), [guessed])
    assert "shelf" in found["typical_flux"].text
    assert "shelf" in found["assumed_beam"].text
    assert "unmeasured" not in found
    assert {"unmeasured"} == {"unmeasured", "typical_flux", "assumed_beam"} & set(cautions(field([[100]])))


@pytest.mark.identity
def test_measured_fixture_is_not_called_unmeasured() -> None:
    """Readings of one of two fixtures leave the note to the other; what they left open is told."""
    gain = ChannelGain(
        fixture="left",
        channel="blue",
        gain=0.9,
        interval_95=(0.8, 1.0),
        nominal_umol_s=50.0,
    )
    calibration = Calibration(
        "2026-03-14", (), 3, (gain,), (), np.zeros((0, 0)), cautions=("Salt on the lens.",)
    )
    scene, lamps = field([[100, 100]]), (fixture("left"), fixture("right", {"white": TRAPEZOID}))
    found = cautions(scene, lamps, calibration=calibration)
    assert "the light of right:" in found["unmeasured"].text
    assert found["calibration"] == Caution("calibration", "Salt on the lens.", "the readings of 2026-03-14")
    assert "unmeasured" not in cautions(field([[100]]), lamps[:1], calibration=calibration)


@pytest.mark.identity
def test_energy_says_how_it_is_taken_where_it_is_stated() -> None:
    """Power in proportion to output is named beside any energy, and only then."""
    assert "energy_by_output" in cautions(field([[100]]), [fixture(electrical_w={"blue": 20})])
    assert "energy_by_output" not in cautions(field([[100]]), [fixture()])
    lamp = fixture()
    whole = cautions(field([[100]]), [replace(lamp, type=replace(lamp.type, electrical_w=95.0))])
    assert {"energy_by_output", "energy_shared"} <= set(whole)
    assert "watts of left are known for the whole fixture" in whole["energy_shared"].text


@pytest.mark.identity
def test_coral_is_counted_once_by_the_light_of_its_own_top() -> None:
    """A coral that stands off its site has its own light; its site is not named besides it."""
    scene = field([[100], [100], [100]], red=[[60], [10], [60]])
    top = Receiver("tall (top)", "S1", 0.1, 0.1, 0.05, 1.0, "tall")
    scene = LightField((*scene.receivers[:2], top), scene.channels, scene.weightings, scene.response)
    tall = Coral("tall", "soft", "S1", height_m=0.05)
    found = cautions(scene, corals=[tall])["much_red"]
    assert found.names == ("tall",)
    assert "at tall. Red" in found.text
    flat = cautions(scene, corals=[tall, Coral("flat", "soft", "S1")])["much_red"]
    assert flat.names == ("tall", "flat")


@pytest.mark.identity
def test_sites_are_named_only_where_no_coral_stands() -> None:
    """Beside corals an empty site is said to be one; the names are counted once each."""
    scene = field([[100]] * 3, red=[[60], [60], [10]])
    found = cautions(scene, corals=[Coral("a", "soft", "S1")])["much_red"]
    assert found.names == ("a", "S2")
    assert "at a (and where no coral stands: S2). Red" in found.text
    alone = cautions(scene, corals=[Coral("a", "soft", "S3")])["much_red"]
    assert "at S1, S2 (no coral there). Red" in alone.text


@pytest.mark.identity
def test_dark_tank_has_no_caution_on_mix_or_day() -> None:
    """Nothing runs, nothing is odd about its light."""
    found = cautions(field(np.zeros((1, 1))), [fixture(programmes={}, channels=["b"])])
    assert not MIX_AND_DAY & set(found)


@pytest.mark.pinned
def test_safety_comes_last_and_is_complete() -> None:
    """Eyes, unplugging, water and hanging gear, codes: always there, in this order, with a source each."""
    found = list(cautions(field([[100]])).values())
    assert tuple(found[-len(SAFETY) :]) == SAFETY
    words = " ".join(c.text for c in SAFETY)
    for needed in (
        "Do not look into the emitters",
        "no reflex protects",
        "Unplug before",
        "dry hands",
        "drip loop",
        "residual-current protection",
        "secure hanging gear",
        "Local codes",
        "maker's instructions",
        "licensed electrician",
        "no assessment to a safety standard",
    ):
        assert needed in words
    assert all(c.text and c.source and c.text.isascii() and "!" not in c.text for c in found)
