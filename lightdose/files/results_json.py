"""The result of `dose` as one versioned JSON object, unrounded and without NaN."""

from __future__ import annotations

import json
from typing import Any

from lightdose.model.results import Span, Verdict
from lightdose.model.setup import CoralGroup


def dump(obj: object) -> str:
    """JSON text with every digit; a NaN is a fault of the program and raises ValueError."""
    return json.dumps(obj, allow_nan=False, indent=1, ensure_ascii=True)


def coral_json(verdict: Verdict, group: CoralGroup) -> dict[str, Any]:
    """A coral's light, and how it stands against what is usual for its group."""
    return {
        "coral": verdict.coral,
        "group": verdict.group,
        "judged_at_depth_m": verdict.judged_at_depth_m,
        "dli_mol_m2_d": verdict.dli_mol_m2_d,
        "peak_ppfd_umol_m2_s": verdict.peak_ppfd_umol_m2_s,
        "dli_state": verdict.dli_state,
        "dli_verdict": verdict.dli_verdict,
        "peak_state": verdict.peak_state,
        "likely_state": verdict.likely_state,
        **_certainty(verdict),
        "band_dli": pair_json(verdict.band_dli),
        "floor_dli": verdict.floor_dli,
        "ceiling_dli": verdict.ceiling_dli,
        "hours_at_pmax_h": pair_json(verdict.hours_at_pmax_h),
        "hours_above_saturation_h": pair_json(verdict.hours_above_saturation_h),
        "hours_at_pmax_own_curve_h": pair_json(verdict.hours_at_pmax_own_curve_h),
        "photons_beyond_saturation_fraction": pair_json(verdict.photons_beyond_saturation_fraction),
        "ek": _ek(group),
        "advice": verdict.advice,
        "grade": verdict.grade,
        "sources": list(verdict.sources),
    }


def _ek(group: CoralGroup) -> dict[str, Any] | None:
    """Where saturation begins in the coral's group, by which curve, and on what that stands."""
    if group.ek_range is None:
        return None
    return {
        "range_umol_m2_s": list(group.ek_range),
        "model": group.ek_model,
        "source": group.ek_source,
        "assumed": group.ek_assumed,
    }


def _certainty(verdict: Verdict) -> dict[str, Any]:
    """Probabilities of the states, the intervals at the coral, and the reading that would settle it."""
    known = verdict.certainty
    if known is None:
        return {"probability": None, "probability_within": None}
    return {
        "probability": dict(known.probability),
        "probability_within": known.probability.get("within"),
        "interval_95": {
            "dli_mol_m2_d": list(known.interval_dli),
            "peak_ppfd_umol_m2_s": list(known.interval_peak),
        },
        "deciding_reading": None
        if known.reading_at is None
        else {"site": known.reading_at, "settles_with_probability": known.reading_settles},
    }


def pair_json(values: tuple[float, float] | None) -> list[float] | None:
    """Two ends as a list; null where they are not known."""
    return None if values is None else list(values)


def span_json(span: Span | None) -> dict[str, float] | None:
    """A value with its low and high end; null where it is not known."""
    return None if span is None else {"default": span.default, "low": span.low, "high": span.high}
