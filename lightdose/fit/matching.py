"""Channels set so that another tank's places get the light of places here.

Look and spectrum pull apart where the channels are others: a scan over their weights gives the settings
between the nearest look and the nearest spectrum, each judged as it is written.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from lightdose.errors import Place, Problem, SetupError
from lightdose.fit.matched_outputs import LOOK_WEIGHTS, MatchTask, matched_outputs
from lightdose.model.fixture import ChannelProgramme, Fixture, Programme
from lightdose.model.match import (
    BAND_WIDTH_NM,
    Match,
    MatchedChannel,
    MatchedLight,
    MatchWishes,
    PairMatch,
    PlacePair,
    UnmatchedBand,
)
from lightdose.model.record import FloatArray, dataclass
from lightdose.model.results import Analysis
from lightdose.model.spectrum import ReferenceTables
from lightdose.physics.controller import as_set, on_minutes
from lightdose.physics.day_curve import day_curve, day_points, full_output_hours
from lightdose.physics.dose import daily_light_integral, peak_and_photoperiod
from lightdose.physics.emission import (
    TEN_NM_WEIGHTINGS,
    TRISTIMULUS_WEIGHTINGS,
    photon_distribution,
    weigh,
    weighting_matrix,
)
from lightdose.physics.programme import opened_day, programme_for_output
from lightdose.physics.spectrum_metrics import chromaticity_xy
from lightdose.quantities import GRID_START_NM, MOL_PER_UMOL_S_H

AsWritten = Callable[[Mapping[str, Programme]], dict[str, Programme]]
"""Programmes as they are read back from the files that would hold them."""

LEAST_BAND_WEIGHT = 0.05
"""Light that symbionts hardly use still counts a little: nobody wants it where it was not. Our choice."""

UNMATCHED_SHARE = 1e-3
"""Missing photons below this share of the dose are no difference. Our choice."""

NO_GAIN = 0.005
"""A spectrum that is nearer by less than this share of it is no reason to look otherwise. Our choice."""

REACHED = 1e-3
LIMIT = 1 - 1e-9
ROUNDINGS = 4
"""What rounding takes from the dose is put back in so many tries; the nearest stays. Our choice."""


def match_places(
    here: Analysis,
    there: Analysis,
    pairs: Sequence[PlacePair],
    tables: ReferenceTables,
    emission: tuple[FloatArray, FloatArray],
    wishes: MatchWishes,
    as_written: AsWritten,
) -> Match:
    """Programmes for the other tank that give its places the doses of places here.

    One plateau output a channel, all channels with the day's shape of the light here. The dose of 400-700 nm
    is equal, for several pairs in the geometric mean; look and 10 nm photon doses come as near as bounded
    least squares brings them, from the nearest spectrum to the nearest look.

    Parameters
    ----------
    here, there : Analysis
        Their light fields hold the ``TEN_NM_WEIGHTINGS`` too.
    pairs : sequence of PlacePair
    tables : ReferenceTables
    emission : of here and of there
        Photons of every channel at full output, shape (n_channel, 500). [umol s-1]
    wishes : MatchWishes
    as_written : callable
        Gives programmes as they are read back.

    Returns
    -------
    Match
        Its doses, peaks and looks are those of the programmes as written, their levels rounded.

    Raises
    ------
    SetupError
        If a place gets no light, here today or there at full output.

    Source
    ------
    Least squares on photon doses; weight: usable share, mean of five published curves. Look: CIE 015:2018
    x, y of the summed emission, channels weighted by their hours. The day's shape is the PPFD at the places
    here, relative to its peak (mean over the pairs).
    """
    _check_light(here, there, pairs)
    bands = _ten_nm(there, [p.receiver_there for p in pairs])
    eye = weighting_matrix(tables, TRISTIMULUS_WEIGHTINGS)
    seen_here, seen_there = (
        _scales(side)[:, None] * weigh(light, eye)
        for side, light in zip((here, there), emission, strict=True)
    )
    time_h, shape = _day_shape(here, pairs)
    shape_hours = float(np.sum(0.5 * np.diff(time_h) * (shape[1:] + shape[:-1])))
    hours_here = full_output_hours(here.day_curve)
    here_xy = chromaticity_xy(hours_here @ seen_here)
    assert here_xy is not None  # places here have light of 400-700 nm
    task = MatchTask(
        bands=MOL_PER_UMOL_S_H * shape_hours * bands,
        dose=MOL_PER_UMOL_S_H * shape_hours * there.light_field.of("ppfd")[[p.receiver_there for p in pairs]],
        wanted_bands=MOL_PER_UMOL_S_H
        * np.einsum("c,pcb->pb", hours_here, _ten_nm(here, [p.receiver_here for p in pairs])),
        wanted_dose=here.dose.dli[[p.receiver_here for p in pairs]],
        band_weight=_band_weight(tables),
        like=_like_channels(there),
        today=full_output_hours(there.day_curve),
        tristimulus=seen_there,
        wanted_xy=here_xy,
    )
    setter = _Setter(here, there, pairs, task, bands, (time_h, shape), wishes, as_written)
    lights = (setter.light(matched_outputs(task, weight)) for weight in LOOK_WEIGHTS)
    lit = tuple(light for light in lights if light is not None)
    if not lit:
        raise SetupError(
            Problem(
                "no programme lights each of these places: the levels that would do it are below a step of "
                "the controller, or light no lamp at all",
                cure="name other places, or more --level-steps",
                place=Place(there.setup.path),
            )
        )
    front = between(lit)
    return Match(
        here=here,
        there=there,
        keep=wishes.keep,
        here_xy=here_xy,
        today_xy=chromaticity_xy(task.today @ seen_there),
        front=front,
        colour_drift=_colour_drift(here, pairs),
    )


def between(lights: Sequence[MatchedLight]) -> tuple[MatchedLight, ...]:
    """Of several settings those that no other outdoes in look and in spectrum, the nearest look first.

    Those that reach the dose go before all that do not.
    """
    able = [light for light in lights if light.reached] or lights
    front: list[MatchedLight] = []
    for light in sorted(able, key=lambda one: (one.look_off, one.spectrum_off)):
        if not front or light.spectrum_off < front[-1].spectrum_off - NO_GAIN:
            front.append(light)
    return tuple(front)


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
    return on_minutes(*opened_day(time, shape / shape.max()))


def _ten_nm(analysis: Analysis, receivers: Sequence[int]) -> FloatArray:
    """Photons of each channel at full output in each 10 nm, shape (n_receiver, n_channel, 50)."""
    field = analysis.light_field
    first = field.weightings.index(TEN_NM_WEIGHTINGS[0])
    bands: FloatArray = field.response[receivers][:, :, first : first + len(TEN_NM_WEIGHTINGS)]
    return bands


def _band_weight(tables: ReferenceTables) -> FloatArray:
    usable = weighting_matrix(tables, ("usable_mean",)).matrix[0]
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


def _scales(side: Analysis) -> FloatArray:
    return np.array([f.output_scale for f in side.setup.lit_fixtures for _ in f.type.channels])


@dataclass(frozen=True, eq=False)
class _Setter:
    """Makes programmes of outputs, and tells what they give as written.

    ``day`` is the times and the shape of the day, its highest value 1. [h]
    """

    here: Analysis
    there: Analysis
    pairs: Sequence[PlacePair]
    task: MatchTask
    bands: FloatArray
    day: tuple[FloatArray, FloatArray]
    wishes: MatchWishes
    as_written: AsWritten

    def light(self, outputs: FloatArray) -> MatchedLight | None:
        """The light of these outputs once their levels are rounded and written; None if a place has none."""
        exact = _mean_factor(self.task.dose @ outputs / self.task.wanted_dose)
        scale, least = 1.0, math.inf
        for attempt in range(ROUNDINGS):
            programmes = self.as_written(self._programmes(np.minimum(1.0, scale * outputs)))
            hours = full_output_hours(day_curve(self._running(programmes)))
            response = self.there.light_field.of("ppfd")[[p.receiver_there for p in self.pairs]]
            got = _mean_factor(MOL_PER_UMOL_S_H * response @ hours / self.task.wanted_dose)
            missed = abs(math.log(got / exact)) if got > 0 else math.inf
            if missed < least or not attempt:
                least, best = missed, (programmes, hours)
            if not 1e-12 < missed < math.inf:
                break
            scale *= exact / got
        programmes, hours = best
        pairs = self._pair_matches(programmes, hours)
        if not all(pair.dli_got > 0 for pair in pairs):
            return None
        unmatched, other_colour = _unmatched(pairs)
        factors = np.array([p.factor for p in pairs])
        xy = chromaticity_xy(hours @ self.task.tristimulus)
        x, y = self.task.wanted_xy
        return MatchedLight(
            pairs=pairs,
            common_factor=_mean_factor(factors),
            spread=(float(factors.min()), float(factors.max())),
            reached=abs(exact - 1) <= REACHED,
            xy=xy or (math.nan, math.nan),
            look_off=math.hypot(xy[0] - x, xy[1] - y) if xy else math.inf,
            spectrum_off=self._spectrum_off(pairs),
            other_colour=other_colour,
            unmatched=unmatched,
            channels=self._settings(programmes),
            programmes=programmes,
        )

    def _running(self, programmes: Mapping[str, Programme]) -> list[Fixture]:
        return [replace(f, programme=programmes[f.name]) for f in self.there.setup.lit_fixtures]

    def _programmes(self, outputs: FloatArray) -> dict[str, Programme]:
        """The programme of every lit fixture; a channel at 0 has none and stays off."""
        time_h, shape = self.day
        made, index = {}, 0
        for fixture in self.there.setup.lit_fixtures:
            channels = {}
            for channel in fixture.type.channels:
                if outputs[index] > 0:
                    wanted = programme_for_output(time_h, outputs[index] * shape, channel.dimming)
                    channels[channel.name] = ChannelProgramme(*on_minutes(wanted.time_h, wanted.level))
                index += 1
            made[fixture.name] = as_set(channels, fixture, self.wishes.level_steps)
        return made

    def _pair_matches(self, programmes: Mapping[str, Programme], hours: FloatArray) -> tuple[PairMatch, ...]:
        """What the written programmes give, computed from them as `dose` does."""
        curve = day_curve(self._running(programmes))
        response = self.there.light_field.of("ppfd")[[p.receiver_there for p in self.pairs]]
        dli, (peak, _) = daily_light_integral(response, curve), peak_and_photoperiod(response, curve)
        bands = MOL_PER_UMOL_S_H * np.einsum("c,pcb->pb", hours, self.bands)
        return tuple(
            PairMatch(
                here=pair.here,
                there=pair.there,
                dli_target=float(self.here.dose.dli[pair.receiver_here]),
                dli_got=float(dli[i]),
                dli_before=float(self.there.dose.dli[pair.receiver_there]),
                peak_target=float(self.here.dose.peak_ppfd[pair.receiver_here]),
                peak_got=float(peak[i]),
                band_target=self.task.wanted_bands[i],
                band_got=bands[i],
            )
            for i, pair in enumerate(self.pairs)
        )

    def _spectrum_off(self, pairs: Sequence[PairMatch]) -> float:
        """Root mean square over the pairs of the weighted 10 nm misses at equal dose, relative to all."""
        weight, off = self.task.band_weight, []
        for p in pairs:
            missed = float(np.linalg.norm(weight * (p.band_got / p.factor - p.band_target)))
            wanted = float(np.linalg.norm(weight * p.band_target))
            off.append(missed / wanted if wanted > 0 else 0.0 if missed == 0 else math.inf)
        return math.sqrt(sum(one**2 for one in off) / len(off))

    def _settings(self, programmes: Mapping[str, Programme]) -> tuple[MatchedChannel, ...]:
        """The plateau of every channel: what it runs at, and what is set beside an overall setting."""
        keys, found = iter(self.there.light_field.channels), []
        for fixture in self.there.setup.lit_fixtures:
            programme = programmes[fixture.name]
            for channel in fixture.type.channels:
                own = programme.channels.get(channel.name)
                level = float(own.level.max()) if own is not None else 0.0
                output = (
                    float(np.interp(level, channel.dimming.level, channel.dimming.output)) if level else 0.0
                )
                dial = programme.dial if own is not None else None
                set_level = dial.highest(channel.name)[0] if dial is not None else level
                found.append(MatchedChannel(next(keys), output, level, bool(output >= LIMIT), set_level))
        return tuple(found)


def _mean_factor(factors: FloatArray) -> float:
    """Geometric mean; 0 where one of them is."""
    return float(np.exp(np.mean(np.log(factors)))) if np.all(factors > 0) else 0.0


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
