"""Colour or intensity as JSON."""

from __future__ import annotations

from typing import Any

from lightdose.model.explaining import ColourOrIntensity, IndexSpan


def colour_json(record: ColourOrIntensity | None) -> dict[str, Any] | None:
    """Spans of the absorption index and of dose at one place; None where there is no light."""
    if record is None:
        return None
    return {
        "place": record.place,
        "site": record.site,
        "peak_ppfd_umol_m2_s": record.peak_ppfd_umol_m2_s,
        "channels": record.channels,
        "today": {
            "absorption_index": dict(record.today_index),
            "warnings": list(record.today_warnings),
            "output": record.today_output,
            "dli_mol_m2_d": record.today_dli,
        },
        "warnings": list(record.warnings),
        "all_mixes": _span(record.all_mixes),
        "without_warnings": _span(record.without_warnings),
        "dose": {
            "output": list(record.output_range),
            "hours_h": list(record.hours_range),
            "dli_mol_m2_d": list(record.dose_range),
            "ratio": record.dose_ratio,
        },
        "larger": record.larger,
        "evidence": [{"side": e.side, "text": e.text, "source": e.source} for e in record.evidence],
    }


def _span(span: IndexSpan) -> dict[str, Any]:
    if span.spans is None:
        return {"absorption_index": None, "ratio": None, "why_none": span.why_none}
    return {
        "absorption_index": {curve: list(ends) for curve, ends in span.spans.items()},
        "ratio": {curve: span.ratio(curve) for curve in span.spans},
        "why_none": None,
    }
