"""An estimate as one versioned JSON object."""

from __future__ import annotations

from typing import Any

from lightdose.model.estimate import Estimate, Standing

ESTIMATE_FORMAT = "lightdose-estimate/1"


def estimate_json(found: Estimate) -> dict[str, Any]:
    """The range, what it stands on, and what it says of corals.

    ``states`` are those that the range spans for the group asked for; without one, for all groups together.
    """
    asked = found.question
    spanned = {s for standing in found.standings for s in standing.states}
    order = ("far_below", "below", "within", "above", "far_above", "not_judged")
    return {
        "format": ESTIMATE_FORMAT,
        "basis": "typical values",
        "reading": asked.reading,
        "unit": asked.unit,
        "where": asked.where,
        "white": asked.white,
        "hours_h": asked.hours_h,
        "ramp_h": asked.ramp_h,
        "ramp_assumed": asked.ramp_assumed,
        "immersion": asked.immersion,
        "depth_m": asked.depth_m,
        "lamp_height_m": asked.lamp_height_m,
        "ppfd_umol_m2_s": list(found.ppfd_umol_m2_s),
        "dli_mol_m2_d": list(found.dli_mol_m2_d),
        "full_hours_h": found.full_hours_h,
        "group": found.group,
        "states": [s for s in order if s in spanned],
        "would_a_better_reading_change_the_advice": found.would_change,
        "reading_settles_it": found.settles,
        "factors": [
            {"factor": f.name, "low": f.low, "high": f.high, "source": f.source} for f in found.factors
        ],
        "mixes": found.mixes,
        "lux_per_umol": list(found.lux_per_umol),
        "sunlight_factor": {
            "claimed_ppfd_umol_m2_s": list(found.sunlight_claim_umol_m2_s),
            "share_of_true_ppfd": list(found.sunlight_share),
        },
        "groups": [_standing(s) for s in found.standings],
        "light_says": list(found.rules),
        "ask": list(found.ask),
        "limits": list(found.limits),
        "provenance": {"version": found.version},
    }


def _standing(standing: Standing) -> dict[str, Any]:
    return {
        "group": standing.group,
        "name": standing.name,
        "band_dli": None if standing.band_dli is None else list(standing.band_dli),
        "states": list(standing.states),
        "would_a_better_reading_change_the_advice": standing.advice_changes,
        "grade": standing.grade,
        "sources": list(standing.sources),
    }
