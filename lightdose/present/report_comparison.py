"""The section of a report that sets another setup beside this one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from lightdose.answers import blocks
from lightdose.answers.blocks import Block, Picture, Point, Points, Say, Section, Table
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
from lightdose.present.figures.comparison import comparison_drawings
from lightdose.present.tables import Column

MADE_OF: Final = ("photons", "brightness", "hours", "colour by", "peak A -> B", "lit A -> B")
"""Columns of the second table of corals: eleven in one are too many for a page."""


@dataclass(frozen=True, eq=False)
class Compared:
    """Two setups beside one another, and the days and spectra of both at the sites that figures show."""

    comparison: Comparison
    sites: Sequence[SiteComparison]
    days: tuple[Sequence[SiteDay], Sequence[SiteDay]]
    spectra: tuple[Sequence[SiteSpectrum], Sequence[SiteSpectrum]]


def comparison_section(compared: Compared | None) -> Section:
    """Both setups in words, tables and figures; empty without another setup."""
    if compared is None:
        return Section("", ())
    comparison = compared.comparison
    seen = looks_site(comparison)
    looks = [f"Looks and gets, at {seen.site}. {line}" for line in looks_lines(seen)[:2]] if seen else []
    notes = [NOT_GROWTH, *([COMMON_CANCELS] if any(s.interval_ratio for s in comparison.sites) else [])]
    after = (*(f"{note}." for note in notes), *looks, running_sentence(comparison))
    drawings = comparison_drawings(comparison, compared.sites, compared.days, compared.spectra)
    cautions = tuple(Point(c.text, source=c.source) for c in comparison.cautions)
    shown: list[Block] = [*map(Say, lead_sentences(comparison)), *_tables(comparison)]
    shown += [Picture(lambda drawing=drawing: drawing) for drawing in drawings]  # type: ignore[misc]
    shown.append(Section("", tuple(map(Say, after)), paper=False))
    if cautions:
        shown.append(Section("B gives cause for caution, A does not", (Points(cautions),)))
    return Section("Beside another setup", tuple(shown), "compared", "Beside another")


def _tables(comparison: Comparison) -> list[Table]:
    corals, sites = worst_changes_first(comparison.corals), largest_changes_first(comparison.sites)
    tables = []
    if corals:
        columns = coral_columns(corals)
        coral, *rest = columns
        how = [c for c in rest if c.head.partition("\n")[0] in MADE_OF]
        what = [c for c in rest if c not in how or c is how[0]]
        tables.append(_page_table("compared-corals", "Corals under both, worst change first", [coral, *what]))
        caption = "What the change of each coral's light is made of"
        tables.append(_page_table("compared-splits", caption, [coral, *how]))
    if sites:
        columns = site_columns(sites)
        tables.append(_page_table("compared-sites", "Sites under both, largest change first", columns))
    return tables


def _page_table(key: str, caption: str, columns: Sequence[Column]) -> Table:
    """A table of the terminal as one of the page: a head's first line is its text, the other its unit."""
    made = []
    for column in (part for whole in columns for part in _parted(whole)):
        text, _, unit = column.head.partition("\n")
        cells = tuple(" ".join(cell.split()) for cell in column.cells)
        made.append(blocks.Column(text, cells, unit, right=column.right, fold=column.name))
    return Table(key, caption, tuple(made), least=len(made), paper=key == "compared-corals")


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
