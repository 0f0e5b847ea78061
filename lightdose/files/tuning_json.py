"""The result of `tune` as one versioned JSON object, unrounded."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from lightdose.files.programme_rules import percent_from_level
from lightdose.model.plans import Conflict, CoralChange, DayShape, Tuning
from lightdose.model.results import Verdict

TUNE_FORMAT = "lightdose-tune/1"


def tune_json(tuning: Tuning, files: Mapping[str, Path]) -> dict[str, Any]:
    """Everything that `tune` reports; ``files``: fixture -> schedule, empty where nothing was written."""
    setup = tuning.before.setup
    before, after = tuning.energy_kwh_d
    loss, worst = tuning.largest_loss
    return {
        "format": TUNE_FORMAT,
        "title": setup.title,
        "basis": tuning.before.basis.key,
        "prefer": tuning.wishes.prefer,
        "unchanged": tuning.unchanged,
        "schedules": [_schedule(tuning, s.fixture, files.get(s.fixture)) for s in tuning.schedules],
        "day": {"before": _day(tuning.day_before), "after": _day(tuning.day_after)},
        "out_of_band": len(tuning.out_of_band),
        "conflict": None if tuning.conflict is None else _conflict(tuning.conflict),
        "corals": [_coral(c) for c in tuning.corals],
        "energy_kwh_d": {"before": before, "after": after},
        "writing_loss": {"largest_fraction": loss, "coral": worst or None},
        "too_big_for_one_day": [c.coral for c in tuning.sudden],
        "notes": list(tuning.notes),
        "cautions": [{"code": c.code, "text": c.text, "source": c.source} for c in tuning.after.cautions],
        "provenance": {"version": tuning.before.version, "inputs_sha256": dict(setup.inputs_sha256)},
    }


def _schedule(tuning: Tuning, fixture: str, file: Path | None) -> dict[str, Any]:
    return {
        "fixture": fixture,
        "file": None if file is None else str(file.absolute()),
        "channels": [
            {
                "channel": c.channel,
                "level_percent": {
                    "before": float(percent_from_level(c.level_before)),
                    "after": float(percent_from_level(c.level_after)),
                },
                "held": c.held or None,
            }
            for c in tuning.channels
            if c.fixture == fixture
        ],
    }


def _day(day: DayShape | None) -> dict[str, float] | None:
    if day is None:
        return None
    return {
        "start_h": day.start_h,
        "ramp_up_h": day.up_h,
        "plateau_h": day.plateau_h,
        "ramp_down_h": day.down_h,
    }


def _coral(change: CoralChange) -> dict[str, Any]:
    after = change.after
    return {
        "coral": change.coral,
        "group": after.group,
        "site": after.site,
        "band_dli": None if after.band_dli is None else list(after.band_dli),
        "before": _light(change.before),
        "after": _light(after),
        "rise": change.rise,
        "binds": change.binds,
    }


def _light(verdict: Verdict) -> dict[str, Any]:
    known = verdict.certainty
    return {
        "dli_mol_m2_d": verdict.dli_mol_m2_d,
        "dli_state": verdict.dli_state,
        "dli_verdict": verdict.dli_verdict,
        "peak_ppfd_umol_m2_s": verdict.peak_ppfd_umol_m2_s,
        "peak_state": verdict.peak_state,
        "interval_95": None if known is None else {"dli_mol_m2_d": list(known.interval_dli)},
        "probability_within": None if known is None else known.probability.get("within"),
    }


def _conflict(conflict: Conflict) -> dict[str, Any]:
    return {
        "kind": conflict.kind,
        "low": conflict.low,
        "high": conflict.high,
        "needs_mol_m2_d": conflict.needs,
        "gets_at_best_mol_m2_d": conflict.gets,
        "factor": conflict.factor,
        "remedies": [
            {
                "kind": r.kind,
                "coral": r.coral,
                "site": r.site,
                "open_sky_factor": r.open_sky,
                "out_of_band": r.out_of_band,
            }
            for r in conflict.remedies
        ],
    }
