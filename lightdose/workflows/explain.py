"""More light, another colour, and a change tried in a page."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from lightdose.analysis import output_at_peak
from lightdose.files.csv_text import csv_text
from lightdose.files.writing import file_names
from lightdose.fit.mix_span import MixBound, index_spans
from lightdose.judge.cautions import LEAST_BLUE_SHARE, MOST_BELOW_390_SHARE, MOST_RED_SHARE
from lightdose.judge.map_choice import EVIDENCE, output_returns
from lightdose.judge.verdict import output_headroom
from lightdose.model.changes import (
    ColourOrIntensity,
    DiminishingReturn,
    IndexSpan,
    Larger,
    TryChange,
    TryColour,
    TryFixture,
    TryRow,
    TrySettings,
)
from lightdose.model.fixture import Programme
from lightdose.model.record import FloatArray
from lightdose.model.results import USABLE_KEYS, Analysis, Verdict
from lightdose.model.setup import Setup
from lightdose.physics.programme import leading_channel, tried_channels, tried_programme
from lightdose.quantities import MOL_PER_UMOL_S_H

MOST_ROWS = 200
"""Places that a page calculates anew at every touch; corals come before empty sites. Our choice."""


def try_change(analysis: Analysis) -> TryChange:
    """Everything that "try a change" needs of a setup and its light."""
    fixtures = analysis.setup.lit_fixtures
    channel_dli = analysis.dose.dli_by_channel.sum(axis=0)
    channels = tried_channels(fixtures, channel_dli)
    lead = leading_channel(channels, channel_dli)
    plateau_h = 0.0
    if lead is not None:
        first, last = channels[lead].top
        plateau_h = float(channels[lead].time_h[last] - channels[lead].time_h[first])
    every = _rows(analysis)
    rows = every if len(every) <= MOST_ROWS else [r for r in every if r.coral is not None][:MOST_ROWS]
    used = sorted({r.receiver for r in rows})
    return TryChange(
        channels=channels,
        fixtures=_fixtures(analysis.setup, with_dial=bool(channels) and channels[0].dial is not None),
        rows=tuple(replace(r, receiver=used.index(r.receiver)) for r in rows),
        response=analysis.light_field.of("ppfd")[used],
        leading=lead,
        plateau_h=plateau_h,
        colours=_watched(analysis),
        left_out=len(every) - len(rows),
    )


def _watched(analysis: Analysis) -> tuple[TryColour, ...]:
    """The shares of the light that the warnings on a mix are about, at the brightest place."""
    place = _brightest(analysis)
    if place is None:
        return ()
    whole = analysis.light_field.of("ppfd")[place]
    bounds = zip(WATCHED, _mix_bounds(analysis, place), strict=True)
    return tuple(TryColour(name, b.part, whole, b.share, b.at_least) for name, b in bounds)


def changed_setup(setup: Setup, record: TryChange, settings: TrySettings) -> Setup:
    """The setup with the programmes that the settings give; ``analyse`` tells what they do."""
    more_h = settings.plateau_h - record.plateau_h
    programmes: dict[str, Programme] = {}
    for fixture in record.fixtures:
        span = range(fixture.first_channel, fixture.first_channel + fixture.channel_count)
        tried = {
            record.channels[i].channel: tried_programme(
                record.channels[i], settings.levels[i], settings.all_channels, more_h
            )
            for i in span
        }
        programmes[fixture.name] = Programme({name: p for name, p in tried.items() if p is not None})
    return replace(
        setup,
        fixtures=tuple(
            replace(f, programme=programmes[f.name]) if f.name in programmes else f for f in setup.fixtures
        ),
    )


def _fixtures(setup: Setup, *, with_dial: bool) -> tuple[TryFixture, ...]:
    lit, overall = setup.lit_fixtures, ["all_channels"] if with_dial else []
    counts = [len(f.type.channels) for f in lit]
    first = [sum(counts[:i]) for i in range(len(counts))]
    files = file_names([f"tried {f.name}" for f in lit], ".csv")
    return tuple(
        TryFixture(f.name, at, n, csv_text(["time", *(c.name for c in f.type.channels), *overall], []), file)
        for f, at, n, file in zip(lit, first, counts, files, strict=True)
    )


def _rows(analysis: Analysis) -> list[TryRow]:
    """Every coral and every site without corals, each with its receiver in the light field."""
    rows = []
    for index, (site, verdicts) in enumerate(analysis.verdicts_by_site().items()):
        if not verdicts:
            rows.append(_row(analysis, site, index, None))
        rows.extend(_row(analysis, site, verdict.receiver, verdict) for verdict in verdicts)
    return rows


def _row(analysis: Analysis, site: str, receiver: int, verdict: Verdict | None) -> TryRow:
    dose = analysis.dose
    return TryRow(
        coral=verdict.coral if verdict else None,
        site=site,
        receiver=receiver,
        group_name=verdict.group_name if verdict else "",
        band_dli=verdict.band_dli if verdict else None,
        floor_dli=verdict.floor_dli if verdict else None,
        ceiling_dli=verdict.ceiling_dli if verdict else None,
        peak_high=verdict.band_peak[1] if verdict and verdict.band_peak else None,
        dli_mol_m2_d=float(dose.dli[receiver]),
        peak_ppfd_umol_m2_s=float(dose.peak_ppfd[receiver]),
        brightest_hour_ppfd_umol_m2_s=float(dose.brightest_hour_ppfd[receiver]),
        dli_state=verdict.dli_state if verdict else None,
    )


OUTPUT_RANGE = (0.25, 1.0)
HOURS_RANGE_H = (4.0, 12.0)
"""What a keeper can do with output and hours without touching the colour: our choice."""


def diminishing_return(analysis: Analysis) -> DiminishingReturn:
    """Gross photosynthesis of every coral against overall output, exact, with today marked."""
    return output_returns(analysis)


def colour_or_intensity(analysis: Analysis, receiver: int | None = None) -> ColourOrIntensity | None:
    """How far colour and how far dose can be changed at one place: the brightest coral's unless one is named.

    None where no light of today reaches the place.

    Raises
    ------
    IndexError
        If there is no such receiver.
    """
    place = _brightest(analysis) if receiver is None else receiver
    if place is None or not analysis.dose.peak_ppfd[place] > 0:
        return None
    field = analysis.light_field
    ppfd, peak = field.of("ppfd")[place], float(analysis.dose.peak_ppfd[place])
    usable = {key: field.of(key)[place] for key in USABLE_KEYS}
    output = output_at_peak(analysis, place)
    bounds = _mix_bounds(analysis, place)
    every, quiet = index_spans(ppfd, usable, peak, bounds)
    headroom = output_headroom(analysis.setup.lit_fixtures)
    full = MOL_PER_UMOL_S_H * peak * headroom
    dose = (full * OUTPUT_RANGE[0] * HOURS_RANGE_H[0], full * OUTPUT_RANGE[1] * HOURS_RANGE_H[1])
    here = field.receivers[place]
    coral = next((v.coral for v in analysis.verdicts if v.receiver == place), here.name)
    return ColourOrIntensity(
        place=coral,
        site=here.site,
        receiver=place,
        peak_ppfd_umol_m2_s=peak,
        channels=int(np.count_nonzero(ppfd > 0)),
        today_index={key: float(row @ output) / peak for key, row in usable.items()},
        warnings=tuple(b.name for b in bounds),
        today_warnings=tuple(b.name for b in bounds if not b.kept(ppfd, output)),
        all_mixes=every,
        without_warnings=quiet,
        output_range=OUTPUT_RANGE,
        hours_range=HOURS_RANGE_H,
        today_output=1 / headroom,
        today_dli=float(analysis.dose.dli[place]),
        dose_range=dose,
        larger=_larger(every, dose),
        evidence=EVIDENCE,
    )


def _brightest(analysis: Analysis) -> int | None:
    """The coral with symbionts that has the highest peak, else the brightest site; None without places."""
    judged = [v.receiver for v in analysis.verdicts if v.band_dli is not None]
    places = judged or range(len(analysis.light_field.receivers))
    return max(places, key=lambda i: float(analysis.dose.peak_ppfd[i]), default=None)


WATCHED = ("blue", "red", "light below 390 nm")
"""Names of the parts that the bounds below are about, in their order."""


def _mix_bounds(analysis: Analysis, place: int) -> tuple[MixBound, ...]:
    """The warnings on a mix, as `dose` gives them, as bounds on the mix of one moment."""

    def part(key: str) -> FloatArray:
        row: FloatArray = analysis.light_field.of(key)[place]
        return row

    return (
        MixBound(f"blue at least {100 * LEAST_BLUE_SHARE:g} % of PPFD", part("blue"), LEAST_BLUE_SHARE, True),
        MixBound(f"red at most {100 * MOST_RED_SHARE:g} % of PPFD", part("red"), MOST_RED_SHARE, False),
        MixBound(
            f"photons below 390 nm at most {100 * MOST_BELOW_390_SHARE:g} % of PPFD",
            part("below_390"),
            MOST_BELOW_390_SHARE,
            False,
        ),
    )


def _larger(every: IndexSpan, dose: tuple[float, float]) -> Larger:
    """Which can be changed by the larger factor; colour without any span changes nothing."""
    colour, light = every.ratio(USABLE_KEYS[0]) or 1.0, dose[1] / dose[0]
    if math.isclose(colour, light, rel_tol=1e-9):
        return "equal"
    return "colour" if colour > light else "dose"
