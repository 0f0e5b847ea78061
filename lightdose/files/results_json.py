"""The result of `dose` as one versioned JSON object, unrounded and without NaN."""

from __future__ import annotations

import json
import math
from typing import Any

from lightdose.model.certainty import Uncertainty
from lightdose.model.coral import CoralGroup
from lightdose.model.results import Analysis, Span, Verdict
from lightdose.quantities import BANDS, PPFD_BAND

DOSE_FORMAT = "lightdose-dose/1"


def dump(obj: object) -> str:
    """JSON text with every digit; a NaN is a fault of the program and raises ValueError."""
    return json.dumps(obj, allow_nan=False, indent=1, ensure_ascii=True)


def dose_json(analysis: Analysis) -> dict[str, Any]:
    """Everything that `dose` reports, as plain lists and mappings."""
    setup = analysis.setup
    return {
        "format": DOSE_FORMAT,
        "title": setup.title,
        "basis": analysis.basis.key,
        "bands_nm": {band.key: [band.low_nm, band.high_nm] for band in (PPFD_BAND, *BANDS)},
        "sites": [
            _site(analysis, index, verdicts)
            for index, verdicts in enumerate(analysis.verdicts_by_site().values())
        ],
        "fixtures": [
            {
                "fixture": use.fixture,
                "energy_kwh_d": use.energy_kwh_d,
                "cost_per_year": use.cost_per_year,
                "currency": use.currency,
                "photon_efficacy_umol_j": use.photon_efficacy_umol_j,
            }
            for use in analysis.fixtures
        ],
        "uncertainty": _uncertainty(analysis.uncertainty),
        "cautions": [{"code": c.code, "text": c.text, "source": c.source} for c in analysis.cautions],
        "provenance": {"version": analysis.version, "inputs_sha256": dict(setup.inputs_sha256)},
    }


def _site(analysis: Analysis, index: int, verdicts: tuple[Verdict, ...]) -> dict[str, Any]:
    site, dose = analysis.setup.sites[index], analysis.dose
    fraction = analysis.usable_fraction(index)
    full_output = analysis.light_field.of("ppfd")[index]
    return {
        "site": site.name,
        "x_m": site.x_m,
        "y_m": site.y_m,
        "depth_m": site.depth_m,
        "open_sky": site.open_sky,
        "dli_mol_m2_d": float(dose.dli[index]),
        "peak_ppfd_umol_m2_s": float(dose.peak_ppfd[index]),
        "lux_at_peak": float(dose.lux_at_peak[index]),
        "photoperiod_h": float(dose.photoperiod_h[index]),
        "any_light_h": float(dose.any_light_h[index]),
        "peak_equivalent_h": _finite(float(dose.peak_equivalent_h[index])),
        "band_dose_mol_m2_d": analysis.band_dose_mol_m2_d(index),
        "usable_fraction": span_json(fraction),
        "usable_dose_mol_m2_d": span_json(analysis.usable_dose_mol_m2_d(index)),
        "interval_95": _intervals(analysis, index),
        "full_output": [
            {"fixture": c.fixture, "channel": c.channel, "ppfd_umol_m2_s": float(value)}
            for c, value in zip(analysis.light_field.channels, full_output, strict=True)
        ],
        "by_channel": [
            {"fixture": c.fixture, "channel": c.channel, "dli_mol_m2_d": float(value)}
            for c, value in zip(analysis.light_field.channels, dose.dli_by_channel[index], strict=True)
        ],
        "corals": [coral_json(v, analysis.setup.groups[v.group]) for v in verdicts],
    }


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


def _intervals(analysis: Analysis, receiver: int) -> dict[str, list[float]] | None:
    """95 % intervals at one receiver; None where they were not asked for."""
    known = analysis.uncertainty
    if known is None:
        return None
    return {
        "dli_mol_m2_d": [float(x) for x in known.dli[receiver]],
        "peak_ppfd_umol_m2_s": [float(x) for x in known.peak_ppfd[receiver]],
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


def _uncertainty(known: Uncertainty | None) -> dict[str, Any] | None:
    """What was drawn, how often, and the one reading that would settle most."""
    if known is None:
        return None
    deciding = known.deciding
    return {
        "draws": known.draws,
        "seed": known.seed,
        "inputs": [{"what": i.what, "spread": i.spread, "origin": i.origin} for i in known.inputs],
        "deciding_reading": None
        if deciding is None
        else {
            "site": deciding.site,
            "standard_uncertainty": deciding.standard_uncertainty,
            "undecided": deciding.undecided,
            "expected_to_settle": deciding.settles,
        },
    }


def pair_json(values: tuple[float, float] | None) -> list[float] | None:
    """Two ends as a list; null where they are not known."""
    return None if values is None else list(values)


def span_json(span: Span | None) -> dict[str, float] | None:
    """A value with its low and high end; null where it is not known."""
    return None if span is None else {"default": span.default, "low": span.low, "high": span.high}


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
