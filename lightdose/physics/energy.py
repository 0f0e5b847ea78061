"""Electricity of fixtures and what light they give for it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lightdose.model.arrays import FloatArray
from lightdose.model.fixture import Fixture
from lightdose.model.results import DayCurve, FixtureUse
from lightdose.model.setup import Electricity
from lightdose.model.spectrum import GRID_NM
from lightdose.physics.day_curve import full_output_hours
from lightdose.quantities import DAYS_PER_YEAR, PPFD_BAND

_S_PER_H = 3600.0
_W_PER_KW = 1000.0


def fixture_use(
    fixtures: Sequence[Fixture],
    emission: FloatArray,
    curve: DayCurve,
    electricity: Electricity | None = None,
) -> tuple[FixtureUse, ...]:
    """Energy, cost and photon efficacy of every fixture over its day.

    Power is taken as proportional to output: W = W at full output x output. Drivers' losses, fans and what a
    fixture draws while dark are not known and not counted.

    Parameters
    ----------
    fixtures : sequence of Fixture
        The lit fixtures, in the order of ``curve``.
    emission : array, shape (n_channel, 500)
        Photons of each channel at full output in the 1 nm cells of 300-800 nm, without ``output_scale``.
        [umol s-1]
    curve : DayCurve
        Outputs of the same channels.
    electricity : Electricity or None
        Price of a kilowatt-hour; without it there is no cost.

    Returns
    -------
    tuple of FixtureUse
        Energy and efficacy are None where a channel states no electrical power; efficacy is None too where
        nothing runs.

    Raises
    ------
    ValueError
        If the fixtures, ``emission`` and ``curve`` do not have the same number of channels.

    Source
    ------
    Energy is the time integral of power; a year has 365.25 days. Power in proportion to output: our choice,
    the simplest that needs only the power at full output.
    """
    hours = full_output_hours(curve)
    n_channel = sum(len(f.type.channels) for f in fixtures)
    if not n_channel == hours.size == emission.shape[0]:
        raise ValueError(
            f"{n_channel} channels in the fixtures, {emission.shape[0]} in the emission, "
            f"{hours.size} in the day"
        )
    first_cell, end_cell = np.searchsorted(GRID_NM, (PPFD_BAND.low_nm, PPFD_BAND.high_nm))
    photons_umol_s = emission[:, first_cell:end_cell].sum(axis=1)
    uses, first = [], 0
    for fixture in fixtures:
        own = slice(first, first := first + len(fixture.type.channels))
        uses.append(_use_of(fixture, photons_umol_s[own], hours[own], electricity))
    return tuple(uses)


def _use_of(
    fixture: Fixture, photons_umol_s: FloatArray, hours: FloatArray, electricity: Electricity | None
) -> FixtureUse:
    currency = electricity.currency if electricity else None
    powers = [c.electrical_w for c in fixture.type.channels]
    power_w = np.array([p for p in powers if p is not None], dtype=np.float64)
    if power_w.size < len(powers):
        return FixtureUse(fixture.name, None, None, currency, None)
    energy_kwh_d = float(power_w @ hours) / _W_PER_KW
    emitted_umol = fixture.output_scale * float(photons_umol_s @ hours) * _S_PER_H
    joules = energy_kwh_d * _W_PER_KW * _S_PER_H
    return FixtureUse(
        fixture.name,
        energy_kwh_d,
        energy_kwh_d * electricity.price_per_kwh * DAYS_PER_YEAR if electricity else None,
        currency,
        emitted_umol / joules if joules > 0 else None,
    )
