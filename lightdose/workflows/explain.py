"""Explanations: what more of the same light brings, and whether colour or photons matter more here."""

from __future__ import annotations

import math

import numpy as np

from lightdose.analysis import output_at_peak
from lightdose.fit.matching import MixBound, index_spans
from lightdose.judge.cautions import LEAST_BLUE_SHARE, MOST_BELOW_390_SHARE, MOST_RED_SHARE
from lightdose.judge.diminishing import EVIDENCE, output_returns
from lightdose.judge.verdict import output_headroom
from lightdose.model.changes import ColourOrIntensity, DiminishingReturn, IndexSpan, Larger
from lightdose.model.record import FloatArray
from lightdose.model.results import USABLE_KEYS, Analysis
from lightdose.quantities import MOL_PER_UMOL_S_H

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
