"""The result of `match` as one versioned JSON object, unrounded."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from lightdose.model.matching import BAND_WIDTH_NM, Match, PairMatch
from lightdose.quantities import GRID_START_NM

MATCH_FORMAT = "lightdose-match/1"


def match_json(match: Match, files: Mapping[str, Path]) -> dict[str, Any]:
    """Pairs, what is unmatched, the plateau of every channel, and the schedule files that were written."""
    return {
        "format": MATCH_FORMAT,
        "here": match.title_here,
        "there": match.title_there,
        "basis": match.basis,
        "basis_sentence": match.basis_sentence,
        "measure_first": match.measure_first,
        "reached": match.reached,
        "common_factor": match.common_factor,
        "spread": list(match.spread),
        "pairs": [_pair(pair) for pair in match.pairs],
        "schedules": [{"fixture": name, "file": str(path.resolve())} for name, path in files.items()],
        "other_colour_share": match.other_colour,
        "unmatched": [
            {"band_nm": [b.low_nm, b.high_nm], "share": b.share, "share_of_band": b.of_band}
            for b in match.unmatched
        ],
        "channels": [
            {
                "fixture": c.key.fixture,
                "channel": c.key.channel,
                "output": c.output,
                "level": c.level,
                "at_limit": c.at_limit,
            }
            for c in match.channels
        ],
        "cautions": [{"code": c.code, "text": c.text, "source": c.source} for c in match.cautions],
        "provenance": {"version": match.version, "inputs_sha256": dict(match.inputs_sha256)},
    }


def _pair(pair: PairMatch) -> dict[str, Any]:
    starts = [GRID_START_NM + BAND_WIDTH_NM * i for i in range(pair.band_target.size)]
    return {
        "here": pair.here,
        "there": pair.there,
        "dli": {"target": pair.dli_target, "got": pair.dli_got, "before": pair.dli_before},
        "peak": {"target": pair.peak_target, "got": pair.peak_got},
        "bands": [
            {"band_nm": [low, low + BAND_WIDTH_NM], "target_mol_m2_d": target, "got_mol_m2_d": got}
            for low, target, got in zip(
                starts, pair.band_target.tolist(), pair.band_got.tolist(), strict=True
            )
        ],
    }
