"""The result of `slip` as one versioned JSON object."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

from lightdose.model.shop import Slip

SLIP_FORMAT = "lightdose-slip/1"


def slip_json(slip: Slip, file: Path | None) -> dict[str, Any]:
    """Everything that the slip tells; ``file`` is absolute, None where no page was written."""
    verdict = slip.verdict
    known = verdict.certainty
    worth = slip.peak_equivalent_h
    return {
        "format": SLIP_FORMAT,
        "title": slip.title,
        "basis": slip.basis.key,
        "coral": verdict.coral,
        "group": verdict.group,
        "date": slip.date,
        "dli_mol_m2_d": verdict.dli_mol_m2_d,
        "peak_ppfd_umol_m2_s": verdict.peak_ppfd_umol_m2_s,
        "photoperiod_h": slip.photoperiod_h,
        "peak_equivalent_h": worth if math.isfinite(worth) else None,
        "band_fraction": {k: v if math.isfinite(v) else None for k, v in slip.band_fraction.items()},
        "interval_95": None
        if known is None
        else {
            "dli_mol_m2_d": list(known.interval_dli),
            "peak_ppfd_umol_m2_s": list(known.interval_peak),
        },
        "dli_state": verdict.dli_state,
        "dli_verdict": verdict.dli_verdict,
        "band_dli": list(verdict.band_dli) if verdict.band_dli else None,
        "grade": verdict.grade,
        "sources": list(verdict.sources),
        "previous": slip.previous_mol_m2_d if slip.previous_mol_m2_d is not None else "unknown",
        "file": None if file is None else str(file.resolve()),
        "provenance": {"version": slip.version, "inputs_sha256": slip.inputs_sha256},
    }
