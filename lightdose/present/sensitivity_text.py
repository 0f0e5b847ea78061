"""Sensitivity in words and tables, worst first."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, TextIO

from lightdose.answers.verdicts import verdict_sentence
from lightdose.model.results import DliState
from lightdose.model.sensitivity import CaseOutcome, CoralOutcome, Sensitivity, SiteOutcome
from lightdose.present.labels import DLI_UNIT, STATE_WORDS, count, literal, number
from lightdose.present.tables import Column, print_table, say, terminal_console

if TYPE_CHECKING:
    from rich.console import Console

CASES_SHOWN = 16
NAMED_AT_MOST = 4
OURS = "Sizes of the changes: our choice, no published source; add your own with --case."


def show_sensitivity(
    found: Sensitivity, sites: Sequence[str], stream: TextIO, *, colour: bool, width: int | None = None
) -> None:
    """Print the cases for people: those that matter most, then every case of the sites asked for."""
    console = terminal_console(stream, colour=colour, width=width)
    say(console, literal(found.analysis.basis.sentence), "italic")
    say(console, today_sentence(found))
    shown = found.outcomes[:CASES_SHOWN]
    print_table(console, _case_columns(shown), [any(c.worsens for c in o.changed) for o in shown], 3)
    if len(found.outcomes) > len(shown):
        say(console, f"and {count(len(found.outcomes) - len(shown), 'smaller case')}: --csv FILE lists all")
    _show_worst_of_sites(console, found)
    for site in sites:
        _show_site(console, found, site)
    for line in remarks(found):
        say(console, line)
    say(console, OURS, "dim")
    console.print()
    say(console, closing_line(found), "bold")


def _case_columns(outcomes: Sequence[CaseOutcome]) -> list[Column]:
    return [
        Column("case", tuple(literal(o.case.name) for o in outcomes), name=True),
        Column("dose times", tuple(ratio_span(o) for o in outcomes), right=True),
        Column("corals that change state", tuple(changes_text(o) for o in outcomes), name=True),
    ]


def _show_worst_of_sites(console: Console, found: Sensitivity) -> None:
    """Each site with the case that takes most and the case that gives most."""
    names = [s.name for s in found.analysis.setup.sites]
    if not names or not found.outcomes:
        return
    rows = [worst_of_site(found, index) for index in range(len(names))]
    say(console, "\nEach site's least and most", "bold")
    columns = [
        Column("site", tuple(literal(n) for n in names), name=True),
        Column("least", tuple(r[0] for r in rows)),
        Column("most", tuple(r[1] for r in rows)),
    ]
    print_table(console, columns, [False] * len(rows), 2)


def worst_of_site(found: Sensitivity, index: int) -> tuple[str, str]:
    """The cases with the lowest and the highest ratio at a site, in words; only those compared with today."""
    cases = [
        (ratio, o.case.name)
        for o in found.outcomes
        if not o.case.baseline and (ratio := o.sites[index].dli_ratio) is not None
    ]
    if not cases:
        return "-", "-"
    (low, less), (high, more) = min(cases), max(cases)
    return f"{low:.2f} {literal(less)}", f"{high:.2f} {literal(more)}"


def _show_site(console: Console, found: Sensitivity, name: str) -> None:
    index = [s.name for s in found.analysis.setup.sites].index(name)
    outcomes = by_site(found, index)
    say(console, f"\nEvery case at {literal(name)}, largest change first", "bold")
    columns = [
        Column("case", tuple(literal(o.case.name) for o in outcomes), name=True),
        Column("dose times", tuple(ratio_text(o.sites[index].dli_ratio) for o in outcomes), right=True),
        Column(f"DLI\n{DLI_UNIT}", tuple(_dose(o.sites[index]) for o in outcomes), right=True),
        Column("state", tuple(site_state(o.sites[index]) for o in outcomes)),
    ]
    print_table(console, columns, [False] * len(outcomes), 3)


def by_site(found: Sensitivity, index: int) -> list[CaseOutcome]:
    """The cases by the size of their change at one site, largest first."""

    def change(outcome: CaseOutcome) -> float:
        ratio = outcome.sites[index].dli_ratio
        return 0.0 if ratio is None else -max(ratio, 1 / max(ratio, 1e-9))

    return sorted(found.outcomes, key=change)


def _dose(site: SiteOutcome) -> str:
    return "-" if site.dli_mol_m2_d is None else number(site.dli_mol_m2_d)


def site_state(site: SiteOutcome) -> str:
    """The states of a site's corals in words."""
    if site.dli_mol_m2_d is None:
        return "above the water"
    return ", ".join(dict.fromkeys(state_words(c.dli_state) for c in site.corals))


def state_words(state: DliState | None) -> str:
    """A state in words; None is dry."""
    return "above the water" if state is None else STATE_WORDS[state]


def ratio_text(ratio: float | None) -> str:
    """A ratio to the hundredth, or a dash."""
    return "-" if ratio is None else f"{ratio:.2f}"


def ratio_span(outcome: CaseOutcome) -> str:
    """Ratios of all sites: "0.75-0.93", or one number."""
    if not outcome.ratios:
        return "-"
    low, high = f"{min(outcome.ratios):.2f}", f"{max(outcome.ratios):.2f}"
    return low if low == high else f"{low}-{high}"


def changes_text(outcome: CaseOutcome) -> str:
    """Who changes state, in words: "plating cap: below usual"."""
    corals = sorted(outcome.changed, key=lambda c: not c.worsens)
    named = [f"{literal(c.coral)}: {state_words(c.dli_state)}" for c in corals[:NAMED_AT_MOST]]
    if len(corals) > NAMED_AT_MOST:
        named.append(f"and {len(corals) - NAMED_AT_MOST} more")
    return "; ".join(named)


def today_sentence(found: Sensitivity) -> str:
    """How the corals stand today."""
    return f"Today: {verdict_sentence(found.analysis.verdicts)}. Doses below are times today's."


def remarks(found: Sensitivity) -> list[str]:
    """What must be known besides, and the cases that could not be."""
    said = [f"{literal(o.case.name)}: {literal(o.remark)}" for o in found.outcomes if o.remark]
    return [*said, *(f"not computed: {literal(s)}" for s in found.skipped)]


def sensitivity_lines(found: Sensitivity) -> Iterator[str]:
    """Every line for pipes: one record a case and site, worst case first."""
    yield literal(found.analysis.basis.sentence)
    yield today_sentence(found)
    for outcome in found.outcomes:
        for site in outcome.sites:
            yield "\t".join(_record(outcome, site))
    yield from remarks(found)
    yield OURS
    yield closing_line(found)


def _record(outcome: CaseOutcome, site: SiteOutcome) -> list[str]:
    fields = [f"case {literal(outcome.case.name)}", f"site {literal(site.site)}"]
    fields.append(f"times {ratio_text(site.dli_ratio)}")
    if site.dli_mol_m2_d is not None:
        fields.append(f"DLI {number(site.dli_mol_m2_d)} {DLI_UNIT}")
    fields += [f"coral {literal(c.coral)} {_state_change(c)}" for c in site.corals]
    return [*fields, f"values {outcome.case.source}"]


def _state_change(coral: CoralOutcome) -> str:
    if not coral.changes_state:
        return state_words(coral.dli_state)
    return f"{STATE_WORDS[coral.state_before]} -> {state_words(coral.dli_state)}"


def closing_line(found: Sensitivity) -> str:
    """The verdict, and the next useful command."""
    path = found.analysis.setup.path or "setup.toml"
    path = literal(f'"{path}"' if " " in path else path)
    following = f"Next: lightdose survey {path}"
    if not found.analysis.setup.sites:
        return f"No sites: there is nothing to compare. {following}"
    if not found.analysis.verdicts:
        return f"{count(len(found.outcomes), 'case')}; no corals to judge. {following}"
    bad = [o for o in found.outcomes if any(c.worsens for c in o.changed)]
    if not bad:
        return f"None of {count(len(found.outcomes), 'case')} brings a coral farther from usual. {following}"
    worst = bad[0]
    corals = sum(c.worsens for c in worst.changed)
    brings = "brings a coral" if len(bad) == 1 else "bring a coral"
    return (
        f"{len(bad)} of {count(len(found.outcomes), 'case')} {brings} farther from usual; most: "
        f"{literal(worst.case.name)} ({count(corals, 'coral')}). {following}"
    )
