"""What is said of a coral, as the flat columns of a table."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from lightdose.model.coral import CoralGroup
    from lightdose.model.results import Verdict

Row = dict[str, str | float | None]


def judgement_row(verdict: Verdict | None, group: CoralGroup | None) -> Row:
    """The flat columns of a verdict; empty where nothing is judged."""
    low, high = (verdict.band_dli if verdict else None) or (None, None)
    known = verdict.certainty if verdict else None
    return {
        "dli_state": verdict.dli_state if verdict else None,
        "dli_verdict": verdict.dli_verdict if verdict else None,
        "likely_state": verdict.likely_state if verdict else None,
        "probability_within": known.probability.get("within") if known else None,
        "deciding_reading": known.reading_at if known else None,
        "peak_state": verdict.peak_state if verdict else None,
        "band_dli_low_mol_m2_d": low,
        "band_dli_high_mol_m2_d": high,
        "floor_dli_mol_m2_d": verdict.floor_dli if verdict else None,
        "ceiling_dli_mol_m2_d": verdict.ceiling_dli if verdict else None,
        **_saturation(verdict, group),
        "advice": verdict.advice if verdict else None,
        "grade": verdict.grade if verdict else None,
        "sources": "; ".join(verdict.sources) if verdict else None,
    }


def _saturation(verdict: Verdict | None, group: CoralGroup | None) -> Row:
    """The ends over the group's range of Ek, and the range with its curve and what it stands on."""
    figures = (
        ("hours_at_pmax_{}_h", verdict and verdict.hours_at_pmax_h),
        ("hours_above_saturation_{}_h", verdict and verdict.hours_above_saturation_h),
        ("photons_beyond_saturation_{}_fraction", verdict and verdict.photons_beyond_saturation_fraction),
        ("ek_{}_umol_m2_s", group and group.ek_range),
    )
    row: Row = {}
    for name, ends in figures:
        low, high = ends or (None, None)
        row |= {name.format("low"): low, name.format("high"): high}
    has_ek = group is not None and group.ek_range is not None
    row["ek_model"] = group.ek_model if group and has_ek else None
    row["ek_source"] = group.ek_source if group and has_ek else None
    return row
