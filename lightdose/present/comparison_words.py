"""`compare` in words: photons first, then how they come about, then what the colour adds."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final

from lightdose.answers.verdicts import short_state, verdict_sentence
from lightdose.model.comparison import Comparison, CoralComparison, PlaceChange, RunningCost, SiteComparison
from lightdose.model.results import Span
from lightdose.model.sensitivity import SEVERITY
from lightdose.present.labels import count, literal, number

NAMED = 5
SAME: Final = 0.005
"""A ratio this near to 1 counts as no change in words."""

STEEP: Final = 1.25
"""A rise beyond this in one go calls for `acclimate`: common practice, no published source."""

NOT_GROWTH: Final = (
    "Absorption index: what pigments can take up, not growth. At equal photons, published growth was about "
    "equal under blue and under white light, as long as blue is there and red does not dominate "
    "[Kinzie, Jokiel & York 1984, Mar Biol, 10.1007/BF00393009; Wijgerde et al. 2014, PLoS ONE 9:e92781]"
)
COMMON_CANCELS: Final = (
    "The two differ in programmes alone, so what is not known of fixtures, tank and water is common to both: "
    "a dose may be off by its own 95 % range, the ratio only by the one beside it"
)


def factor(ratio: float) -> str:
    """A factor with two digits, three where it is near to 1: "1.8", "0.97"."""
    rounded = round(ratio, 2)
    if rounded < 1.1 or ratio >= 10:
        return cell_factor(ratio)
    return f"{ratio:.1f}"


def cell_factor(ratio: float) -> str:
    """A factor as tables and bars show it, all of a column to the same place: "1.80", "0.97"."""
    return number(ratio, 2) if ratio >= 10 or ratio < 0.1 else f"{ratio:.2f}"


def photon_words(change: PlaceChange) -> str:
    """The ratio of doses, and what it is made of: "1.8 times the photons: brighter 1.5, longer 1.2"."""
    ratio, split = change.dli_ratio, change.split
    if ratio is None:
        return "dark under A" if change.after.dli_mol_m2_d > 0 else "dark under both"
    if ratio == 0:
        return "dark under B"
    if split.ln_intensity is None or split.ln_time is None:
        return f"{factor(ratio)} times the photons"
    brighter, longer = math.exp(split.ln_intensity), math.exp(split.ln_time)
    if max(abs(ratio - 1), abs(brighter - 1), abs(longer - 1)) < SAME:
        return "the same photons: as bright, as long"
    write = factor if _multiply(ratio, brighter, longer) else cell_factor
    return (
        f"{write(ratio)} times the photons: {_word(brighter, 'brighter', 'dimmer', 'as bright', write)}, "
        f"{_word(longer, 'longer', 'shorter', 'as long', write)}"
    )


def _multiply(ratio: float, brighter: float, longer: float) -> bool:
    """Whether the short factors still give their product; if not, a reader who multiplies is puzzled."""
    if not all(0.1 <= x < 10 for x in (ratio, brighter, longer)):
        return True
    shown = math.prod(1.0 if abs(x - 1) < SAME else float(factor(x)) for x in (brighter, longer))
    return factor(shown) == factor(ratio)


def _word(ratio: float, more: str, less: str, same: str, write: Callable[[float], str]) -> str:
    if abs(ratio - 1) < SAME:
        return same
    return f"{more if ratio > 1 else less} {write(ratio)}"


def colour_factor(span: Span | None) -> str:
    """The ratio of absorption indices with its span, "-" without one."""
    if span is None:
        return "-"
    middle, low, high = (cell_factor(math.exp(x)) for x in (span.default, span.low, span.high))
    return middle if low == high else f"{middle} ({low}-{high})"


def change_sentence(change: PlaceChange) -> str:
    """Photons first: "1.8 times the photons: brighter 1.5, longer 1.2; colour by absorption index ..."."""
    words = photon_words(change)
    if change.split.ln_colour is None:
        return words
    return f"{words}; colour by absorption index {colour_factor(change.split.ln_colour)}, not growth"


def worst_changes_first(corals: tuple[CoralComparison, ...]) -> list[CoralComparison]:
    """Corals whose state gets worse first, then by how much their dose changes."""
    return sorted(corals, key=lambda c: (-_worsening(c), -_size(c)))


def largest_changes_first(sites: tuple[SiteComparison, ...]) -> list[SiteComparison]:
    """Sites by how much their dose changes; those that are dark under one first."""
    return sorted(sites, key=lambda s: -_size(s))


def _worsening(coral: CoralComparison) -> int:
    return SEVERITY[coral.verdict_after.dli_state] - SEVERITY[coral.verdict_before.dli_state]


def _size(change: PlaceChange) -> float:
    if change.split.ln_dli is not None:
        return abs(change.split.ln_dli)
    return math.inf if change.before.dli_mol_m2_d != change.after.dli_mol_m2_d else 0.0


def lead_sentences(comparison: Comparison) -> list[str]:
    """On what both stand; what A and B are; what differs; what that does to photons and corals."""
    a, b = map(literal, comparison.names)
    lines = [literal(comparison.basis_sentence), f"A: {a}. B: {b}."]
    differences = "; ".join(map(literal, comparison.differences))
    lines.append(f"B differs by: {differences}." if differences else "B differs in nothing that gives light.")
    return [*lines, photons_sentence(comparison), *_states(comparison), *only_sentences(comparison)]


def photons_sentence(comparison: Comparison) -> str:
    """What B gives in units of A, over all sites of both."""
    changes = [s for s in comparison.sites if s.dli_ratio]
    if not comparison.sites:
        return "No site stands in both, so no light can be set beside another."
    if not changes:
        return f"No site has light under both ({count(len(comparison.sites), 'site')})."
    ordered = sorted(changes, key=lambda s: s.dli_ratio or 0.0)
    low, high = ordered[0], ordered[-1]
    if len(changes) == 1 or factor(low.dli_ratio or 0.0) == factor(high.dli_ratio or 0.0):
        where = f"at {literal(low.site)}" if len(changes) == 1 else f"at all {len(changes)} sites"
        words = change_sentence(low)
        return f"{words[0].upper()}{words[1:]} ({where})."
    least, most = (f"{factor(s.dli_ratio or 0.0)} ({literal(s.site)})" for s in (low, high))
    far = max(changes, key=_size)
    return (
        f"B gives {least} to {most} times the photons of A. "
        f"Largest change, {literal(far.site)}: {change_sentence(far)}."
    )


def _states(comparison: Comparison) -> list[str]:
    corals = comparison.corals
    if not corals:
        return []
    before, after = ([getattr(c, side) for c in corals] for side in ("verdict_before", "verdict_after"))
    lines = [f"Corals under A: {verdict_sentence(tuple(before))}; under B: {verdict_sentence(tuple(after))}."]
    changed = [c for c in worst_changes_first(corals) if c.changes_state]
    if changed:
        changing = count(len(changed), "coral changes", "corals change")
        lines.append(f"By the stated values {changing} state: {_named(changed)}.")
    return lines


def _named(corals: list[CoralComparison]) -> str:
    parts = [f"{literal(c.coral)} from {state_change(c)}" for c in corals[:NAMED]]
    more = f" and {len(corals) - NAMED} more" if len(corals) > NAMED else ""
    return "; ".join(parts) + more


def state_change(coral: CoralComparison) -> str:
    """ "below to within", or one word where it stays."""
    a, b = (short_state(v.dli_state) for v in (coral.verdict_before, coral.verdict_after))
    return a if a == b else f"{a} to {b}"


def only_sentences(comparison: Comparison) -> list[str]:
    """Which sites and corals have no counterpart."""
    lines = []
    for label, only in zip("AB", comparison.only, strict=True):
        for what, names in (("site", only.sites), ("coral", only.corals)):
            if names:
                shown = ", ".join(map(literal, names[:NAMED]))
                more = f" and {len(names) - NAMED} more" if len(names) > NAMED else ""
                lines.append(f"In {label} only, not compared: {count(len(names), what)} ({shown}{more}).")
    return lines


def running_sentence(comparison: Comparison) -> str:
    """Electricity of both."""
    a, b = comparison.running
    if a.energy_kwh_d is None or b.energy_kwh_d is None:
        return "Electricity not compared: a fixture file gives no electrical_w."
    return f"Electricity: {_running(a)} under A, {_running(b)} under B."


def _running(cost: RunningCost) -> str:
    text = f"{number(cost.energy_kwh_d or 0.0)} kWh/day"
    if cost.cost_per_year is not None:
        text += f" ({number(cost.cost_per_year)} {literal(cost.currency or '')}/year)"
    if cost.photon_efficacy_umol_j is not None:
        text += f", {number(cost.photon_efficacy_umol_j)} umol/J"
    return text


def looks_site(comparison: Comparison) -> SiteComparison | None:
    """The site that stands for how light looks: the brightest under B."""
    lit = [s for s in comparison.sites if s.after.looks is not None and s.before.looks is not None]
    return max(lit, key=lambda s: s.after.dli_mol_m2_d, default=None)


def next_step(comparison: Comparison) -> str:
    """What to run from here."""
    rises = [c for c in comparison.corals if c.dli_ratio is None or c.dli_ratio > STEEP]
    if rises:
        steep = max(rises, key=lambda c: c.dli_ratio or math.inf)
        more = (
            "light at all" if steep.dli_ratio is None else f"{cell_factor(steep.dli_ratio)} times the light"
        )
        return (
            f"Next: {literal(steep.coral)} would get {more} overnight; lightdose acclimate takes A to B in "
            "weekly steps (common practice, no published rule)"
        )
    return "Next: --figures DIR draws both days, spectra and splits"


def closing_line(comparison: Comparison) -> str:
    """The verdict of B, and the next step."""
    verdicts = tuple(c.verdict_after for c in comparison.corals)
    words = verdict_sentence(verdicts) if verdicts else "no corals to judge in both"
    return f"Under B {words}. {next_step(comparison)}."
