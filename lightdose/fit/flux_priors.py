"""What is known of a fixture's output before anything is read: priors, by what its file states."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Literal

import numpy as np

from lightdose.model.arrays import FloatArray
from lightdose.model.fixture import Channel, CosineLobe, Fixture
from lightdose.model.record import dataclass

Statement = Literal["data sheet", "typical", "none"]
"""How well a channel's output is known, best first."""

_ORDER: tuple[Statement, ...] = ("data sheet", "typical", "none")

SHEET_RANGE = (0.6, 1.05)
"""What fixtures give of their data sheet, 95 %: from memory of sheets without driver and lens losses."""

CENTRE: Mapping[Statement, float] = {
    "data sheet": 0.5 * math.log(SHEET_RANGE[0] * SHEET_RANGE[1]),
    "typical": 0.0,
    "none": math.log(10.0),
}
"""ln gain in the middle. With no statement the nominal flux is 1 umol s-1, the middle 10: our choice."""

COMMON_SD: Mapping[Statement, float] = {
    "data sheet": math.log(SHEET_RANGE[1] / SHEET_RANGE[0]) / (2 * 1.96),
    "typical": math.log(2.0),
    "none": math.log(10.0),
}
CHANNEL_SD: Mapping[Statement, float] = {"data sheet": 0.05, "typical": math.log(1.5), "none": math.log(3.0)}
"""ln standard uncertainties of a fixture, and of its channels among themselves: our choice."""

TWIN_SD = 0.10
"""ln standard uncertainty between two fixtures of one kind that states no output: our choice."""

BEAM_SD, ASSUMED_BEAM_SD = 0.05, 0.20
"""ln standard uncertainty of a stated beam width, and of the one that is assumed: our choice."""


@dataclass(frozen=True, eq=False)
class FluxPriors:
    """Means and standard uncertainties of fixtures and of their channels, natural logarithms.

    ``shared`` (channel, k) tells which channels share an unknown with fixtures of the same kind.
    """

    fixture_mean: FloatArray
    fixture_sd: FloatArray
    channel_mean: FloatArray
    channel_sd: FloatArray
    shared: FloatArray
    shared_mean: FloatArray
    shared_sd: FloatArray


def statement_of(channel: Channel) -> Statement:
    """What the fixture file says about a channel's output.

    Parameters
    ----------
    channel : Channel

    Returns
    -------
    str
        "data sheet", "typical" or "none".

    Source
    ------
    Bookkeeping.
    """
    if channel.flux is None:
        return "none"
    return "typical" if channel.flux.typical else "data sheet"


def flux_priors(fixtures: Sequence[Fixture], uncertainty: Mapping[str, float]) -> FluxPriors:
    """Priors of every fixture and channel.

    A fixture's common factor is as well known as its best channel; a channel that is known less is freer.
    Several fixtures of a kind without a data sheet share what is unknown about the kind.

    Parameters
    ----------
    fixtures : the lit ones
    uncertainty : the keeper's own ``flux_common_fraction`` and ``flux_channel_fraction``; the first replaces
        the skewed range of data sheets by one around the stated value

    Returns
    -------
    FluxPriors

    Source
    ------
    0.6 to 1.05 of data sheets and a factor of 2 on typical values: our choice, from memory.
    """
    centre, common, own = dict(CENTRE), dict(COMMON_SD), dict(CHANNEL_SD)
    if "flux_common_fraction" in uncertainty:
        centre["data sheet"], common["data sheet"] = 0.0, _ln_sd(uncertainty["flux_common_fraction"])
    if "flux_channel_fraction" in uncertainty:
        own["data sheet"] = _ln_sd(uncertainty["flux_channel_fraction"])
    kinds = [id(f.type) for f in fixtures]
    first = np.cumsum([0, *(len(f.type.channels) for f in fixtures)])
    fixture_prior, channel_prior, shared_prior, columns = [], [], [], []
    for n, fixture in enumerate(fixtures):
        said = [statement_of(c) for c in fixture.type.channels]
        best = min(said, key=_ORDER.index)
        further = [0.0 if s == best else common[s] for s in said]
        of_fixture = (centre[best], common[best])
        of_channels = [
            (centre[s] - centre[best], math.hypot(own[s], f)) for s, f in zip(said, further, strict=True)
        ]
        twins = [m for m, kind in enumerate(kinds) if kind == kinds[n]]
        if len(twins) > 1 and best != "data sheet":
            if n == twins[0]:
                shared_prior += [of_fixture, *of_channels]
                columns += _twin_columns([int(first[m]) for m in twins], len(said), int(first[-1]))
            of_fixture, of_channels = (0.0, TWIN_SD), [(0.0, own["data sheet"])] * len(said)
        fixture_prior.append(of_fixture)
        channel_prior += of_channels
    shared = np.array(columns).reshape(len(columns), int(first[-1])).T
    of_fixtures, of_all, of_kinds = (
        np.array(p).reshape(-1, 2) for p in (fixture_prior, channel_prior, shared_prior)
    )
    return FluxPriors(
        of_fixtures[:, 0],
        of_fixtures[:, 1],
        of_all[:, 0],
        of_all[:, 1],
        shared,
        of_kinds[:, 0],
        of_kinds[:, 1],
    )


def _twin_columns(starts: Sequence[int], channels: int, total: int) -> list[FloatArray]:
    """Membership in what twins share: one column for all their channels, then one a channel."""
    columns = np.zeros((channels + 1, total))
    for start in starts:
        columns[0, start : start + channels] = 1.0
        columns[1:, start : start + channels] = np.eye(channels)
    return list(columns)


def beam_sd(fixture: Fixture, uncertainty: Mapping[str, float]) -> float:
    """ln standard uncertainty of the beam width of a fixture's cosine lobes.

    Parameters
    ----------
    fixture : Fixture
    uncertainty : the keeper's own ``beam_fraction``

    Returns
    -------
    float

    Source
    ------
    Our choice.
    """
    if "beam_fraction" in uncertainty:
        return _ln_sd(uncertainty["beam_fraction"])
    lobes = [c.beam for c in fixture.type.channels if isinstance(c.beam, CosineLobe)]
    return ASSUMED_BEAM_SD if any(lobe.assumed for lobe in lobes) else BEAM_SD


def _ln_sd(fraction: float) -> float:
    """A relative standard uncertainty as a logarithm; never 0, so that readings can speak."""
    return max(math.log1p(fraction), 1e-4)
