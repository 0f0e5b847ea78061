"""The rows of `dose` as CSV, with a Table Schema to lay beside it."""

from __future__ import annotations

import json
from typing import Final

from lightdose.files.dialect import SETUP_COLUMN, Dialect, setup_led_csv, table_schema
from lightdose.model.results import Analysis
from lightdose.quantities import BANDS
from lightdose.quantities import ValueColumn as Column

_MOL: Final = "mol m-2 d-1"
_PPFD: Final = "umol m-2 s-1"

COLUMNS: Final = (
    Column("coral", "string", "name of the coral; empty for a site without corals"),
    Column("group", "string", "key of its group"),
    Column("site", "string", "name of the site"),
    Column("x_m", title="from the left wall", unit="m"),
    Column("y_m", title="from the front wall", unit="m"),
    Column("depth_m", title="of the site below the surface", unit="m"),
    Column("judged_at_depth_m", title="of the coral's top below the surface", unit="m"),
    Column("open_sky", title="part of the light that nothing shades"),
    Column("dli_mol_m2_d", title="photons of 400-700 nm in the day", unit=_MOL),
    Column("peak_ppfd_umol_m2_s", title="highest PPFD of the day", unit=_PPFD),
    Column("brightest_hour_ppfd_umol_m2_s", title="highest mean PPFD of any 60 minutes", unit=_PPFD),
    Column("lux_at_peak", title="illuminance at the time of the peak", unit="lx"),
    Column("photoperiod_h", title="time above 5 % of the peak", unit="h"),
    Column("any_light_h", title="time with any light", unit="h"),
    Column("peak_equivalent_h", title="hours at the peak that give the same DLI", unit="h"),
    *(
        Column(f"{b.key}_dose_mol_m2_d", title=f"photons of {b.low_nm:g}-{b.high_nm:g} nm", unit=_MOL)
        for b in BANDS
    ),
    Column("usable_fraction", title="absorption index, not growth"),
    Column("usable_fraction_low", title="lowest of four absorption curves"),
    Column("usable_fraction_high", title="highest of four absorption curves"),
    Column("usable_dose_mol_m2_d", title="photons weighted by absorption", unit=_MOL),
    Column("usable_dose_low_mol_m2_d", title="lowest of four absorption curves", unit=_MOL),
    Column("usable_dose_high_mol_m2_d", title="highest of four absorption curves", unit=_MOL),
    Column("dli_low_95_mol_m2_d", title="lower end of the dose, 95 %", unit=_MOL),
    Column("dli_high_95_mol_m2_d", title="upper end of the dose, 95 %", unit=_MOL),
    Column("peak_low_95_umol_m2_s", title="lower end of the peak, 95 %", unit=_PPFD),
    Column("peak_high_95_umol_m2_s", title="upper end of the peak, 95 %", unit=_PPFD),
    Column("dli_state", "string", "dose against the group's usual range"),
    Column("dli_verdict", "string", "the state, or undecided where none has a probability of 2 in 3"),
    Column("likely_state", "string", "state with a probability of 2 in 3 or more, or undecided"),
    Column("probability_within", title="probability of a usual dose, 0-1"),
    Column("deciding_reading", "string", "site whose reading would settle most that is undecided"),
    Column("peak_state", "string", "brightest hour against the group's midday range"),
    Column("band_dli_low_mol_m2_d", title="usual dose, low end", unit=_MOL),
    Column("band_dli_high_mol_m2_d", title="usual dose, high end", unit=_MOL),
    Column("floor_dli_mol_m2_d", title="below it: far below usual", unit=_MOL),
    Column("ceiling_dli_mol_m2_d", title="above it: far above usual", unit=_MOL),
    Column(
        "hours_at_pmax_low_h",
        title="gross photosynthesis (tanh) as hours at Pmax, at the high end of Ek",
        unit="h",
    ),
    Column("hours_at_pmax_high_h", title="the same at the low end of Ek", unit="h"),
    Column("hours_above_saturation_low_h", title="time with light above the high end of Ek", unit="h"),
    Column("hours_above_saturation_high_h", title="time with light above the low end of Ek", unit="h"),
    Column(
        "photons_beyond_saturation_low_fraction", title="share of the day's photons on top of the high Ek"
    ),
    Column(
        "photons_beyond_saturation_high_fraction", title="share of the day's photons on top of the low Ek"
    ),
    Column("ek_low_umol_m2_s", title="light where saturation begins, low end", unit=_PPFD),
    Column("ek_high_umol_m2_s", title="light where saturation begins, high end", unit=_PPFD),
    Column("ek_model", "string", "curve that the range of Ek was fitted with"),
    Column("ek_source", "string", "what the range of Ek stands on, or assumed"),
    Column("advice", "string", "one sentence"),
    Column("grade", "string", "evidence behind the range: A strongest, D practice only"),
    Column("sources", "string", "behind the range"),
)


def dose_csv(analysis: Analysis, dialect: Dialect = "plain", setup: str | None = None) -> str:
    """The rows of an analysis, unrounded, in the order of its sites; under many, ``setup`` leads each."""
    names = [c.name for c in COLUMNS]
    rows = ([row[name] for name in names] for row in analysis.rows())
    return setup_led_csv(names, rows, dialect, setup)


def dose_schema(dialect: Dialect = "plain", *, many: bool = False) -> str:
    """JSON text of the Table Schema of ``dose_csv``."""
    columns = (SETUP_COLUMN, *COLUMNS) if many else COLUMNS
    return json.dumps(table_schema(columns, dialect), indent=2) + "\n"
