"""What `report` wrote, and its headline figures, as JSON."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from lightdose.model.results import Analysis

REPORT_FORMAT = "lightdose-report/1"


def report_json(analysis: Analysis, files: Mapping[str, Path]) -> dict[str, Any]:
    """Absolute paths of what was written, how many corals stand where, and the one reading that tells most."""
    states = Counter(v.likely_state for v in analysis.verdicts)
    deciding = analysis.uncertainty.deciding if analysis.uncertainty else None
    doses = [v.dli_mol_m2_d for v in analysis.verdicts]
    return {
        "format": REPORT_FORMAT,
        "title": analysis.setup.title,
        "basis": analysis.basis.key,
        "files": [
            {
                "kind": kind,
                "file": str(path.resolve()),
                "bytes": path.stat().st_size if path.is_file() else None,
            }
            for kind, path in files.items()
        ],
        "corals": len(analysis.verdicts),
        "within": states["within"],
        "states": dict(sorted(states.items())),
        "dli_mol_m2_d": [min(doses), max(doses)] if doses else None,
        "deciding_reading": None if deciding is None else deciding.site,
        "provenance": {"version": analysis.version, "inputs_sha256": dict(analysis.setup.inputs_sha256)},
    }
