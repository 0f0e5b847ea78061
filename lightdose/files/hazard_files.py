"""The hazard figures as one versioned JSON object, and as CSV with its Table Schema."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any, Final

from lightdose.files.dialect import SETUP_COLUMN, Column, Dialect, setup_led_csv, table_schema
from lightdose.model.hazard import Exposure, Hazard, LimitTime, Stare

HAZARD_FORMAT = "lightdose-hazard/1"

COLUMNS: Final = (
    Column("fixture", "string"),
    Column("distance_m", title="through air from the emitting area to the eye", unit="m"),
    Column("limit_key", "string"),
    Column("e_b_w_m2", title="blue-light weighted irradiance at full output", unit="W m-2"),
    Column("l_b_w_m2_sr", title="blue-light weighted radiance of an emitter", unit="W m-2 sr-1"),
    Column("h_eff_8h_j_m2", title="actinic UV exposure in 8 h", unit="J m-2"),
    Column("e_uv_a_w_m2", title="irradiance of 315-400 nm", unit="W m-2"),
    Column("time_to_limit_s", title="at full output; empty where the limit is never reached", unit="s"),
    Column("programme_e_b_w_m2", title="the same at the programme's peak", unit="W m-2"),
    Column("programme_l_b_w_m2_sr", unit="W m-2 sr-1"),
    Column("programme_h_eff_8h_j_m2", unit="J m-2"),
    Column("programme_e_uv_a_w_m2", unit="W m-2"),
    Column("programme_time_to_limit_s", unit="s"),
    Column("factor_low_95", title="lowest factor by which the true figures may differ"),
    Column("factor_high_95", title="highest factor by which the true figures may differ"),
    Column("limit", "string"),
    Column("source", "string"),
)


def hazard_json(hazard: Hazard) -> dict[str, Any]:
    """Behaviour first, then one entry for each fixture, distance and limit, and for all fixtures together."""
    return {
        "format": HAZARD_FORMAT,
        "title": hazard.setup.title,
        "basis": hazard.basis.key,
        "behaviour": [{"code": c.code, "text": c.text, "source": c.source} for c in hazard.behaviour],
        "fixtures": [_entry(stare, limit) for stare in hazard.stares for limit in stare.limits],
        "together_at_most": [_entry(stare, limit) for stare in hazard.together for limit in stare.limits],
        "remarks": list(hazard.remarks),
        "provenance": {"version": hazard.version, "inputs_sha256": dict(hazard.setup.inputs_sha256)},
    }


def _entry(stare: Stare, limit: LimitTime) -> dict[str, Any]:
    return {
        "fixture": stare.fixture,
        "distance_m": stare.distance_m,
        "limit_key": limit.key,
        "output": "full",
        **_view(stare.full_output, limit.full_output_s),
        "programme_peak": _view(stare.programme, limit.programme_s),
        "factor_95": list(stare.factor_95),
        "limit": limit.limit,
        "source": limit.source,
    }


def _view(exposure: Exposure, time_s: float | None) -> dict[str, float | None]:
    return {
        "e_b_w_m2": exposure.e_b_w_m2,
        "l_b_w_m2_sr": exposure.l_b_w_m2_sr,
        "h_eff_8h_j_m2": exposure.h_eff_8h_j_m2,
        "e_uv_a_w_m2": exposure.e_uv_a_w_m2,
        "time_to_limit_s": time_s,
    }


def hazard_csv(hazard: Hazard, dialect: Dialect = "plain", setup: str | None = None) -> str:
    """One row a fixture, distance and limit; all fixtures together come last; ``setup`` leads each."""
    return setup_led_csv([c.name for c in COLUMNS], _rows(hazard), dialect, setup)


def hazard_schema(dialect: Dialect = "plain", *, many: bool = False) -> str:
    """JSON text of the Table Schema of ``hazard_csv``."""
    columns = (SETUP_COLUMN, *COLUMNS) if many else COLUMNS
    return json.dumps(table_schema(columns, dialect), indent=2) + "\n"


def _rows(hazard: Hazard) -> Iterator[list[str | float | None]]:
    for stare in (*hazard.stares, *hazard.together):
        for limit in stare.limits:
            yield [
                stare.fixture,
                stare.distance_m,
                limit.key,
                *_view(stare.full_output, limit.full_output_s).values(),
                *_view(stare.programme, limit.programme_s).values(),
                *stare.factor_95,
                limit.limit,
                limit.source,
            ]
