"""The answer on a terminal: words first, then tables as wide as the window, the verdict last."""

from __future__ import annotations

import os
from collections.abc import Sequence
from typing import TYPE_CHECKING, TextIO

from lightdose.model.record import dataclass
from lightdose.model.results import Analysis, Verdict
from lightdose.model.setup import LengthUnit
from lightdose.present.certainty_words import interval_text, table_words
from lightdose.present.labels import (
    DLI_UNIT,
    PPFD_UNIT,
    count,
    hours,
    length,
    literal,
    number,
    range_text,
)
from lightdose.present.plain import fixture_fields
from lightdose.present.saturation_words import COLUMN_HEAD, most_saturated, saturation_cell
from lightdose.present.summary import closing_line, is_safety, out_of_band, summary_sentences, worst_first

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

NAME_WIDTH = 28
"""A longer name is folded onto more lines, never cut."""

GAP = 2
SITES_SHOWN = 40
RANGE_WIDTHS = (1, 2, 5, 2, 1)
"""Characters of the range bar: far below, below, within, above, far above."""


@dataclass(frozen=True)
class Column:
    """One column of a table: its head in one or two lines, and a cell for every row."""

    head: str
    cells: tuple[str, ...]
    right: bool = False
    name: bool = False

    @property
    def width(self) -> int:
        """Columns of the terminal that it takes; a name takes ``NAME_WIDTH`` at most."""
        from rich.cells import cell_len

        widest = max(cell_len(t) for t in (*self.head.split("\n"), *self.cells))
        return min(widest, NAME_WIDTH) if self.name else widest


def show_dose(
    analysis: Analysis,
    unit: LengthUnit,
    stream: TextIO,
    *,
    colour: bool,
    width: int | None = None,
    explained: Sequence[str] = (),
) -> None:
    """Print `dose` for people on ``stream``; ``width`` is the terminal's where it is None.

    ``explained`` stands before the verdict, its first sentence as the head.
    """
    console = terminal_console(stream, colour=colour, width=width)
    say(console, literal(analysis.basis.sentence), "italic")
    for sentence in summary_sentences(analysis):
        say(console, sentence)
    if analysis.verdicts:
        ranked = worst_first(analysis.verdicts)
        bold = [v.likely_state in ("far_below", "far_above") for v in ranked]
        columns = coral_columns(analysis, ranked, unit)
        chosen = print_table(console, columns, bold)
        say(console, "range: [ floor, | | usual, ] ceiling, * this coral", "dim")
        saturated = most_saturated(analysis.setup.groups, ranked)
        if saturated and columns[-1] not in chosen:
            say(console, saturated, "dim")
    _show_sites(console, analysis, unit)
    off = [v for v in out_of_band(analysis.verdicts) if v.advice]
    if off:
        say(console, "\nWhat would help", "bold")
        for verdict in off:
            say(console, f"- {literal(verdict.coral)}: {literal(verdict.advice)}")
    _show_fixtures(console, analysis)
    _show_cautions(console, analysis)
    for index, sentence in enumerate(explained):
        say(console, sentence if index else f"\n{sentence}", "" if index else "bold")
    console.print()
    console.print(closing_line(analysis), style="bold", soft_wrap=True)


def coral_columns(analysis: Analysis, verdicts: Sequence[Verdict], unit: LengthUnit) -> list[Column]:
    """The columns of the coral table, the indispensable first, then by what they tell."""
    receivers = [analysis.light_field.receivers[v.receiver] for v in verdicts]
    peaks = [number(v.peak_ppfd_umol_m2_s) + (" (high)" if v.peak_state == "high" else "") for v in verdicts]
    places = [(r.x_m, r.y_m, v.judged_at_depth_m) for r, v in zip(receivers, verdicts, strict=True)]
    lit = [hours(float(analysis.dose.photoperiod_h[v.receiver])) for v in verdicts]
    return [
        Column("coral", tuple(literal(v.coral) for v in verdicts), name=True),
        _dose_and_band(verdicts),
        Column("state", tuple(table_words(v) for v in verdicts)),
        Column("range", tuple(range_bar(v) for v in verdicts)),
        Column("site", tuple(literal(v.site) for v in verdicts), name=True),
        *_intervals(verdicts),
        Column(f"peak\n{PPFD_UNIT}", tuple(peaks), right=True),
        Column(f"x, y, depth\n{unit}", tuple(", ".join(length(m, unit) for m in p) for p in places)),
        Column("lit\nh", tuple(lit), right=True),
        Column("group", tuple(literal(v.group_name) for v in verdicts), name=True),
        Column("grade", tuple(v.grade for v in verdicts)),
        Column(COLUMN_HEAD, tuple(saturation_cell(analysis.setup.groups[v.group], v) for v in verdicts)),
    ]


def _intervals(verdicts: Sequence[Verdict]) -> list[Column]:
    """The 95 % intervals of the doses, where they are known."""
    if any(v.certainty is None for v in verdicts):
        return []
    cells = tuple(interval_text(v.certainty.interval_dli) for v in verdicts if v.certainty)
    return [Column(f"DLI, 95 %\n{DLI_UNIT}", cells)]


def _dose_and_band(verdicts: Sequence[Verdict]) -> Column:
    doses = [number(v.dli_mol_m2_d) for v in verdicts]
    pad = max(4, *(len(d) for d in doses))
    bands = [range_text(*v.band_dli) if v.band_dli else "-" for v in verdicts]
    cells = tuple(f"{d:>{pad}}  {b}" for d, b in zip(doses, bands, strict=True))
    return Column(f"{'DLI':>{pad}}  usual\n{DLI_UNIT}", cells)


def range_bar(verdict: Verdict) -> str:
    """Where the dose lies: ``.[..|..*..|..].``, floor [, usual | |, ceiling ]; empty if not judged."""
    if verdict.band_dli is None:
        return ""
    low, high = verdict.band_dli
    floor = verdict.floor_dli or 0.0
    ceiling = 2 * high if verdict.ceiling_dli is None else verdict.ceiling_dli
    edges = (0.0, floor, low, high, ceiling, 2 * ceiling)
    zone = ("far_below", "below", "within", "above", "far_above").index(verdict.dli_state)
    start, end, cells = edges[zone], edges[zone + 1], RANGE_WIDTHS[zone]
    share = (verdict.dli_mol_m2_d - start) / (end - start) if end > start else 0.0
    mark = min(cells - 1, max(0, int(share * cells)))
    zones = [list("." * w) for w in RANGE_WIDTHS]
    zones[zone][mark] = "*"
    parts = ["".join(z) for z in zones]
    return "".join(p + fence for p, fence in zip(parts, ("[", "|", "|", "]", ""), strict=True))


def fitting(columns: Sequence[Column], width: int, indispensable: int) -> list[Column]:
    """The indispensable first columns, and of the others those that still fit, in their order."""
    chosen = list(columns[:indispensable])
    used = sum(c.width + GAP for c in chosen) - GAP
    for column in columns[indispensable:]:
        if used + GAP + column.width <= width:
            chosen.append(column)
            used += GAP + column.width
    return chosen


def print_table(
    console: Console, columns: Sequence[Column], bold: Sequence[bool], indispensable: int = 3
) -> list[Column]:
    """Print the columns that fit, the indispensable first ones always; gives the columns that were shown."""
    from rich.text import Text

    table = _table()
    chosen = fitting(columns, console.width, indispensable)
    crowded = sum(c.width + GAP for c in chosen) - GAP > console.width
    for column in chosen:
        table.add_column(
            Text(column.head),
            justify="right" if column.right else "left",
            overflow="fold",
            no_wrap=not (column.name or (crowded and column.head.partition("\n")[0] == "state")),
            max_width=NAME_WIDTH if column.name else None,
        )
    for row, strong in zip(zip(*(c.cells for c in chosen), strict=True), bold, strict=True):
        table.add_row(*(Text(cell) for cell in row), style="bold" if strong else "")
    console.print(table)
    return chosen


def _table() -> Table:
    from rich.box import Box
    from rich.table import Table

    # Lines of a Box: top, head, rule under the head, ...; each is left, fill, divider, right.
    ascii_rule = Box("    \n    \n -- \n    \n    \n    \n    \n    \n", ascii=True)
    return Table(
        box=ascii_rule, show_edge=False, pad_edge=False, padding=(0, GAP - 1, 0, 0), header_style="bold"
    )


def site_columns(analysis: Analysis, sites: Sequence[int], unit: LengthUnit) -> list[Column]:
    """The columns of the site table: how much light, of what colour, for how long."""
    dose, places = analysis.dose, [analysis.setup.sites[i] for i in sites]
    spans = [analysis.usable_fraction(i) for i in sites]
    at = [", ".join(length(m, unit) for m in (p.x_m, p.y_m, p.depth_m)) for p in places]
    return [
        Column("site", tuple(literal(p.name) for p in places), name=True),
        Column(f"DLI\n{DLI_UNIT}", tuple(number(float(dose.dli[i])) for i in sites), right=True),
        Column("blue/green/red\n% of DLI", tuple(_colours(analysis, i) for i in sites)),
        Column(
            "absorption\nindex (range)",
            tuple(f"{s.default:.2f} ({s.low:.2f}-{s.high:.2f})" if s else "-" for s in spans),
        ),
        Column(f"peak\n{PPFD_UNIT}", tuple(number(float(dose.peak_ppfd[i])) for i in sites), right=True),
        Column("full hours\nh", tuple(hours(float(dose.peak_equivalent_h[i])) for i in sites), right=True),
        Column("lux\nat peak", tuple(number(float(dose.lux_at_peak[i])) for i in sites), right=True),
        Column(f"x, y, depth\n{unit}", tuple(at)),
        Column("any light\nh", tuple(hours(float(dose.any_light_h[i])) for i in sites), right=True),
    ]


def _colours(analysis: Analysis, receiver: int) -> str:
    if not analysis.dose.dli[receiver] > 0:
        return "-"
    shares = analysis.band_fraction(receiver)
    return "/".join(f"{100 * shares[key]:.0f}" for key in ("blue", "green", "red"))


def _show_sites(console: Console, analysis: Analysis, unit: LengthUnit) -> None:
    sites = sorted(range(len(analysis.setup.sites)), key=lambda i: -float(analysis.dose.dli[i]))
    if not sites:
        return
    shown = sites[:SITES_SHOWN]
    columns = site_columns(analysis, shown, unit)
    say(console, "\nLight at each site, brightest first", "bold")
    chosen = print_table(console, columns, [False] * len(shown), indispensable=2)
    if len(sites) > len(shown):
        say(console, f"and {count(len(sites) - len(shown), 'dimmer site')}: --csv FILE lists all of them")
    if columns[3] in chosen:
        say(console, "absorption index: share that symbionts can absorb, over four curves; not growth", "dim")


def _show_fixtures(console: Console, analysis: Analysis) -> None:
    if analysis.fixtures:
        say(console, "\nFixtures", "bold")
    for use in analysis.fixtures:
        name, *rest = (literal(field) for field in fixture_fields(use))
        say(console, f"- {name.removeprefix('fixture ')}: {', '.join(rest)}")


def _show_cautions(console: Console, analysis: Analysis) -> None:
    cautions = [c for c in analysis.cautions if not is_safety(c)]
    safety = [c for c in analysis.cautions if is_safety(c)]
    if cautions:
        say(console, "\nCautions and limits", "bold")
    for caution in cautions:
        say(console, f"- {literal(caution.text)} [{literal(caution.source)}]")
    if safety:
        say(console, "\nSafety", "bold")
    for caution in safety:
        say(console, f"- {literal(caution.text)}")


def say(console: Console, text: str, style: str = "") -> None:
    """A line of text as it is, folded at the window's edge."""
    from rich.text import Text

    console.print(Text(text, style=style), overflow="fold")


def terminal_console(stream: TextIO, *, colour: bool, width: int | None) -> Console:
    """A console that shows names literally; ``width`` is the terminal's where it is None."""
    from rich.console import Console

    return Console(
        file=stream,
        width=width,
        no_color=not colour,
        color_system="standard" if colour else None,
        force_terminal=colour,
        markup=False,
        highlight=False,
        emoji=False,
        legacy_windows=False if os.name != "nt" else None,
    )
