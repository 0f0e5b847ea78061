"""What `report` wrote, and its headline figures, as JSON."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from lightdose.model.comparison import Comparison
from lightdose.model.results import Analysis

REPORT_FORMAT = "lightdose-report/1"


def report_json(
    analysis: Analysis, comparison: Comparison | None, written: Mapping[str, Path]
) -> dict[str, Any]:
    """Absolute paths of what was written, how many corals stand where, the one reading that tells most."""
    other = comparison.after if comparison else None
    return {
        "format": REPORT_FORMAT,
        "files": [
            {
                "kind": kind,
                "file": str(path.resolve()),
                "bytes": path.stat().st_size if path.is_file() else None,
            }
            for kind, path in written.items()
        ],
        **_headline(analysis),
        "other": _headline(other) if other else None,
    }


def _headline(analysis: Analysis) -> dict[str, Any]:
    """The figures of the page's first screen."""
    deciding = analysis.uncertainty.deciding if analysis.uncertainty else None
    doses = [v.dli_mol_m2_d for v in analysis.verdicts]
    return {
        "title": analysis.setup.title,
        "basis": analysis.basis.key,
        "corals": len(analysis.verdicts),
        "likely_states": dict(sorted(Counter(v.likely_state for v in analysis.verdicts).items())),
        "dli_mol_m2_d": [min(doses), max(doses)] if doses else None,
        "deciding_reading": None if deciding is None else {"site": deciding.site},
        "provenance": {"version": analysis.version, "inputs_sha256": dict(analysis.setup.inputs_sha256)},
    }
