"""Explanations made by hand with invented numbers."""

from __future__ import annotations

import math

import numpy as np

from lightdose.model.changes import (
    ALL_MIXES,
    WITHOUT_WARNINGS,
    ColourOrIntensity,
    CoralReturn,
    DiminishingReturn,
    Evidence,
    IndexSpan,
)
from lightdose.model.results import USABLE_KEYS

CURVES = USABLE_KEYS[:4]
EVIDENCE = (
    Evidence("for", "more photons did more (invented)", "an invented trial: from memory"),
    Evidence("against", "red did harm (invented)", "another invented trial"),
)


def made_return(
    name: str, peak_over_ek: float = 1.0, *, today: float = 0.4, assumed: bool = True
) -> CoralReturn:
    """A square day of 10 h; the low Ek is half of the high one."""
    output = np.linspace(0, 1, 11)

    def hours(scale: float) -> tuple[float, float]:
        return 10 * math.tanh(peak_over_ek * scale), 10 * math.tanh(2 * peak_over_ek * scale)

    low, high = (np.array([hours(o / today)[i] for o in output]) for i in (0, 1))
    return CoralReturn(
        coral=name,
        group_name="mushroom corals",
        site=f"site of {name}"[:40],
        receiver=0,
        ek_range=(40.0, 80.0),
        ek_model="tanh" if assumed else "smith",
        ek_source="assumed" if assumed else "computed by us from P1 [C]",
        ek_assumed=assumed,
        hours_low=low,
        hours_high=high,
        today_h=hours(1),
        full_h=hours(1 / today),
        half_h=hours(0.5),
        above_saturation_h=(0.0, 10.0),
        beyond_saturation_fraction=(0.0, 0.5),
    )


def made_diminishing(*corals: CoralReturn, today: float = 0.4) -> DiminishingReturn:
    return DiminishingReturn(np.linspace(0, 1, 11), today, corals, ("sun coral",))


def made_span(key: str, low: float, high: float) -> IndexSpan:
    return IndexSpan(key, {c: (low * (1 - 0.1 * i), high) for i, c in enumerate(CURVES)})


def made_colour(
    place: str = "staghorn frag",
    every: IndexSpan | None = None,
    quiet: IndexSpan | None = None,
    warnings: tuple[str, ...] = (),
) -> ColourOrIntensity:
    return ColourOrIntensity(
        place=place,
        site="ridge",
        receiver=0,
        peak_ppfd_umol_m2_s=210.0,
        channels=6,
        today_index=dict.fromkeys(CURVES, 0.8),
        warnings=("blue at least 30 % of PPFD", "red at most 50 % of PPFD"),
        today_warnings=warnings,
        all_mixes=every or made_span(ALL_MIXES, 0.5, 0.9),
        without_warnings=quiet or made_span(WITHOUT_WARNINGS, 0.6, 0.9),
        output_range=(0.25, 1.0),
        hours_range=(4.0, 12.0),
        today_output=0.4,
        today_dli=6.8,
        dose_range=(1.89, 22.68),
        larger="dose",
        evidence=EVIDENCE,
    )
