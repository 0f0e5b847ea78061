"""Channels set for a wanted light: another tank's places, and how far a mix can change its colour's worth.

The index is usable light over PPFD, a ratio of two linear forms of the outputs. With the PPFD held it is
linear itself, so its least and its highest value are two linear programs.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from lightdose.errors import Place, Problem, SetupError
from lightdose.model.changes import ALL_MIXES, WITHOUT_WARNINGS, IndexSpan
from lightdose.model.fixture import Programme
from lightdose.model.match import BAND_WIDTH_NM, Match, MatchedChannel, PairMatch, PlacePair, UnmatchedBand
from lightdose.model.record import FloatArray, dataclass
from lightdose.model.results import Analysis
from lightdose.model.spectrum import ReferenceTables
from lightdose.physics.day_curve import day_curve, day_points, full_output_hours
from lightdose.physics.dose import daily_light_integral, peak_and_photoperiod
from lightdose.physics.emission import TEN_NM_WEIGHTINGS, photon_distribution, weighting_matrix
from lightdose.physics.programme import level_for_output, opened_day, programme_for_output
from lightdose.quantities import GRID_START_NM, MOL_PER_UMOL_S_H

_TOLERANCE = 1e-9


@dataclass(frozen=True, eq=False)
class MixBound:
    """A bound on a share of PPFD: ``part`` is at least, or at most, ``share`` of it.

    Attributes
    ----------
    name : in words, such as "blue at least 30 %"
    part : array, shape (n_channel,); photons of each channel at full output. [umol m-2 s-1]
    """

    name: str
    part: FloatArray
    share: float
    at_least: bool

    def row(self, ppfd: FloatArray) -> FloatArray:
        """The bound as ``row @ outputs <= 0``."""
        over: FloatArray = self.part - self.share * ppfd
        return -over if self.at_least else over

    def kept(self, ppfd: FloatArray, output: FloatArray) -> bool:
        """Whether a mix keeps the bound."""
        return bool(self.row(ppfd) @ output <= _TOLERANCE * (ppfd @ output))


def index_spans(
    ppfd: FloatArray, usable: Mapping[str, FloatArray], total_umol_m2_s: float, bounds: tuple[MixBound, ...]
) -> tuple[IndexSpan, IndexSpan]:
    """Least and highest index over every mix, and over those that keep the bounds, at one place.

    Parameters
    ----------
    ppfd : array, shape (n_channel,)
        Of each channel at full output. [umol m-2 s-1]
    usable : dict of array, shape (n_channel,)
        The same photons weighted by each absorption curve. [umol m-2 s-1]
    total_umol_m2_s : float
        PPFD that every mix gives. [umol m-2 s-1]
    bounds : tuple of MixBound

    Returns
    -------
    all mixes, mixes that keep every bound : IndexSpan
        Without spans where no such mix gives the total, with the reason.

    Source
    ------
    A ratio with its denominator held is linear: linear programs over outputs 0-1. Without bounds the
    cheapest channels first are the least (a fractional knapsack), with bounds too where that keeps them; the
    others are solved by scipy's HiGHS.
    """
    lit = np.asarray(ppfd > 0)
    light = ppfd[lit]
    weighted = {key: values[lit] for key, values in usable.items()}
    kept = tuple(MixBound(b.name, b.part[lit], b.share, b.at_least) for b in bounds)
    return (
        _span(ALL_MIXES, light, weighted, total_umol_m2_s, ()),
        _span(WITHOUT_WARNINGS, light, weighted, total_umol_m2_s, kept),
    )


def _span(
    key: str,
    ppfd: FloatArray,
    usable: Mapping[str, FloatArray],
    total: float,
    bounds: tuple[MixBound, ...],
) -> IndexSpan:
    if not (total > 0 and ppfd.size):
        return IndexSpan(key, None, "there is no light here")
    if total > ppfd.sum() * (1 + _TOLERANCE):
        return IndexSpan(key, None, "all channels at full do not give that much light")
    spans = {}
    for curve, row in usable.items():
        ends = [_extreme(ppfd, sign * row, total, bounds) for sign in (1.0, -1.0)]
        if ends[0] is None or ends[1] is None:
            return IndexSpan(key, None, _why_none(ppfd, total, bounds))
        spans[curve] = (ends[0], -ends[1])
    return IndexSpan(key, spans)


def _extreme(ppfd: FloatArray, cost: FloatArray, total: float, bounds: tuple[MixBound, ...]) -> float | None:
    """Least of ``cost @ outputs / total``; None where no mix keeps the bounds."""
    # Unknowns are the channels' shares of the total: rows and costs are then of the order of one.
    most = np.minimum(ppfd / total, 1.0)
    whole = min(1.0, float(most.sum()))
    cheapest = _filled(cost / ppfd, most, whole)
    rows = np.array([b.row(ppfd) / ppfd for b in bounds]).reshape(len(bounds), ppfd.size)
    if np.all(rows @ cheapest <= 0):
        return float(cost / ppfd @ cheapest)
    from scipy.optimize import linprog

    found = linprog(
        cost / ppfd,
        A_ub=rows,
        b_ub=np.zeros(len(bounds)),
        A_eq=np.ones((1, ppfd.size)),
        b_eq=[whole],
        bounds=np.column_stack((np.zeros(ppfd.size), most)),
        method="highs",
    )
    return float(found.fun) if found.status == 0 else None


def _filled(price: FloatArray, most: FloatArray, whole: float) -> FloatArray:
    """The least cost without bounds: the cheapest channel to its end, then the next, until all is given."""
    order = np.argsort(price, kind="stable")
    before = np.concatenate(([0.0], np.cumsum(most[order])[:-1]))
    share = np.empty_like(most)
    share[order] = np.clip(whole - before, 0.0, most[order])
    return share


def _why_none(ppfd: FloatArray, total: float, bounds: tuple[MixBound, ...]) -> str:
    """The bound that no mix of this much light keeps, or that they cannot be kept together."""
    zero = np.zeros(ppfd.size)
    alone = [b.name for b in bounds if _extreme(ppfd, zero, total, (b,)) is None]
    if alone:
        return f"no mix that gives as much light has {' or '.join(alone)}"
    return f"no mix that gives as much light has {', '.join(b.name for b in bounds)} at once"


EQUAL_DOSE_WEIGHT = 1e4
"""One pair: its dose is all but a condition."""

SHARED_DOSE_WEIGHT = 1.0
"""Several pairs: their doses count as much as all their colours. Our choice."""

SPLIT_WEIGHT = 1e-2
"""Keeps like channels in today's proportion unless the doses say otherwise. Our choice."""

LEAST_WEIGHT = 1e-7
"""Tells apart what the doses do not: less output is better."""

OFF_BELOW = 1e-6
"""Outputs below are no light. Our choice: a thousandth of the least level that controllers take."""


@dataclass(frozen=True, eq=False)
class MatchTask:
    """What the other tank can give at full output all through the day's shape, and what is wanted.

    Attributes
    ----------
    bands : array, shape (n_pair, n_channel, n_band). [mol m-2 d-1]
    dose : array, shape (n_pair, n_channel); of 400-700 nm. [mol m-2 d-1]
    wanted_bands : array, shape (n_pair, n_band). [mol m-2 d-1]
    wanted_dose : array, shape (n_pair,), above 0. [mol m-2 d-1]
    band_weight : array, shape (n_band,)
    like : groups of channels of one spectrum
    today : array, shape (n_channel,); hours at full output of today's programme. [h]
    """

    bands: FloatArray
    dose: FloatArray
    wanted_bands: FloatArray
    wanted_dose: FloatArray
    band_weight: FloatArray
    like: Sequence[Sequence[int]]
    today: FloatArray


def matched_outputs(task: MatchTask) -> FloatArray:
    """Plateau outputs of every channel.

    Least squares of the 10 nm doses, each pair relative to what it should get, with 0 <= u <= 1; then one
    common factor that makes the doses equal in the geometric mean over the pairs, as far as full output
    allows.

    Returns
    -------
    array, shape (n_channel,)
        Output 0-1.

    Source
    ------
    scipy.optimize.lsq_linear (bounded-variable least squares).
    """
    from scipy.optimize import lsq_linear

    matrix, wanted = _equations(task)
    found = lsq_linear(matrix, wanted, bounds=(0.0, 1.0), method="bvls", tol=1e-14, max_iter=500)
    outputs = np.clip(found.x, 0.0, 1.0)
    outputs[outputs < OFF_BELOW] = 0.0
    return with_equal_dose(outputs, task.dose, task.wanted_dose)


def with_equal_dose(outputs: FloatArray, dose: FloatArray, wanted_dose: FloatArray) -> FloatArray:
    """Outputs times a common factor, cut at full, so that the geometric mean of the dose factors is 1.

    Parameters
    ----------
    outputs : array, shape (n_channel,)
        0-1.
    dose : array, shape (n_pair, n_channel)
        At full output. [mol m-2 d-1]
    wanted_dose : array, shape (n_pair,)
        [mol m-2 d-1]

    Returns
    -------
    array, shape (n_channel,)
        Full output of every channel that runs where even that is not enough.

    Source
    ------
    Bisection: the doses rise with the factor.
    """

    def off(scaled: FloatArray) -> float:
        got = dose @ scaled
        return float(np.mean(np.log(got / wanted_dose))) if np.all(got > 0) else -math.inf

    running = outputs > 0
    full = running.astype(np.float64)
    if not running.any() or off(full) <= 0:
        return full
    low, high = 0.0, math.log(float(1 / outputs[running].min()))
    while off(np.minimum(1.0, outputs * math.exp(low))) > 0:
        low -= 1.0
    for _ in range(200):
        middle = 0.5 * (low + high)
        if off(np.minimum(1.0, outputs * math.exp(middle))) > 0:
            high = middle
        else:
            low = middle
        if high - low < 1e-15:
            break
    scaled: FloatArray = np.minimum(1.0, outputs * math.exp(0.5 * (low + high)))
    return scaled


def _equations(task: MatchTask) -> tuple[FloatArray, FloatArray]:
    """Rows and right-hand sides: 10 nm doses, doses, splits of like channels, and a trace of restraint."""
    channels = task.dose.shape[1]
    rows: list[FloatArray] = []
    wanted: list[FloatArray] = []
    for bands, target in zip(task.bands, task.wanted_bands, strict=True):
        scale = task.band_weight / max(float(np.linalg.norm(task.band_weight * target)), 1e-30)
        rows.append((bands * scale).T)
        wanted.append(target * scale)
    weight = EQUAL_DOSE_WEIGHT if len(task.dose) == 1 else SHARED_DOSE_WEIGHT
    rows.append(weight * task.dose / task.wanted_dose[:, None])
    wanted.append(np.full(len(task.dose), weight))
    for first, *others in task.like:
        proportion = task.today if np.all(task.today[[first, *others]] > 0) else np.ones(channels)
        for other in others:
            row = np.zeros((1, channels))
            row[0, first], row[0, other] = SPLIT_WEIGHT * proportion[other], -SPLIT_WEIGHT * proportion[first]
            rows.append(row / max(proportion[first], proportion[other]))
            wanted.append(np.zeros(1))
    rows.append(LEAST_WEIGHT * np.eye(channels))
    wanted.append(np.zeros(channels))
    return np.concatenate(rows), np.concatenate(wanted)


LEAST_BAND_WEIGHT = 0.05
"""Light that symbionts hardly use still counts a little: nobody wants it where it was not. Our choice."""

UNMATCHED_SHARE = 1e-3
"""Missing photons below this share of the dose are no difference. Our choice."""

REACHED = 1e-3
LIMIT = 1 - 1e-9


def match_places(
    here: Analysis,
    there: Analysis,
    pairs: Sequence[PlacePair],
    tables: ReferenceTables,
) -> Match:
    """A programme for the other tank that gives its places the doses of places here.

    One plateau output a channel, all channels with the day's shape of the light here. The 10 nm photon doses
    come as close as bounded least squares, weighted by usable light, brings them; the dose of 400-700 nm is
    equal, for several pairs in the geometric mean.

    Parameters
    ----------
    here, there : Analysis
        Their light fields hold the ``TEN_NM_WEIGHTINGS`` too.
    pairs : sequence of PlacePair
    tables : ReferenceTables

    Returns
    -------
    Match
        Its doses and peaks are those of the written programme.

    Raises
    ------
    SetupError
        If a place gets no light, here today or there at full output.

    Source
    ------
    Least squares on photon doses; weight: absorption index z1, modelled by us. The day's shape is the PPFD
    at the places here, relative to its peak (mean over the pairs).
    """
    _check_light(here, there, pairs)
    time_h, shape = _day_shape(here, pairs)
    shape_hours = float(np.sum(0.5 * np.diff(time_h) * (shape[1:] + shape[:-1])))
    ppfd_there = there.light_field.of("ppfd")[[p.receiver_there for p in pairs]]
    hours_here = full_output_hours(here.day_curve)
    wanted_bands = MOL_PER_UMOL_S_H * np.einsum(
        "c,pcb->pb", hours_here, _ten_nm(here, [p.receiver_here for p in pairs])
    )
    bands_there = _ten_nm(there, [p.receiver_there for p in pairs])
    task = MatchTask(
        bands=MOL_PER_UMOL_S_H * shape_hours * bands_there,
        dose=MOL_PER_UMOL_S_H * shape_hours * ppfd_there,
        wanted_bands=wanted_bands,
        wanted_dose=here.dose.dli[[p.receiver_here for p in pairs]],
        band_weight=_band_weight(tables),
        like=_like_channels(there),
        today=full_output_hours(there.day_curve),
    )
    outputs = matched_outputs(task)
    programmes = _programmes(there, outputs, time_h, shape)
    matched = _pair_matches(here, there, pairs, programmes, wanted_bands, bands_there)
    unmatched, other_colour = _unmatched(matched)
    factors = np.array([m.factor for m in matched])
    common = float(np.exp(np.mean(np.log(factors))))
    return Match(
        here=here,
        there=there,
        pairs=matched,
        common_factor=common,
        spread=(float(factors.min()), float(factors.max())),
        reached=abs(common - 1) <= REACHED,
        other_colour=other_colour,
        colour_drift=_colour_drift(here, pairs),
        unmatched=unmatched,
        channels=_settings(there, outputs),
        programmes=programmes,
    )


def _check_light(here: Analysis, there: Analysis, pairs: Sequence[PlacePair]) -> None:
    problems = []
    reach = there.light_field.of("ppfd").sum(axis=1)
    for pair in pairs:
        if not here.dose.dli[pair.receiver_here] > 0:
            problems.append(
                Problem(
                    f"{pair.here!r} gets no light, so there is nothing to match",
                    cure="name a place with light, or light it",
                    place=Place(here.setup.path),
                )
            )
        if not reach[pair.receiver_there] > 0:
            problems.append(
                Problem(
                    f"{pair.there!r} gets no light from any channel, even at full output",
                    cure="name another place, or enable or move a fixture",
                    place=Place(there.setup.path),
                )
            )
    if problems:
        raise SetupError(*dict.fromkeys(problems))


def _day_shape(here: Analysis, pairs: Sequence[PlacePair]) -> tuple[FloatArray, FloatArray]:
    """The day here as one programme, its highest value 1."""
    time, output = day_points(here.day_curve)
    ppfd = output @ here.light_field.of("ppfd")[[p.receiver_here for p in pairs]].T
    shape = (ppfd / ppfd.max(axis=0)).mean(axis=1)
    return opened_day(time, shape / shape.max())


def _ten_nm(analysis: Analysis, receivers: Sequence[int]) -> FloatArray:
    """Photons of each channel at full output in each 10 nm, shape (n_receiver, n_channel, 50)."""
    field = analysis.light_field
    first = field.weightings.index(TEN_NM_WEIGHTINGS[0])
    bands: FloatArray = field.response[receivers][:, :, first : first + len(TEN_NM_WEIGHTINGS)]
    return bands


def _band_weight(tables: ReferenceTables) -> FloatArray:
    usable = weighting_matrix(tables, ("usable_z1",)).matrix[0]
    weight: FloatArray = np.maximum(usable.reshape(-1, BAND_WIDTH_NM).mean(axis=1), LEAST_BAND_WEIGHT)
    return weight


def _like_channels(there: Analysis) -> list[list[int]]:
    """Channels of one spectrum, wherever they hang; groups of two and more."""
    groups: list[tuple[FloatArray, list[int]]] = []
    index = 0
    for fixture in there.setup.lit_fixtures:
        for channel in fixture.type.channels:
            spectrum = photon_distribution(channel.spectrum)
            for known, members in groups:
                if np.allclose(known, spectrum, rtol=1e-6, atol=1e-9):
                    members.append(index)
                    break
            else:
                groups.append((spectrum, [index]))
            index += 1
    return [members for _, members in groups if len(members) > 1]


def _programmes(
    there: Analysis, outputs: FloatArray, time_h: FloatArray, shape: FloatArray
) -> dict[str, Programme]:
    """The programme of every lit fixture; a channel at 0 has none and stays off."""
    made, index = {}, 0
    for fixture in there.setup.lit_fixtures:
        channels = {}
        for channel in fixture.type.channels:
            if outputs[index] > 0:
                wanted = outputs[index] * shape
                channels[channel.name] = programme_for_output(time_h, wanted, channel.dimming)
            index += 1
        made[fixture.name] = Programme(channels)
    return made


def _pair_matches(
    here: Analysis,
    there: Analysis,
    pairs: Sequence[PlacePair],
    programmes: dict[str, Programme],
    wanted_bands: FloatArray,
    bands_there: FloatArray,
) -> tuple[PairMatch, ...]:
    """What the written programme gives, computed from it as `dose` does."""
    curve = day_curve([replace(f, programme=programmes[f.name]) for f in there.setup.lit_fixtures])
    response = there.light_field.of("ppfd")[[p.receiver_there for p in pairs]]
    dli, (peak, _) = daily_light_integral(response, curve), peak_and_photoperiod(response, curve)
    bands = MOL_PER_UMOL_S_H * np.einsum("c,pcb->pb", full_output_hours(curve), bands_there)
    return tuple(
        PairMatch(
            here=pair.here,
            there=pair.there,
            dli_target=float(here.dose.dli[pair.receiver_here]),
            dli_got=float(dli[i]),
            dli_before=float(there.dose.dli[pair.receiver_there]),
            peak_target=float(here.dose.peak_ppfd[pair.receiver_here]),
            peak_got=float(peak[i]),
            band_target=wanted_bands[i],
            band_got=bands[i],
        )
        for i, pair in enumerate(pairs)
    )


def _settings(there: Analysis, outputs: FloatArray) -> tuple[MatchedChannel, ...]:
    channels = [c for f in there.setup.lit_fixtures for c in f.type.channels]
    levels = [
        float(level_for_output(output, channel.dimming))
        for output, channel in zip(outputs, channels, strict=True)
    ]
    return tuple(
        MatchedChannel(key, float(output), level, bool(output >= LIMIT))
        for key, output, level in zip(there.light_field.channels, outputs, levels, strict=True)
    )


def _unmatched(matched: Sequence[PairMatch]) -> tuple[tuple[UnmatchedBand, ...], float]:
    """10 nm bands that get too little at equal dose, and the share of photons in other colours."""
    target = np.array([m.band_target / m.dli_target for m in matched])
    got = np.array([m.band_got / m.dli_got for m in matched])
    missing = np.maximum(target - got, 0.0)
    low_nm = GRID_START_NM + BAND_WIDTH_NM * np.arange(missing.shape[1])
    visible = (low_nm >= 400) & (low_nm < 700)
    share, wanted = missing.mean(axis=0), target.mean(axis=0)
    bands = tuple(
        UnmatchedBand(float(low), float(low + BAND_WIDTH_NM), float(s), float(s / w))
        for low, s, w in zip(low_nm, share, wanted, strict=True)
        if s > UNMATCHED_SHARE
    )
    return bands, float(share[visible].sum())


def _colour_drift(here: Analysis, pairs: Sequence[PlacePair]) -> float:
    """Largest share of the photons here that changes its channel between hours of the lit day."""
    _, output = day_points(here.day_curve)
    hours = full_output_hours(here.day_curve)
    drift = 0.0
    for pair in pairs:
        response = here.light_field.of("ppfd")[pair.receiver_here]
        day = output * response
        total, mean = day.sum(axis=1), hours * response / float(hours @ response)
        bright = total > 0.25 * total.max()
        shares = day[bright] / total[bright, None]
        drift = max(drift, float(0.5 * np.abs(shares - mean).sum(axis=1).max()))
    return drift
