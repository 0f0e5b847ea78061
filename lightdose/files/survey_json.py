"""The plan of a survey as one versioned JSON object."""

from __future__ import annotations

from typing import Any

from lightdose.files.units import format_time
from lightdose.model.plans import Narrowing, PlannedReading, Survey

SURVEY_FORMAT = "lightdose-survey/1"


def survey_json(survey: Survey, files: list[str]) -> dict[str, Any]:
    """The readings in the order of the sheet, and what they narrow."""
    return {
        "format": SURVEY_FORMAT,
        "title": survey.setup.title,
        "meter": survey.meter.name or None,
        "unit": survey.meter.reads,
        "readings": [_reading(r) for r in survey.readings],
        "open_verdicts": list(survey.open_corals),
        "channels": [_narrowing("channel", n) for n in survey.gains],
        "corals": [_narrowing("coral", n) for n in survey.doses],
        "not_read_alone": list(survey.unread),
        "files": files,
        "provenance": {"version": survey.version, "inputs_sha256": dict(survey.setup.inputs_sha256)},
    }


def _reading(reading: PlannedReading) -> dict[str, Any]:
    spot, on = reading.spot, reading.on
    levels = [{"fixture": f, "channel": c, "level": level} for (f, c), level in (on.levels or {}).items()]
    return {
        "number": reading.number,
        "rank": reading.rank,
        "where": spot.name,
        "site": spot.site,
        "x_m": spot.x_m,
        "y_m": spot.y_m,
        "depth_m": spot.depth_m,
        "time": None if on.time_h is None else format_time(on.time_h),
        "levels": levels or None,
        "expected_95": list(reading.expected_95),
        "tells": reading.tells,
    }


def _narrowing(kind: str, narrowing: Narrowing) -> dict[str, Any]:
    return {
        kind: narrowing.what,
        "factor_95_before": narrowing.before,
        "factor_95_after": narrowing.after,
    }
