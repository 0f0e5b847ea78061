"""The result of `compare` as one versioned JSON object."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from lightdose.files.results_json import coral_json, pair_json, span_json
from lightdose.model.appearance import Appearance, LooksAndGets
from lightdose.model.comparison import (
    Comparison,
    CoralComparison,
    PlaceChange,
    PlaceLight,
    RunningCost,
    SiteComparison,
    Split,
)
from lightdose.model.coral import CoralGroup
from lightdose.model.results import Analysis, Verdict, weaker_basis

COMPARE_FORMAT = "lightdose-compare/1"

JUDGED: Final = (
    "group", "dli_state", "dli_verdict", "likely_state", "peak_state", "probability", "band_dli", "floor_dli",
    "ceiling_dli", "hours_at_pmax_h", "hours_at_pmax_own_curve_h", "hours_above_saturation_h",
    "photons_beyond_saturation_fraction", "advice", "grade", "sources",
)  # fmt: skip
"""What `dose` tells of a coral that can change from one setup to the other."""


def compare_json(comparison: Comparison) -> dict[str, Any]:
    """Everything that `compare` reports, as plain lists and mappings; A first in every pair."""
    a, b = comparison.before, comparison.after
    return {
        "format": COMPARE_FORMAT,
        "a": _side(a, comparison.names[0], comparison.running[0]),
        "b": _side(b, comparison.names[1], comparison.running[1]),
        "basis": weaker_basis(a.basis, b.basis),
        "basis_sentence": comparison.basis_sentence,
        "differences": list(comparison.differences),
        "sites": [_site(s, comparison) for s in comparison.sites],
        "corals": [_coral(c, a.setup.groups, b.setup.groups) for c in comparison.corals],
        "only_in_a": {"sites": list(comparison.only[0].sites), "corals": list(comparison.only[0].corals)},
        "only_in_b": {"sites": list(comparison.only[1].sites), "corals": list(comparison.only[1].corals)},
        "cautions": [{"code": c.code, "text": c.text, "source": c.source} for c in comparison.cautions],
        "notes": list(comparison.notes),
        "provenance": {
            "version": a.version,
            "inputs_sha256": dict(a.setup.inputs_sha256) | dict(b.setup.inputs_sha256),
        },
    }


def looks_json(looks: LooksAndGets | None) -> dict[str, Any] | None:
    """What a place gets beside how it looks, at the time of its peak; None without light."""
    if looks is None:
        return None
    white = looks.white
    return {
        "ppfd_umol_m2_s": looks.ppfd_umol_m2_s,
        "lux": looks.lux,
        **appearance_json(looks.appearance),
        "white_of_equal_ppfd": {
            "name": white.name,
            "lux": white.lux,
            "lux_per_umol": white.lux_per_umol,
            **appearance_json(white.appearance),
            "source": white.source,
        },
    }


def appearance_json(look: Appearance) -> dict[str, Any]:
    """Colour in numbers, and as a screen can about show it."""
    return {
        "chromaticity_xy": list(look.chromaticity_xy),
        "cct_k": look.cct_k,
        "duv": look.duv,
        "swatch": {"srgb": look.swatch.srgb, "approximate": True, "clipped": look.swatch.clipped},
    }


def _side(analysis: Analysis, name: str, running: RunningCost) -> dict[str, Any]:
    return {
        "name": name,
        "title": analysis.setup.title,
        "basis": analysis.basis.key,
        "energy_kwh_d": running.energy_kwh_d,
        "cost_per_year": running.cost_per_year,
        "currency": running.currency,
        "photon_efficacy_umol_j": running.photon_efficacy_umol_j,
    }


def _site(site: SiteComparison, comparison: Comparison) -> dict[str, Any]:
    corals = {v.coral for v in comparison.before.verdicts if v.site == site.site}
    there = {v.coral for v in comparison.after.verdicts if v.site == site.site}
    return {
        "site": site.site,
        **_change(site),
        "corals": [_states(c) for c in comparison.corals if c.coral in corals | there],
    }


def _coral(
    coral: CoralComparison, groups_a: Mapping[str, CoralGroup], groups_b: Mapping[str, CoralGroup]
) -> dict[str, Any]:
    a, b = coral.verdict_before, coral.verdict_after
    return {
        **_states(coral),
        "site": {"a": a.site, "b": b.site},
        **_change(coral),
        "judged": {"a": _judged(a, groups_a[a.group]), "b": _judged(b, groups_b[b.group])},
    }


def _states(coral: CoralComparison) -> dict[str, Any]:
    a, b = coral.verdict_before, coral.verdict_after
    return {"coral": coral.coral, "dli_state": {"a": a.dli_state, "b": b.dli_state}}


def _judged(verdict: Verdict, group: CoralGroup) -> dict[str, Any]:
    """A coral's light against its group's, as in `dose`."""
    known = coral_json(verdict, group)
    return {key: known[key] for key in JUDGED}


def _change(change: PlaceChange) -> dict[str, Any]:
    return {
        "dli_ratio": change.dli_ratio,
        **_split(change.split),
        "interval_95_dli_ratio": pair_json(change.interval_ratio),
        "a": _light(change.before),
        "b": _light(change.after),
    }


def _split(split: Split) -> dict[str, Any]:
    return {
        "ln_dli": split.ln_dli,
        "ln_total": split.ln_total,
        "ln_intensity": split.ln_intensity,
        "ln_time": split.ln_time,
        "ln_colour": span_json(split.ln_colour),
    }


def _light(light: PlaceLight) -> dict[str, Any]:
    known = light.interval_dli is not None and light.interval_peak is not None
    return {
        "dli_mol_m2_d": light.dli_mol_m2_d,
        "peak_ppfd_umol_m2_s": light.peak_ppfd_umol_m2_s,
        "photoperiod_h": light.photoperiod_h,
        "any_light_h": light.any_light_h,
        "peak_equivalent_h": light.peak_equivalent_h,
        "lux_at_peak": light.lux_at_peak,
        "band_dose_mol_m2_d": dict(light.band_dose_mol_m2_d),
        "usable_fraction": span_json(light.usable_fraction),
        "usable_dose_mol_m2_d": span_json(light.usable_dose_mol_m2_d),
        "looks": looks_json(light.looks),
        "interval_95": {
            "dli_mol_m2_d": pair_json(light.interval_dli),
            "peak_ppfd_umol_m2_s": pair_json(light.interval_peak),
        }
        if known
        else None,
    }
