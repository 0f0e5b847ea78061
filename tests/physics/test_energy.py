"""Electricity of fixtures: energy, cost, photons per joule."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from lightdose.model.setup import Electricity
from lightdose.model.spectrum import GRID_NM
from lightdose.physics.day_curve import day_curve, fixture_use

from .day_scenes import TRAPEZOID, fixture

PRICE = Electricity(0.30, "EUR")


def emission(*photons_by_channel: tuple[float, float]) -> np.ndarray:
    """Photons in the cell at 450 nm, and in the cell at 395 nm, of each channel."""
    cells = np.zeros((len(photons_by_channel), GRID_NM.size))
    for row, (blue, violet) in zip(cells, photons_by_channel, strict=True):
        row[np.searchsorted(GRID_NM, 450)] = blue
        row[np.searchsorted(GRID_NM, 395)] = violet
    return cells


@pytest.mark.identity
def test_energy_is_power_times_full_output_hours() -> None:
    """24 W over a trapezoid worth 8 h: 0.192 kWh a day, 21.04 a year at 0.30, 62/24 umol/J."""
    lamp = fixture(electrical_w={"blue": 24})
    (use,) = fixture_use([lamp], emission((62, 5)), day_curve([lamp]), PRICE)
    assert use.energy_kwh_d == pytest.approx(0.192, rel=1e-14)
    assert use.cost_per_year == pytest.approx(0.192 * 0.30 * 365.25, rel=1e-14)
    assert use.currency == "EUR"
    assert use.photon_efficacy_umol_j == pytest.approx(62 / 24, rel=1e-14)


@pytest.mark.identity
def test_channels_weigh_in_by_their_hours() -> None:
    """Efficacy is that of the day's mix: photons of all channels over energy of all channels."""
    lamp = fixture(
        programmes={"blue": TRAPEZOID, "white": [(10, 0.5), (12, 0.5)]},
        electrical_w={"blue": 20, "white": 40},
    )
    (use,) = fixture_use([lamp], emission((50, 0), (70, 0)), day_curve([lamp]))
    assert use.energy_kwh_d == pytest.approx((20 * 8 + 40 * 1) / 1000, rel=1e-14)
    assert use.photon_efficacy_umol_j == pytest.approx((50 * 8 + 70) / (20 * 8 + 40), rel=1e-14)


@pytest.mark.identity
def test_each_fixture_has_its_own_channels_and_gaps() -> None:
    """A channel without electrical power leaves its fixture unknown and the other known."""
    known = fixture("A", {"x": TRAPEZOID}, electrical_w={"x": 10})
    gap = fixture("B", {"y": TRAPEZOID, "z": TRAPEZOID}, electrical_w={"y": 10})
    first, second = fixture_use(
        [known, gap], emission((1, 0), (1, 0), (1, 0)), day_curve([known, gap]), PRICE
    )
    assert (first.fixture, first.energy_kwh_d) == ("A", pytest.approx(0.08))
    assert (second.energy_kwh_d, second.cost_per_year, second.photon_efficacy_umol_j) == (None, None, None)


@pytest.mark.identity
def test_watts_of_the_whole_fixture_are_shared_by_radiant_power() -> None:
    """Photons x energy a photon: of equal photons 395.5 nm draws 450.5 / 395.5 times as much as 450.5 nm."""
    lamp = fixture(programmes={"blue": TRAPEZOID, "violet": [(10, 1), (12, 1)], "own": [(10, 1), (11, 1)]})
    channels = (*lamp.type.channels[:2], replace(lamp.type.channels[2], electrical_w=20.0))
    whole = replace(lamp, type=replace(lamp.type, channels=channels, electrical_w=100.0))
    (use,) = fixture_use([whole], emission((60, 0), (0, 60), (5, 0)), day_curve([whole]))
    blue, violet, own = use.power_w or ()
    assert own == 20
    assert blue + violet == pytest.approx(80, rel=1e-14)
    assert violet / blue == pytest.approx(450.5 / 395.5, rel=1e-12)
    assert use.energy_kwh_d == pytest.approx((8 * blue + 2 * violet + own) / 1000, rel=1e-14)
    dark = fixture_use([whole], emission((0, 0), (0, 0), (0, 0)), day_curve([whole]))[0].power_w
    assert dark == (40, 40, 20)


@pytest.mark.identity
def test_watts_of_each_channel_stand_before_those_of_the_fixture() -> None:
    """Where every channel has its own, the whole is no more than a check."""
    lamp = fixture(electrical_w={"blue": 24})
    both = replace(lamp, type=replace(lamp.type, electrical_w=25.0))
    (use,) = fixture_use([both], emission((62, 0)), day_curve([both]))
    assert use.power_w == (24,)


@pytest.mark.identity
def test_salt_film_costs_photons_not_energy() -> None:
    """output_scale lowers the light that leaves the fixture, and with it the efficacy."""
    clean, salty = (fixture(electrical_w={"blue": 24}, output_scale=s) for s in (1.0, 0.7))
    (a,), (b,) = (fixture_use([f], emission((62, 0)), day_curve([f])) for f in (clean, salty))
    assert b.energy_kwh_d == a.energy_kwh_d
    assert b.photon_efficacy_umol_j == pytest.approx(0.7 * (a.photon_efficacy_umol_j or 0), rel=1e-14)


@pytest.mark.identity
def test_fixture_that_runs_nothing_uses_nothing() -> None:
    """Zero energy and cost; an efficacy does not exist."""
    dark = fixture(programmes={}, channels=["blue"], electrical_w={"blue": 24})
    (use,) = fixture_use([dark], emission((62, 0)), day_curve([dark]), PRICE)
    assert (use.energy_kwh_d, use.cost_per_year, use.photon_efficacy_umol_j) == (0, 0, None)


@pytest.mark.identity
def test_no_price_no_cost() -> None:
    """Without a price neither cost nor currency is stated."""
    lamp = fixture(electrical_w={"blue": 24})
    (use,) = fixture_use([lamp], emission((62, 0)), day_curve([lamp]))
    assert (use.cost_per_year, use.currency) == (None, None)


@pytest.mark.identity
def test_counts_of_channels_must_agree() -> None:
    """An emission of other channels is a fault of the caller."""
    lamp = fixture()
    with pytest.raises(ValueError, match="1 channels in the fixtures, 2 in the emission, 1 in the day"):
        fixture_use([lamp], emission((1, 0), (1, 0)), day_curve([lamp]))
