"""The figures of `spectrum` as CSV, one row a spectrum, with a Table Schema to lay beside it."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Final

from lightdose.files.dialect import Dialect, csv_text, table_schema
from lightdose.model.results import SpectrumMetrics
from lightdose.quantities import BANDS
from lightdose.quantities import ValueColumn as Column

_CURVES: Final = ("z1", "z2", "z4", "tissue")

COLUMNS: Final = (
    Column("file", "string", "file, or library:NAME"),
    Column("ppfd_umol_m2_s", title="photon irradiance of 400-700 nm", unit="umol m-2 s-1"),
    Column("ppf_umol_s", title="photon flux of 400-700 nm", unit="umol s-1"),
    Column("umol_per_j", title="photons per joule, both of 400-700 nm", unit="umol J-1"),
    Column("lux_per_umol", title="illuminance per PPFD", unit="lx per umol m-2 s-1"),
    *(
        Column(
            f"{b.key}_fraction", title=f"photons of {b.low_nm:g}-{b.high_nm:g} nm per photon of 400-700 nm"
        )
        for b in BANDS
    ),
    Column("outside_400_700_fraction", title="share of the photons of 300-800 nm"),
    *(Column(f"usable_fraction_{c}", title=f"absorption index, curve {c}, not growth") for c in _CURVES),
    Column("chromaticity_x", title="CIE 1931"),
    Column("chromaticity_y", title="CIE 1931"),
    Column("cct_k", title="correlated colour temperature", unit="K"),
    Column("duv", title="distance from the Planckian locus, CIE 1960"),
    Column("notes", "string", "what was done to the table, and what it cannot tell"),
)


def metrics_csv(spectra: Sequence[SpectrumMetrics], dialect: Dialect = "plain") -> str:
    """One row a spectrum, unrounded; empty where there is no figure."""
    return csv_text([c.name for c in COLUMNS], (_row(one) for one in spectra), dialect)


def metrics_schema(dialect: Dialect = "plain") -> str:
    """JSON text of the Table Schema of ``metrics_csv``."""
    return json.dumps(table_schema(COLUMNS, dialect), indent=2) + "\n"


def _row(one: SpectrumMetrics) -> list[str | float | None]:
    x, y = one.chromaticity_xy or (None, None)
    return [
        one.file,
        one.ppfd_umol_m2_s,
        one.ppf_umol_s,
        one.umol_per_j,
        one.lux_per_umol,
        *(one.band_fraction[b.key] for b in BANDS),
        one.outside_400_700_fraction,
        *(one.usable_fraction[c] for c in _CURVES),
        x,
        y,
        one.cct_k,
        one.duv,
        "; ".join(one.notes),
    ]
