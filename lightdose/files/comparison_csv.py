"""The sites and corals of `compare` as CSV, with a Table Schema to lay beside it."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Final, NamedTuple

from lightdose.files.dialect import Cell, Dialect, csv_text, table_schema
from lightdose.model.comparison import Comparison, CoralComparison, PlaceChange, PlaceLight, SiteComparison
from lightdose.model.results import Verdict
from lightdose.quantities import ValueColumn as Column

_MOL: Final = "mol m-2 d-1"
_PPFD: Final = "umol m-2 s-1"


class _Figure(NamedTuple):
    """A figure of one place under one setup."""

    name: str
    title: str
    unit: str
    of: Callable[[PlaceLight], Cell]


_FIGURES: Final = (
    _Figure("dli_mol_m2_d", "photons of 400-700 nm in the day", _MOL, lambda p: p.dli_mol_m2_d),
    _Figure("dli_low_95_mol_m2_d", "lower end, 95 %", _MOL, lambda p: _end(p.interval_dli, 0)),
    _Figure("dli_high_95_mol_m2_d", "upper end, 95 %", _MOL, lambda p: _end(p.interval_dli, 1)),
    _Figure("peak_ppfd_umol_m2_s", "highest PPFD of the day", _PPFD, lambda p: p.peak_ppfd_umol_m2_s),
    _Figure("photoperiod_h", "time above 5 % of the peak", "h", lambda p: p.photoperiod_h),
    _Figure("peak_equivalent_h", "hours at the peak of equal DLI", "h", lambda p: p.peak_equivalent_h),
    _Figure("lux_at_peak", "illuminance at the time of the peak", "lx", lambda p: p.lux_at_peak),
    _Figure(
        "white_lux_at_peak",
        "illuminance of white LED light with the same photons",
        "lx",
        lambda p: p.looks.white.lux if p.looks else None,
    ),
    _Figure("chromaticity_x", "CIE 1931, at the peak", "", lambda p: _xy(p, 0)),
    _Figure("chromaticity_y", "CIE 1931, at the peak", "", lambda p: _xy(p, 1)),
    _Figure(
        "cct_k",
        "correlated colour temperature, empty where it means nothing",
        "K",
        lambda p: p.looks.appearance.cct_k if p.looks else None,
    ),
    _Figure(
        "usable_fraction",
        "absorption index, not growth",
        "",
        lambda p: p.usable_fraction.default if p.usable_fraction else None,
    ),
)

COLUMNS: Final = (
    Column("kind", "string", "site or coral"),
    Column("name", "string", "of the site or coral, as both setups have it"),
    Column("site_a", "string", "where it stands in A"),
    Column("site_b", "string", "where it stands in B"),
    Column("dli_ratio", title="DLI of B over A; empty where A is dark"),
    Column("dli_ratio_low_95", title="lower end, 95 %, where both share their light field"),
    Column("dli_ratio_high_95", title="upper end, 95 %, where both share their light field"),
    Column("ln_dli", title="ln of the DLI ratio = ln_intensity + ln_time"),
    Column("ln_intensity", title="ln of the ratio of peaks"),
    Column("ln_time", title="ln of the ratio of peak-equivalent hours"),
    Column("ln_colour", title="ln of the ratio of absorption indices; not growth"),
    Column("ln_colour_low", title="lowest of four absorption curves"),
    Column("ln_colour_high", title="highest of four absorption curves"),
    Column("ln_total", title="ln of the ratio of usable doses = ln_dli + ln_colour"),
    *(Column(f"{f.name}_{side}", title=f.title, unit=f.unit) for f in _FIGURES for side in ("a", "b")),
    Column("dli_state_a", "string", "dose against the group's usual range"),
    Column("dli_state_b", "string", "dose against the group's usual range"),
    Column("band_dli_low_mol_m2_d", title="usual dose in B, low end", unit=_MOL),
    Column("band_dli_high_mol_m2_d", title="usual dose in B, high end", unit=_MOL),
)


def compare_csv(comparison: Comparison, dialect: Dialect = "plain") -> str:
    """One row a site and one a coral, in the order of A, unrounded."""
    rows = [
        *(_site_row(s) for s in comparison.sites),
        *(_coral_row(c) for c in comparison.corals),
    ]
    return csv_text([c.name for c in COLUMNS], rows, dialect)


def compare_schema(dialect: Dialect = "plain") -> str:
    """JSON text of the Table Schema of ``compare_csv``."""
    return json.dumps(table_schema(COLUMNS, dialect), indent=2) + "\n"


def _site_row(site: SiteComparison) -> list[Cell]:
    return ["site", site.site, site.site, site.site, *_figures(site), None, None, None, None]


def _coral_row(coral: CoralComparison) -> list[Cell]:
    a, b = coral.verdict_before, coral.verdict_after
    return ["coral", coral.coral, a.site, b.site, *_figures(coral), a.dli_state, b.dli_state, *_band(b)]


def _figures(change: PlaceChange) -> list[Cell]:
    split, colour = change.split, change.split.ln_colour
    return [
        change.dli_ratio,
        _end(change.interval_ratio, 0),
        _end(change.interval_ratio, 1),
        split.ln_dli,
        split.ln_intensity,
        split.ln_time,
        colour.default if colour else None,
        colour.low if colour else None,
        colour.high if colour else None,
        split.ln_total,
        *(figure.of(light) for figure in _FIGURES for light in (change.before, change.after)),
    ]


def _band(verdict: Verdict) -> tuple[Cell, Cell]:
    return verdict.band_dli or (None, None)


def _end(interval: tuple[float, float] | None, which: int) -> float | None:
    return None if interval is None else interval[which]


def _xy(light: PlaceLight, which: int) -> float | None:
    return light.looks.appearance.chromaticity_xy[which] if light.looks else None
