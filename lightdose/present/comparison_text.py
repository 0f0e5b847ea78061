"""`compare` on a terminal and for pipes: words first, worst changes first, the verdict last."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, TextIO

from lightdose.answers.dose import is_safety
from lightdose.answers.looks import NOTE, colour_text, looks_sentence, rounded, swatch_text
from lightdose.answers.photosynthesis import hours_span, saturation_fields
from lightdose.answers.verdicts import brief_words, interval_text, table_words
from lightdose.model.appearance import LooksAndGets
from lightdose.model.comparison import Comparison, CoralComparison, PlaceChange, PlaceLight, SiteComparison
from lightdose.model.results import Verdict
from lightdose.present.comparison_words import (
    COMMON_CANCELS,
    NOT_GROWTH,
    cell_factor,
    change_sentence,
    closing_line,
    colour_factor,
    largest_changes_first,
    lead_sentences,
    looks_site,
    running_sentence,
    worst_changes_first,
)
from lightdose.present.labels import DLI_UNIT, PPFD_UNIT, count, hours, literal, number, range_text
from lightdose.present.tables import Column, print_table, say, terminal_console

if TYPE_CHECKING:
    from collections.abc import Callable

    from rich.console import Console

SITES_SHOWN = 40
ARROW = "->"


def compare_lines(comparison: Comparison) -> Iterator[str]:
    """The answer for pipes: one record a line, fields parted by tabs."""
    yield from lead_sentences(comparison)
    for coral in worst_changes_first(comparison.corals):
        yield _record(coral_fields(comparison, coral))
    for site in largest_changes_first(comparison.sites):
        yield _record([f"site {site.site}", *change_fields(site), *looks_fields(site)])
    yield running_sentence(comparison)
    if shown := looks_site(comparison):
        yield from looks_lines(shown)
    yield NOT_GROWTH
    if _has_ratios(comparison):
        yield f"{COMMON_CANCELS}."
    yield from comparison.notes
    for caution in comparison.cautions:
        yield _record([f"caution of B {caution.text}", f"source {caution.source}"])
    for text in _safety(comparison):
        yield _record([f"safety {text}"])
    yield closing_line(comparison)


def show_comparison(
    comparison: Comparison, stream: TextIO, *, colour: bool, width: int | None = None
) -> None:
    """Print `compare` for people."""
    console = terminal_console(stream, colour=colour, width=width)
    first, *rest = lead_sentences(comparison)
    say(console, first, "italic")
    for sentence in rest:
        say(console, sentence)
    if comparison.corals:
        ranked = worst_changes_first(comparison.corals)
        say(console, "\nCorals, worst change first", "bold")
        print_table(console, coral_columns(ranked), [c.changes_state for c in ranked], indispensable=4)
    sites = largest_changes_first(comparison.sites)
    if sites:
        say(console, "\nSites, largest change first", "bold")
        print_table(console, site_columns(sites[:SITES_SHOWN]), [False] * len(sites[:SITES_SHOWN]))
        if len(sites) > SITES_SHOWN:
            say(
                console,
                f"and {count(len(sites) - SITES_SHOWN, 'site')} with less change: --csv FILE lists all",
            )
        say(console, NOT_GROWTH, "dim")
        if _has_ratios(comparison):
            say(console, f"{COMMON_CANCELS}.", "dim")
        for note in comparison.notes:
            say(console, note, "dim")
    if site := looks_site(comparison):
        say(console, f"\nLooks and gets, at {literal(site.site)}", "bold")
        for line in looks_lines(site):
            say(console, f"- {line}")
    say(console, "")
    say(console, running_sentence(comparison))
    _show_cautions(comparison, console)
    say(console, "")
    say(console, closing_line(comparison), "bold")


def _show_cautions(comparison: Comparison, console: Console) -> None:
    if comparison.cautions:
        say(console, "\nB gives cause for caution, A does not", "bold")
    for caution in comparison.cautions:
        say(console, f"- {literal(caution.text)} [{literal(caution.source)}]")
    if safety := _safety(comparison):
        say(console, "\nSafety", "bold")
    for text in safety:
        say(console, f"- {literal(text)}")


def coral_columns(corals: Sequence[CoralComparison]) -> list[Column]:
    """The columns of the coral table, the indispensable first."""
    return [
        Column("coral", tuple(literal(c.coral) for c in corals), name=True),
        _dose_column(corals, [_usual(c.verdict_after) for c in corals]),
        Column("photons\ntimes", tuple(_ratio(c) for c in corals), right=True),
        Column("state\nA -> B", tuple(_state(c, brief_words) for c in corals)),
        *_split_columns(corals),
        Column("site", tuple(_site(c) for c in corals), name=True),
        *_peak_and_hours(corals),
        Column("at Pmax A -> B\nh gross, tanh", tuple(_at_pmax(c) for c in corals)),
    ]


def site_columns(sites: Sequence[SiteComparison]) -> list[Column]:
    """The columns of the site table, the indispensable first."""
    return [
        Column("site", tuple(literal(s.site) for s in sites), name=True),
        _dose_column(sites, [""] * len(sites)),
        Column("photons\ntimes", tuple(_ratio(s) for s in sites), right=True),
        *_split_columns(sites),
        Column("lux at peak\nA -> B", tuple(_pair(s, lambda p: rounded(p.lux_at_peak)) for s in sites)),
        *_peak_and_hours(sites),
    ]


def _dose_column(changes: Sequence[PlaceChange], usual: Sequence[str]) -> Column:
    a, b = ([number(getattr(c, side).dli_mol_m2_d) for c in changes] for side in ("before", "after"))
    wide = [max(map(len, texts), default=1) for texts in (a, b)]
    cells = (
        f"{x:>{wide[0]}} {ARROW} {y:>{wide[1]}}  {u}".rstrip() for x, y, u in zip(a, b, usual, strict=True)
    )
    head = "DLI A -> B" + ("  usual" if any(usual) else "")
    return Column(f"{head}\n{DLI_UNIT}", tuple(cells))


def _split_columns(changes: Sequence[PlaceChange]) -> list[Column]:
    columns = [
        Column("brightness\ntimes", tuple(_exp(c.split.ln_intensity) for c in changes), right=True),
        Column("hours\ntimes", tuple(_exp(c.split.ln_time) for c in changes), right=True),
    ]
    if any(c.interval_ratio for c in changes):
        columns.insert(0, Column("times,\n95 %", tuple(_interval(c) for c in changes)))
    colour = Column("colour by\nabsorption index", tuple(colour_factor(c.split.ln_colour) for c in changes))
    return [*columns, colour]


def _peak_and_hours(changes: Sequence[PlaceChange]) -> list[Column]:
    peaks = (_pair(c, lambda p: number(p.peak_ppfd_umol_m2_s)) for c in changes)
    lit = (_pair(c, lambda p: hours(p.photoperiod_h)) for c in changes)
    return [
        Column(f"peak A -> B\n{PPFD_UNIT}", tuple(peaks)),
        Column("lit A -> B\nh", tuple(lit)),
    ]


def _pair(change: PlaceChange, text: Callable[[PlaceLight], str]) -> str:
    return f"{text(change.before)} {ARROW} {text(change.after)}"


def _ratio(change: PlaceChange) -> str:
    return "-" if change.dli_ratio is None else cell_factor(change.dli_ratio) if change.dli_ratio else "0"


def _exp(ln: float | None) -> str:
    return "-" if ln is None else cell_factor(math.exp(ln))


def _interval(change: PlaceChange) -> str:
    ends = change.interval_ratio
    return "-" if ends is None else interval_text(ends)


def _at_pmax(coral: CoralComparison) -> str:
    spans = (v.hours_at_pmax_h for v in (coral.verdict_before, coral.verdict_after))
    return f" {ARROW} ".join("-" if span is None else hours_span(span) for span in spans)


def _usual(verdict: Verdict) -> str:
    return range_text(*verdict.band_dli) if verdict.band_dli else "-"


def _state(coral: CoralComparison, words: Callable[[Verdict], str]) -> str:
    a, b = (words(v) for v in (coral.verdict_before, coral.verdict_after))
    return a if a == b else f"{a} {ARROW} {b}"


def _site(coral: CoralComparison) -> str:
    a, b = (literal(v.site) for v in (coral.verdict_before, coral.verdict_after))
    return a if a == b else f"{a} {ARROW} {b}"


def coral_fields(comparison: Comparison, coral: CoralComparison) -> list[str]:
    """One coral's record as "key value" fields."""
    b = coral.verdict_after
    sides = (("A", comparison.before, coral.verdict_before), ("B", comparison.after, b))
    return [
        f"coral {coral.coral}",
        *change_fields(coral),
        f"usual {_usual(b)} {DLI_UNIT}",
        f"state {_state(coral, table_words)}",
        f"site {_site(coral)}",
        *(
            f"{label}: {field}"
            for label, analysis, verdict in sides
            for field in saturation_fields(analysis.setup.groups[verdict.group], verdict)
        ),
    ]


def change_fields(change: PlaceChange) -> list[str]:
    """How much light, and what it is made of."""
    fields = [
        f"DLI {number(change.before.dli_mol_m2_d)} {ARROW} {number(change.after.dli_mol_m2_d)} {DLI_UNIT}",
        change_sentence(change),
    ]
    if change.interval_ratio is not None:
        fields.append(f"95 % of the ratio {interval_text(change.interval_ratio)}")
    for label, light in (("A", change.before), ("B", change.after)):
        if light.interval_dli is not None:
            fields.append(f"95 % of {label} {interval_text(light.interval_dli)} {DLI_UNIT}")
    return [
        *fields,
        f"peak {_pair(change, lambda p: number(p.peak_ppfd_umol_m2_s))} {PPFD_UNIT}",
        f"full hours {_pair(change, _full_hours)} h",
        f"lit {_pair(change, lambda p: hours(p.photoperiod_h))} h",
        f"blue/green/red {_pair(change, bands_text)} % of DLI",
        f"lux at peak {_pair(change, lambda p: rounded(p.lux_at_peak))} lx",
    ]


def _full_hours(light: PlaceLight) -> str:
    return "-" if light.peak_equivalent_h is None else hours(light.peak_equivalent_h)


def bands_text(light: PlaceLight) -> str:
    """Shares of the three bands of PPFD in percent: "93/5/2"."""
    if not light.dli_mol_m2_d > 0:
        return "-"
    shares = (light.band_dose_mol_m2_d[k] / light.dli_mol_m2_d for k in ("blue", "green", "red"))
    return "/".join(f"{100 * share:.0f}" for share in shares)


def looks_fields(site: SiteComparison) -> list[str]:
    """Colour of the light at the peak, as fields."""
    fields = []
    for label, looks in (("A", site.before.looks), ("B", site.after.looks)):
        if looks is not None:
            look = looks.appearance
            fields.append(f"colour {label} {colour_text(look)}, swatch {swatch_text(look)}")
    return fields


def looks_lines(site: SiteComparison) -> list[str]:
    """What a site gets and how it looks, under both."""
    lines = [
        _looks_line(label, looks)
        for label, looks in (("A", site.before.looks), ("B", site.after.looks))
        if looks is not None
    ]
    return [*lines, NOTE]


def _looks_line(label: str, looks: LooksAndGets) -> str:
    look = looks.appearance
    return f"{label}: {looks_sentence(looks)} Colour {colour_text(look)}; swatch {swatch_text(look)}."


def _has_ratios(comparison: Comparison) -> bool:
    return any(s.interval_ratio is not None for s in comparison.sites)


def _safety(comparison: Comparison) -> list[str]:
    return [c.text for c in comparison.after.cautions if is_safety(c)]


def _record(fields: Sequence[str]) -> str:
    return "\t".join(literal(field) for field in fields)
