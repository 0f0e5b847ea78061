"""`match` on whole setups: two lamps, days over midnight, colours that change, and its cautions."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from cli.small_tanks import write_tank

import lightdose
from lightdose.answers.match import match_cautions
from lightdose.model.fixture import ChannelProgramme, Programme
from lightdose.model.match import Match
from lightdose.model.results import Basis, weaker_basis
from lightdose.model.setup import Setup
from lightdose.physics.day_curve import day_curve
from lightdose.physics.dose import time_above
from lightdose.workflows.plans import match


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
    found = match(uneven, uneven, words)
    for pair in found.pairs:
        assert pair.dli_got == pytest.approx(pair.dli_target, rel=1e-9)
        assert pair.peak_got == pytest.approx(pair.peak_target, rel=1e-6)
        assert pair.band_got == pytest.approx(pair.band_target, rel=1e-5, abs=1e-9)
    assert found.unmatched == ()
    outputs = {(c.key.fixture, c.key.channel): c.output for c in found.channels}
    assert outputs["lamp 1", "red 660"] / outputs["lamp 2", "red 660"] == pytest.approx(3, rel=1e-4)


@pytest.mark.identity
def test_night_over_midnight_keeps_its_hours(two_lamps: Setup) -> None:
    """A programme from 19:00 to 03:00 gives one from 19:00 to 03:00 there, with the same dark hours."""
    time = np.array([19.0, 21, 25, 27])
    night = changed(two_lamps, lambda _, __, p: ChannelProgramme(time, p.level))
    found = match(night, two_lamps, ["ridge=ridge"])
    spans = [p.span_h for p in found.programmes.values()]
    assert spans == [(19.0, 27.0), (19.0, 27.0)]
    curve = day_curve(
        [replace(f, programme=found.programmes[f.name]) for f in found.there.setup.lit_fixtures]
    )
    hours = time_above(found.there.light_field.of("ppfd")[:1], curve, 0.0)
    assert float(hours[0]) == pytest.approx(8.0)
    assert found.pairs[0].dli_got == pytest.approx(found.here.dose.dli[0], rel=1e-9)


@pytest.mark.identity
def test_colour_that_changes_through_the_day_is_said(two_lamps: Setup) -> None:
    """Red only after noon here: the dose of every colour is met, and that its hours differ is said."""
    late = changed(
        two_lamps,
        lambda _, n, p: ChannelProgramme(np.array([14.0, 15, 16, 17]), p.level * 4) if n == "red 660" else p,
    )
    found = match(late, late, ["ridge=ridge"])
    assert "colour_of_the_day" in codes(found)
    assert found.other_colour < 1e-4
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
    off = {c.key.fixture for c in found.channels} - {c.key.fixture for c in found.channels if c.output > 0}
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
