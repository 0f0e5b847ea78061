"""Many setups in one view: a line for each, the worst first, and how many stand where."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Final, TextIO

from lightdose.errors import Problem
from lightdose.model.hazard import Hazard, duration_words
from lightdose.model.overview import OverviewRow
from lightdose.model.results import Analysis, Verdict
from lightdose.model.setup import LengthUnit
from lightdose.present.certainty_words import table_words
from lightdose.present.hazard_text import LIMIT_NAMES
from lightdose.present.labels import count, length, literal, number, range_text
from lightdose.present.summary import SEVERITY, octaves_off, worst_first
from lightdose.present.tables import Column, print_table, say, terminal_console

ROWS_SHOWN: Final = 60
"""Rows of the table on a terminal; the rest is counted. Our choice."""

FAILED: Final = "not computed"
NONE: Final = "-"
STANDINGS: Final = ("far off usual", "off usual", "not told yet", "as usual", "without judged corals")
"""How a setup stands by its worst coral, in the order of ``SEVERITY``."""


def dose_overview(analysis: Analysis, file: str, label: str) -> OverviewRow:
    """How the corals of a setup stand, the one furthest off, and the energy of a day."""
    ranked = worst_first(analysis.verdicts)
    severities = [SEVERITY[v.likely_state] for v in ranked]
    worst = severities[0] if severities else SEVERITY["not_judged"]
    off = sum(s < SEVERITY["undecided"] for s in severities)
    cells = (
        ("within", str(severities.count(SEVERITY["within"]))),
        ("off", str(off)),
        ("undecided", str(severities.count(SEVERITY["undecided"]))),
        ("worst coral", _coral(ranked[0]) if worst < SEVERITY["within"] else NONE),
        ("kWh/day", _energy(analysis)),
        ("title", analysis.setup.title),
        ("basis", analysis.basis.key),
    )
    furthest = max((octaves_off(v) for v in ranked if SEVERITY[v.likely_state] == worst), default=0.0)
    return OverviewRow(file, label, cells, STANDINGS[worst], (1.0 + worst, -furthest, -float(off)))


def _coral(verdict: Verdict) -> str:
    usual = f", usual {range_text(*verdict.band_dli)}" if verdict.band_dli else ""
    return f"{verdict.coral}: DLI {number(verdict.dli_mol_m2_d)}{usual}, {table_words(verdict)}"


def _energy(analysis: Analysis) -> str:
    """The sum of all fixtures; NONE where one of them is not known."""
    known = [use.energy_kwh_d for use in analysis.fixtures if use.energy_kwh_d is not None]
    return number(sum(known)) if known and len(known) == len(analysis.fixtures) else NONE


def hazard_overview(hazard: Hazard, file: str, label: str, unit: LengthUnit) -> OverviewRow:
    """The limit that is reached first at full output, from where and how soon."""
    timed = [(t.full_output_s, s, t) for s in hazard.stares for t in s.limits if t.full_output_s is not None]
    tail = (("title", hazard.setup.title), ("basis", hazard.basis.key))
    if not timed:
        cells = (("first limit", "never reached at these distances"), ("fixture", NONE), ("from", NONE))
        return OverviewRow(file, label, (*cells, *tail), "reach no limit", (3.0,))
    seconds, stare, limit = min(timed, key=lambda found: found[0])
    what = LIMIT_NAMES[limit.key].partition(",")[0]
    cells = (
        ("first limit", f"{what} in {duration_words(seconds)}"),
        ("fixture", stare.fixture),
        ("from", f"{length(stare.distance_m, unit)} {unit}"),
    )
    return OverviewRow(file, label, (*cells, *tail), "reach a limit at full output", (2.0, seconds))


def check_overview(file: str, label: str, title: str, problems: Sequence[Problem]) -> OverviewRow:
    """How many problems a setup has, and the first of them."""
    n = sum(p.stands_for for p in problems)
    cells = (("problems", str(n)), ("first", _first(problems) if problems else NONE), ("title", title))
    standing = "with problems" if n else "without problems"
    return OverviewRow(file, label, cells, standing, (1.0, -float(n)) if n else (2.0,))


def failed_overview(file: str, label: str, problems: Sequence[Problem], heads: Sequence[str]) -> OverviewRow:
    """A setup that could not be computed: its first problem under the head that ``heads`` gives last."""
    *empty, told = heads
    cells = tuple((head, NONE) for head in empty)
    return OverviewRow(file, label, (*cells, (told, _first(problems))), FAILED, (0.0,), failed=True)


def _first(problems: Sequence[Problem]) -> str:
    """The first problem in a few words, with its line."""
    first = problems[0]
    line = f"line {first.place.line}: " if first.place and first.place.line else ""
    return f"{line}{first.found}"


def overview_line(row: OverviewRow) -> str:
    """One record for pipes."""
    if row.failed:
        cells = [FAILED, *(text for _, text in row.cells if text != NONE)]
    else:
        cells = [f"{head} {text}" for head, text in row.cells]
    return "\t".join(literal(field) for field in (f"setup {row.file}", *cells))


def show_overview(
    rows: Sequence[OverviewRow], stream: TextIO, *, colour: bool, width: int | None = None
) -> None:
    """Print the table for people, the worst first, and the count last."""
    ranked = sorted(rows, key=lambda row: row.concern)
    shown = ranked[:ROWS_SHOWN]
    heads = max((tuple(head for head, _ in row.cells) for row in shown), key=len)
    console = terminal_console(stream, colour=colour, width=width)
    columns = [Column("setup", tuple(literal(row.label) for row in shown), name=True)]
    for head in heads:
        cells = tuple(literal(dict(row.cells).get(head, NONE)) for row in shown)
        numbers = head in ("within", "off", "undecided", "problems", "kWh/day")
        columns.append(Column(head, cells, right=numbers, name=not numbers))
    print_table(console, columns, [row.concern[0] < 2 for row in shown], indispensable=5)
    if len(ranked) > len(shown):
        say(console, f"and {count(len(ranked) - len(shown), 'further setup')}, none of them worse")
    console.print()
    say(console, closing_line(rows), "bold")


def closing_line(rows: Sequence[OverviewRow]) -> str:
    """How many setups stand where, the worst first."""
    order = {row.standing: row.concern[0] for row in rows}
    counts = Counter(row.standing for row in rows)
    parts = [f"{counts[standing]} {standing}" for standing in sorted(order, key=lambda s: order[s])]
    return f"{count(len(rows), 'setup')}: {', '.join(parts)}."
