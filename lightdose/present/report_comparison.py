"""The section of a report that sets another setup beside this one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from lightdose.model.comparison import Comparison, SiteComparison
from lightdose.model.results import SiteDay, SiteSpectrum
from lightdose.present.comparison_text import coral_columns, looks_lines, site_columns
from lightdose.present.comparison_words import (
    COMMON_CANCELS,
    NOT_GROWTH,
    largest_changes_first,
    lead_sentences,
    looks_site,
    running_sentence,
    worst_changes_first,
)
from lightdose.present.figures.canvas import Drawing
from lightdose.present.figures.comparison import comparison_drawings
from lightdose.present.labels import literal, typeset
from lightdose.present.report_tables import ROWS_AT_MOST, Head, PageTable, left_out_note
from lightdose.present.tables import Column

MADE_OF: Final = ("photons", "brightness", "hours", "colour by", "peak A -> B", "lit A -> B")
"""Columns of the second table of corals: eleven in one are too many for a page."""

SHORT: Final = 22


@dataclass(frozen=True, eq=False)
class Compared:
    """Two setups beside one another, and the days and spectra of both at the sites that figures show."""

    comparison: Comparison
    sites: Sequence[SiteComparison]
    days: tuple[Sequence[SiteDay], Sequence[SiteDay]]
    spectra: tuple[Sequence[SiteSpectrum], Sequence[SiteSpectrum]]


def comparison_parts(compared: Compared | None) -> dict[str, Any]:
    """What the section says and shows; all of it empty without another setup."""
    if compared is None:
        return {"compared_words": [], "compared_after": [], "compared_tables": [], "compared_cautions": []}
    comparison = compared.comparison
    seen = looks_site(comparison)
    looks = (
        [f"Looks and gets, at {literal(seen.site)}. {line}" for line in looks_lines(seen)[:2]] if seen else []
    )
    notes = [NOT_GROWTH, *([COMMON_CANCELS] if any(s.interval_ratio for s in comparison.sites) else [])]
    return {
        "compared_words": [typeset(sentence) for sentence in lead_sentences(comparison)],
        "compared_after": [
            typeset(sentence)
            for sentence in (
                *(f"{note}." for note in notes),
                *looks,
                running_sentence(comparison),
            )
        ],
        "compared_tables": _tables(comparison),
        "compared_cautions": comparison.cautions,
    }


def compared_drawings(compared: Compared) -> list[Drawing]:
    """Doses on their ranges, the split as bars, both days, both spectra, how both look."""
    return comparison_drawings(compared.comparison, compared.sites, compared.days, compared.spectra)


def _tables(comparison: Comparison) -> list[PageTable]:
    corals, sites = worst_changes_first(comparison.corals), largest_changes_first(comparison.sites)
    tables = []
    if corals:
        columns = coral_columns(corals[:ROWS_AT_MOST])
        coral, *rest = columns
        how = [c for c in rest if c.head.partition("\n")[0] in MADE_OF]
        what = [c for c in rest if c not in how or c is how[0]]
        tables.append(
            _page_table("table-compared-corals", "Corals under both, worst change first", [coral, *what])
        )
        caption = "What the change of each coral's light is made of"
        tables.append(_page_table("table-compared-splits", caption, [coral, *how]))
    if sites:
        columns, note = site_columns(sites[:ROWS_AT_MOST]), left_out_note(len(sites), "site")
        tables.append(
            _page_table("table-compared-sites", "Sites under both, largest change first", columns, note)
        )
    return tables


def _page_table(key: str, caption: str, columns: Sequence[Column], note: str = "") -> PageTable:
    """A table of the terminal as one of the page: a head's first line is its text, the other its unit."""
    heads, cells = [], []
    for column in (part for whole in columns for part in _parted(whole)):
        text, _, unit = column.head.partition("\n")
        heads.append(Head(_set(text), typeset(_set(unit)), number=column.right or _is_short(column)))
        cells.append([_set(cell) for cell in column.cells])
    return PageTable(key, caption, tuple(heads), tuple(zip(*cells, strict=True)), note)


def _is_short(column: Column) -> bool:
    """Whether no cell needs more than a line: figures such as "12.1 -> 10.9", never names or sentences."""
    return not column.name and all(
        len(_set(cell)) <= SHORT and cell[:1] in "0123456789-" for cell in column.cells
    )


def _parted(column: Column) -> list[Column]:
    """A terminal's column that holds two, such as dose and usual range, as these two."""
    head, _, unit = column.head.partition("\n")
    first, gap, second = head.rpartition("  ")
    if not gap:
        return [column]
    parts = [cell.rpartition("  ") for cell in column.cells]
    return [
        Column(f"{first}\n{unit}", tuple(left for left, _, _ in parts), right=True),
        Column(f"{second}\n{unit}", tuple(right for _, _, right in parts), right=True),
    ]


def _set(cell: str) -> str:
    return " ".join(cell.split()).replace("->", "→")
