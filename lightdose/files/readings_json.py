"""The results of `meter` and `calibrate` as versioned JSON objects, unrounded."""

from __future__ import annotations

from typing import Any

from lightdose.model.calibration import CalibrationFit
from lightdose.model.readings import MeterAnswer

METER_FORMAT = "lightdose-meter/1"
CALIBRATE_FORMAT = "lightdose-calibrate/1"


def meter_json(answer: MeterAnswer) -> dict[str, Any]:
    """What one reading stands for."""
    return {
        "format": METER_FORMAT,
        "ppfd_umol_m2_s": answer.ppfd_umol_m2_s,
        "interval_95": list(answer.interval_95),
        "spectral_factor": answer.spectral_factor,
        "immersion_factor": answer.immersion_factor,
        "reading": answer.reading,
        "unit": "lux" if answer.unit == "lux" else "umol_m2_s",
        "meter": answer.meter,
        "where": answer.where,
        "time_h": answer.time_h,
        "mix": [{"channel": name, "share": share} for name, share in answer.mix],
        "model_ppfd_umol_m2_s": answer.model_ppfd_umol_m2_s,
        "assumed": list(answer.assumed),
    }


def calibrate_json(fit: CalibrationFit) -> dict[str, Any]:
    """Gains, beams, open sky, and every reading beside the model."""
    found = fit.calibration
    tint = found.yellowing
    return {
        "format": CALIBRATE_FORMAT,
        "date": found.date,
        "meters": list(found.meters),
        "readings": found.readings,
        "gains": [
            {
                "fixture": g.fixture,
                "channel": g.channel,
                "gain": g.gain,
                "interval_95": list(g.interval_95),
                "tied_to": g.tied_to,
                "photon_flux_umol_s": g.flux_umol_s,
            }
            for g in found.gains
        ],
        "beams": [
            {
                "fixture": b.fixture,
                "fwhm_deg": b.fwhm_deg,
                "interval_95": list(b.interval_95),
                "nominal_fwhm_deg": b.nominal_fwhm_deg,
            }
            for b in found.beams
        ],
        "open_sky": [
            {"site": s.site, "value": s.value, "interval_95": list(s.interval_95)} for s in found.open_sky
        ],
        "yellowing_440_per_m": None
        if tint is None
        else {"value": tint.per_m, "interval_95": list(tint.interval_95)},
        "heights": [
            {"fixture": h.fixture, "height_m": h.height_m, "interval_95": list(h.interval_95)}
            for h in found.heights
        ],
        "together": [
            {"fixture": t.fixture, "factor": t.factor, "interval_95": list(t.interval_95)}
            for t in found.together
        ],
        "residuals": [
            {
                "line": r.line,
                "reading_umol_m2_s": r.reading_umol_m2_s,
                "model_umol_m2_s": r.model_umol_m2_s,
                "outlier": r.outlier,
            }
            for r in fit.residuals
        ],
        "untie": fit.untie,
        "trend": fit.trend,
        "cautions": [*found.cautions, *fit.contradictions],
    }
