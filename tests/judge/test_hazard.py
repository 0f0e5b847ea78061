"""Staring into the fixtures of a setup: views, times, together, certainty, short lines, advice."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from lightdose.analysis import analyse, fixture_emission
from lightdose.files.library import hazard_tables
from lightdose.files.setup_file import read_setup
from lightdose.judge.cautions import SAFETY
from lightdose.judge.hazard import (
    BEHAVIOUR,
    DISTANCES_M,
    LIMITS,
    all_together,
    describe_hazard,
    find_hazards,
    short_lines,
)
from lightdose.model.calibration import Calibration, ChannelGain
from lightdose.model.fixture import (
    Channel,
    ChannelProgramme,
    CosineLobe,
    DimmingCurve,
    Emitters,
    Fixture,
    FixtureType,
    Flux,
    Programme,
)
from lightdose.model.results import DirectView, Hazard, duration_words
from lightdose.model.setup import Cover, Setup, Tank
from lightdose.model.spectrum import LedPeak
from lightdose.physics.day_curve import day_curve

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "first-tank" / "setup.toml"


def lamp(
    name: str = "lamp",
    *,
    peak_nm: float = 450,
    flux: float = 20.0,
    level: float = 0.5,
    scale: float = 1.0,
    typical: bool = False,
    assumed: bool = False,
    emitters: Emitters | None = None,
) -> Fixture:
    """A point lamp of one channel."""
    kind = Flux("electrical_w", flux, 0.5, typical=True) if typical else Flux("photon_flux_umol_s", flux)
    beam = CosineLobe(120.0 if assumed else 90.0, assumed)
    channel = Channel("c", LedPeak(peak_nm, 20), beam, DimmingCurve.linear(), kind)
    day = ChannelProgramme(np.array([8.0, 10.0, 16.0, 18.0]), level * np.array([0.0, 1.0, 1.0, 0.0]))
    kind_of = FixtureType("lamp", (channel,), emitters=emitters)
    return Fixture(name, kind_of, 0.3, 0.2, 0.2, Programme({"c": day}), output_scale=scale)


def setup_of(*fixtures: Fixture) -> Setup:
    return Setup("made", Tank(0.6, 0.4, 0.4), fixtures, (), (), {}, {})


def hazards(setup: Setup) -> tuple[DirectView, ...]:
    return find_hazards(setup, fixture_emission(setup), hazard_tables(), day_curve(setup.lit_fixtures))


def described(setup: Setup) -> Hazard:
    curve = day_curve(setup.lit_fixtures)
    return describe_hazard(setup, fixture_emission(setup), hazard_tables(), curve, "test")


@pytest.mark.identity
def test_each_fixture_from_each_distance_in_order() -> None:
    """Fixtures in file order, nearest first; one limit of each kind, radiance only where it is known."""
    found = hazards(setup_of(lamp("a"), lamp("b", emitters=Emitters(10, 0.005))))
    assert [(s.fixture, s.distance_m) for s in found] == [(n, d) for n in "ab" for d in DISTANCES_M]
    assert [t.key for t in found[0].limits] == [k for k in LIMITS if k != "blue_light_radiance"]
    assert [t.key for t in found[2].limits] == list(LIMITS)
    assert found[0].full_output.l_b_w_m2_sr is None


@pytest.mark.identity
def test_light_and_time_are_linear_and_inverse_square() -> None:
    """Half the programme is half the light and twice the time; 0.5 m gets 0.16 of what 0.2 m gets."""
    near, far = hazards(setup_of(lamp(emitters=Emitters(10, 0.005))))
    assert near.programme.e_b_w_m2 == pytest.approx(0.5 * near.full_output.e_b_w_m2, rel=1e-12)
    assert far.full_output.e_b_w_m2 == pytest.approx(0.16 * near.full_output.e_b_w_m2, rel=1e-12)
    assert far.full_output.l_b_w_m2_sr == near.full_output.l_b_w_m2_sr
    for limit in near.limits[:2]:
        assert limit.full_output_s is not None
        assert limit.programme_s == pytest.approx(2 * limit.full_output_s, rel=1e-12)
    scaled, _ = hazards(setup_of(lamp(scale=0.5)))
    assert scaled.full_output.e_b_w_m2 == pytest.approx(0.5 * near.full_output.e_b_w_m2, rel=1e-12)


@pytest.mark.identity
def test_cover_height_and_place_do_not_count() -> None:
    """Staring happens in air beside the cover, from a stated distance, whatever hangs where."""
    plain = hazards(setup_of(lamp()))
    moved = replace(lamp(), x_m=0.1, y_m=0.35, height_m=0.7, rotation_deg=33.0)
    covered = replace(setup_of(moved), cover=Cover(0.5))
    assert hazards(covered) == plain


@pytest.mark.identity
def test_together_is_the_sum_and_needs_two() -> None:
    """Irradiances add; radiance is the highest, and unknown where one is."""
    assert all_together(hazards(setup_of(lamp()))) == ()
    one, two = lamp("a", emitters=Emitters(10, 0.005)), lamp("b", flux=5.0, emitters=Emitters(5, 0.002))
    alone = hazards(setup_of(one, two))
    near, _ = all_together(alone)
    parts = [s for s in alone if s.distance_m == 0.2]
    assert near.full_output.e_b_w_m2 == pytest.approx(sum(s.full_output.e_b_w_m2 for s in parts), rel=1e-12)
    assert near.full_output.l_b_w_m2_sr == max(s.full_output.l_b_w_m2_sr or 0 for s in parts)
    unknown, _ = all_together(hazards(setup_of(one, lamp("b"))))
    assert unknown.full_output.l_b_w_m2_sr is None


@pytest.mark.identity
def test_certainty_widens_from_readings_to_typical_values() -> None:
    """Measured light is known best, then data sheets, then typical values; an assumed beam widens all."""
    gain = ChannelGain("lamp", "c", 1.0, (0.9, 1.1), 20.0)
    calibration = Calibration("2026-03-14", ("m",), 3, (gain,), (), np.zeros((0, 0)))
    measured = replace(setup_of(lamp()), calibration=calibration)
    widths = []
    for setup in (
        measured, setup_of(lamp()), setup_of(lamp(typical=True)), setup_of(lamp(typical=True, assumed=True)),
    ):  # fmt: skip
        low, high = hazards(setup)[0].factor_95
        assert low < 1 < high
        widths.append(high / low)
    assert widths == sorted(widths)
    low, high = hazards(setup_of(lamp()))[0].factor_95
    assert low < 0.6
    assert high > 1.05


@pytest.mark.identity
def test_short_lines_only_where_an_hour_reaches_a_limit() -> None:
    """Red light and a faint lamp say nothing; blue says when; ultraviolet has its own line."""
    assert short_lines(hazards(setup_of(lamp(peak_nm=660)))) == ()
    assert short_lines(hazards(setup_of(lamp(flux=0.05)))) == ()
    (line,) = short_lines(hazards(setup_of(lamp())))
    near, _ = hazards(setup_of(lamp()))
    soonest = near.soonest()
    assert soonest is not None
    assert soonest.full_output_s is not None
    assert line.code == "safety_eyes"
    assert duration_words(soonest.full_output_s) in line.text
    assert "lamp, at full output, from 20 cm (8 in)" in line.text
    codes = [c.code for c in short_lines(hazards(setup_of(lamp(peak_nm=380, flux=100.0))))]
    assert "safety_ultraviolet" in codes


@pytest.mark.identity
def test_dose_merges_the_short_lines_with_its_safety() -> None:
    """No code stands twice; the general line on eyes gives way to the one with the figure."""
    analysis = analyse(read_setup(EXAMPLE), certainty=False)
    lines = [c for c in analysis.cautions if c.code.startswith("safety_")]
    assert [c.code for c in lines] == [c.code for c in SAFETY]
    assert lines[0] == short_lines(analysis.hazards)[0]
    assert lines[1:] == list(SAFETY[1:])
    assert lines[0].text.startswith(SAFETY[0].text.removesuffix("."))


@pytest.mark.identity
def test_remarks_name_what_this_setup_leaves_open() -> None:
    """Unknown emitters, an assumed beam, a salted lens and a fixture that is off are told by name."""
    off = replace(lamp("spare"), enabled=False)
    found = " ".join(described(setup_of(lamp("left", assumed=True), lamp("salty", scale=0.8), off)).remarks)
    assert "single emitter of left, salty is not known" in found
    # cos^m: (4.82 + 1) / (1 + 1), in closed form
    assert (
        "beam of left is assumed 120 deg wide; lenses of 60 deg would make these figures 2.9 times" in found
    )
    assert "salty stands at output_scale 0.8" in found
    assert "1.2 times" in found
    assert "not counted: spare" in found
    dark = described(setup_of(off))
    assert dark.views == dark.together == ()


@pytest.mark.pinned
def test_behaviour_says_all_that_must_be_said() -> None:
    """Behaviour covers eyes, work, who needs extra care, water, weight, codes and standards."""
    words = " ".join(c.text for c in BEHAVIOUR)
    for needed in (
        "Do not look into the emitters", "look dim", "no reflex protects", "before you work under it",
        "children", "medicine", "natural lens", "Unplug", "dry hands", "two people",
        "residual-current protection",
        "drip loop", "secure hanging gear", "Local codes", "maker's instructions", "licensed electrician",
        "no assessment to IEC 62471",
    ):  # fmt: skip
        assert needed in words
    assert all(c.source for c in BEHAVIOUR)


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (0.4, "less than 1 s"), (1.99, "about 1.9 s"), (12.9, "about 12 s"), (119.9, "about 119 s"),
        (120, "about 2 min"), (7199, "about 119 min"), (9100, "about 2.5 h"),
    ],
)  # fmt: skip
def test_times_are_rounded_down(seconds: float, words: str) -> None:
    """A limit is never said to come later than it does."""
    assert duration_words(seconds) == words
