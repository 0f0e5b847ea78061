"""The result of `acclimate` as one versioned JSON object, unrounded."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from lightdose.model.acclimation import Acclimation, AcclimationStep
from lightdose.model.results import Span

ACCLIMATE_FORMAT = "lightdose-acclimate/1"


def acclimate_json(way: Acclimation, files: Sequence[Mapping[str, Path]]) -> dict[str, Any]:
    """Every step with its doses, its mismatch and its schedule files.

    ``files`` holds, for every step, fixture -> schedule; it is empty where nothing was written.
    """
    curve = way.curve
    return {
        "format": ACCLIMATE_FORMAT,
        "from": way.title_from,
        "to": way.title_to,
        "basis": way.basis.key,
        "rise_per_week": way.rise_per_week,
        "step_days": way.step_days,
        "weeks": way.weeks,
        "steps": [_step(step, files[index] if files else {}) for index, step in enumerate(way.steps)],
        "corals": [
            {
                "coral": c.name,
                "group": c.group,
                "site": c.site,
                "newcomer": c.newcomer,
                "before_is": c.origin,
                "before_mol_m2_d": c.before,
                "first_limit_mol_m2_d": c.first_limit,
                "target_mol_m2_d": c.target,
            }
            for c in way.corals
        ],
        "only_in_from": list(way.missing),
        "not_judged": list(way.not_judged),
        "mismatch": {
            "coral": curve.coral,
            "tau_d": list(curve.tau_d),
            "day": curve.day.tolist(),
            "dli_mol_m2_d": curve.dli.tolist(),
            "d_over_a": [row.tolist() for row in curve.d_over_a],
        },
        "cautions": [{"code": c.code, "text": c.text, "source": c.source} for c in way.cautions],
        "provenance": {"version": way.version, "inputs_sha256": dict(way.inputs_sha256)},
    }


def _step(step: AcclimationStep, files: Mapping[str, Path]) -> dict[str, Any]:
    schedules = [{"fixture": name, "file": str(path.resolve())} for name, path in files.items()]
    return {
        "day": step.day,
        "date": step.date,
        "scale": step.scale,
        "dli_mol_m2_d": dict(step.site_dli),
        "d_over_a": _triple(step.d_over_a),
        "furthest_ahead": step.furthest_ahead,
        "file": schedules[0]["file"] if schedules else None,
        "schedules": schedules,
        "corals": [
            {
                "coral": c.coral,
                "dli_mol_m2_d": c.dli_mol_m2_d,
                "rise_per_week": c.rise_per_week,
                "d_over_a": _triple(c.d_over_a),
            }
            for c in step.corals
        ],
    }


def _triple(span: Span) -> list[float]:
    return [span.low, span.default, span.high]
