"""`match` on whole setups: two lamps, days over midnight, colours that change, and its cautions."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from cli.small_tanks import write_tank

import lightdose
from lightdose.analysis import fixture_emission
from lightdose.answers.match import match_cautions
from lightdose.files.library import reference_tables
from lightdose.model.fixture import ChannelProgramme, Programme
from lightdose.model.match import Match, MatchWishes
from lightdose.model.results import Basis, weaker_basis
from lightdose.model.setup import Setup
from lightdose.model.spectrum import GRID_NM
from lightdose.physics.controller import on_minutes
from lightdose.physics.day_curve import day_curve, full_output_hours
from lightdose.physics.dose import time_above
from lightdose.workflows.plans import match

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
PAIRS = ("crest=ridge", "sand=ledge")
EXACT = MatchWishes(level_steps=10**12)
"""Levels all but unrounded: what the fit gives, apart from what a controller can take."""


def codes(found: Match) -> set[str]:
    return {c.code for c in match_cautions(found)}


@pytest.fixture(scope="module")
def two_lamps(tmp_path_factory: pytest.TempPathFactory) -> Setup:
    """An invented tank under two equal lamps with linear dimming but for the blue."""
    return lightdose.read_setup(write_tank(tmp_path_factory.mktemp("tanks") / "two", lamps=2))


def changed(setup: Setup, change: Callable[[int, str, ChannelProgramme], ChannelProgramme]) -> Setup:
    """Every channel's programme changed, by lamp number and channel name."""
    fixtures = tuple(
        replace(f, programme=Programme({n: change(i, n, p) for n, p in f.programme.channels.items()}))
        for i, f in enumerate(setup.fixtures)
    )
    return replace(setup, fixtures=fixtures)


@pytest.mark.identity
@pytest.mark.parametrize("words", [("ridge=ridge",), ("ridge=ridge", "sand=sand")])
def test_same_tank_with_unequal_lamps_is_exact(two_lamps: Setup, words: tuple[str, ...]) -> None:
    """Each lamp keeps its own part of the light: dose, peak and 10 nm doses are equal at every place."""
    uneven = changed(two_lamps, lambda i, _, p: ChannelProgramme(p.time_h, p.level * (1.5 - i)))
    uneven = changed(
        uneven, lambda _, n, p: p if n != "blue 450" else ChannelProgramme(p.time_h, p.level * 0)
    )
    found = match(uneven, uneven, words, EXACT)
    for pair in found.chosen.pairs:
        assert pair.dli_got == pytest.approx(pair.dli_target, rel=1e-9)
        assert pair.peak_got == pytest.approx(pair.peak_target, rel=1e-6)
        assert pair.band_got == pytest.approx(pair.band_target, rel=1e-5, abs=1e-9)
    assert found.chosen.unmatched == ()
    outputs = {(c.key.fixture, c.key.channel): c.output for c in found.chosen.channels}
    assert outputs["lamp 1", "red 660"] / outputs["lamp 2", "red 660"] == pytest.approx(3, rel=1e-4)


@pytest.mark.identity
def test_night_over_midnight_keeps_its_hours(two_lamps: Setup) -> None:
    """A programme from 19:00 to 03:00 gives one from 19:00 to 03:00 there, with the same dark hours."""
    time = np.array([19.0, 21, 25, 27])
    night = changed(two_lamps, lambda _, __, p: ChannelProgramme(time, p.level))
    found = match(night, two_lamps, ["ridge=ridge"], EXACT)
    spans = [p.span_h for p in found.chosen.programmes.values()]
    assert spans == [(19.0, 27.0), (19.0, 27.0)]
    curve = day_curve(
        [replace(f, programme=found.chosen.programmes[f.name]) for f in found.there.setup.lit_fixtures]
    )
    hours = time_above(found.there.light_field.of("ppfd")[:1], curve, 0.0)
    assert float(hours[0]) == pytest.approx(8.0)
    assert found.chosen.pairs[0].dli_got == pytest.approx(found.here.dose.dli[0], rel=1e-9)


@pytest.mark.identity
def test_colour_that_changes_through_the_day_is_said(two_lamps: Setup) -> None:
    """Red only after noon here: the dose of every colour is met, and that its hours differ is said."""
    late = changed(
        two_lamps,
        lambda _, n, p: ChannelProgramme(np.array([14.0, 15, 16, 17]), p.level * 4) if n == "red 660" else p,
    )
    found = match(late, late, ["ridge=ridge"], EXACT)
    assert "colour_of_the_day" in codes(found)
    assert found.chosen.other_colour < 1e-4
    steady = match(two_lamps, two_lamps, ["ridge=ridge"])
    assert "bring_it_in_slowly" not in codes(steady)


@pytest.mark.identity
def test_much_more_light_than_today_names_the_way(two_lamps: Setup) -> None:
    """A place that would get far more than today is sent to acclimate."""
    dim = changed(two_lamps, lambda _, __, p: ChannelProgramme(p.time_h, p.level * 0.3))
    found = match(two_lamps, dim, ["ridge=ridge"])
    text = next(c.text for c in match_cautions(found) if c.code == "bring_it_in_slowly")
    assert "`lightdose acclimate`" in text


@pytest.mark.identity
def test_lamp_that_stays_off_is_named(two_lamps: Setup) -> None:
    """Far lamps with little part in a steep match may be off: the keeper is told."""
    found = match(two_lamps, two_lamps, ["sand=ridge", "ridge=sand"])
    off = {c.key.fixture for c in found.chosen.channels} - {
        c.key.fixture for c in found.chosen.channels if c.output > 0
    }
    texts = [c.text for c in match_cautions(found) if c.code == "fixture_off"]
    assert len(off) == 1
    assert texts == [f"'{off.pop()}' stays off: the places below get less light."]


@pytest.mark.identity
def test_basis_of_a_match_is_that_of_its_weaker_side() -> None:
    """Readings go before a data sheet, a data sheet before typical values."""
    read, sheet = Basis("measured", "read"), Basis("data sheet", "sheet")
    typical = Basis("typical values", "typical")
    assert [weaker_basis(*pair) for pair in ((read, read), (sheet, read), (sheet, typical))] == [
        "measured",
        "data sheet",
        "typical values",
    ]


@pytest.mark.identity
def test_several_pairs_share_one_factor_and_keep_it_when_rounded(two_lamps: Setup) -> None:
    """Equal in the geometric mean to the last digit; levels in tenths of a percent take little of it."""
    dim = changed(two_lamps, lambda i, _, p: ChannelProgramme(p.time_h, p.level * (0.9 - 0.5 * i)))
    words = ["ridge=ridge", "sand=sand"]
    exact, rounded = (match(dim, two_lamps, words, wishes).chosen for wishes in (EXACT, MatchWishes()))
    assert np.prod([p.factor for p in exact.pairs]) == pytest.approx(1, rel=1e-9)
    assert rounded.common_factor == pytest.approx(1, rel=1e-3)
    for one, other in zip(exact.channels, rounded.channels, strict=True):
        assert other.level == pytest.approx(one.level, abs=2e-3)


@pytest.fixture(scope="module")
def examples() -> tuple[Setup, Setup]:
    """Two shipped examples whose fixtures share no channel but one."""
    return lightdose.read_setup(EXAMPLES / "mixed-blue"), lightdose.read_setup(EXAMPLES / "first-tank")


@pytest.mark.identity
def test_trade_off_falls_from_the_nearest_look_to_the_nearest_spectrum(examples: tuple[Setup, Setup]) -> None:
    """Each further setting looks further off and has a nearer spectrum; all give the dose."""
    found = match(*examples, PAIRS)
    assert len(found.front) > 2
    looks = [light.look_off for light in found.front]
    spectra = [light.spectrum_off for light in found.front]
    assert looks == sorted(looks)
    assert spectra == sorted(spectra, reverse=True)
    assert all(light.common_factor == pytest.approx(1, rel=2e-3) for light in found.front)
    assert found.chosen is found.front[0]
    assert match(*examples, PAIRS, MatchWishes("spectrum")).chosen.look_off == looks[-1]


@pytest.mark.identity
def test_order_of_channels_does_not_matter(examples: tuple[Setup, Setup]) -> None:
    """The same lamps with their channels listed backwards are set alike."""
    one, other = examples
    turned = tuple(
        replace(f, type=replace(f.type, channels=tuple(reversed(f.type.channels)))) for f in other.fixtures
    )
    found = [match(one, setup, ["crest=ridge"]) for setup in (other, replace(other, fixtures=turned))]
    levels = [{(c.key.fixture, c.key.channel): c.level for c in m.chosen.channels} for m in found]
    assert levels[0] == pytest.approx(levels[1], abs=2e-3)
    assert found[0].chosen.look_off == pytest.approx(found[1].chosen.look_off, abs=1e-3)


@pytest.mark.identity
def test_look_is_that_of_the_summed_emission_by_hours(examples: tuple[Setup, Setup]) -> None:
    """x and y of what is written: CIE sums over every channel's photons and its hours at full output."""
    found = match(*examples, ["crest=ridge"]).chosen
    fixtures = [replace(f, programme=found.programmes[f.name]) for f in examples[1].lit_fixtures]
    hours = full_output_hours(day_curve(fixtures))
    scale = [f.output_scale for f in fixtures for _ in f.type.channels]
    spectrum = (hours * scale) @ fixture_emission(examples[1])
    power = spectrum / GRID_NM
    x, y, z = (float(curve @ power) for curve in reference_tables().colour_matching)
    assert found.xy == pytest.approx((x / (x + y + z), y / (x + y + z)), abs=1e-6)


@pytest.mark.identity
def test_course_at_whole_minutes_stays_on_its_line() -> None:
    """Points move along the course; a jump keeps both its ends; the first and the last value stay."""
    time, value = np.array([9.0, 9.008, 10.0, 11.0, 11.0, 12.3456]), np.array([0.0, 0.1, 0.5, 0.6, 0.9, 0.2])
    moved, kept = on_minutes(time, value)
    assert 60 * moved == pytest.approx(np.round(60 * moved), abs=1e-9)
    assert kept.tolist() == [0.0, 0.5, 0.6, 0.9, 0.2]
    assert moved[2] == moved[3] == 11
