"""The answer in words: who gets a usual amount of light, who does not, and what to try next."""

from __future__ import annotations

import math
from collections import Counter

from lightdose.model.results import Analysis, Caution, DliState, DliVerdict, Verdict
from lightdose.present.certainty_words import deciding_sentence, verdict_words
from lightdose.present.labels import DLI_UNIT, STATE_WORDS, count, literal, number
from lightdose.quantities import METRES_PER_INCH

SEVERITY: dict[DliVerdict, int] = {
    "far_below": 0,
    "far_above": 0,
    "below": 1,
    "above": 1,
    "undecided": 2,
    "within": 3,
    "not_judged": 4,
}


def worst_first(verdicts: tuple[Verdict, ...]) -> list[Verdict]:
    """Verdicts in the order of concern: far off, off, open, within, not judged; the furthest off first."""
    return sorted(verdicts, key=lambda v: (SEVERITY[v.likely_state], -octaves_off(v)))


def out_of_band(verdicts: tuple[Verdict, ...]) -> list[Verdict]:
    """Those below or above their group's usual light, worst first."""
    return [v for v in worst_first(verdicts) if SEVERITY[v.likely_state] < SEVERITY["undecided"]]


def octaves_off(verdict: Verdict) -> float:
    """How many doublings the dose lies outside its band, 0 inside."""
    if verdict.band_dli is None:
        return 0.0
    low, high = verdict.band_dli
    dli = max(verdict.dli_mol_m2_d, 1e-12)
    return max(0.0, math.log2(low / dli) if low > 0 else 0.0, math.log2(dli / high))


def verdict_sentence(verdicts: tuple[Verdict, ...]) -> str:
    """How many corals stand where, such as "5 of 8 corals within common practice, 2 below, 1 above"."""
    if not verdicts:
        return "no corals to judge"
    states = Counter(v.likely_state for v in verdicts)
    judged = len(verdicts) - states["not_judged"]
    if judged:
        parts = [f"{states['within']} of {count(judged, 'coral')} within common practice"]
    else:
        parts = ["no coral here is judged by light"]
    off: tuple[DliState, ...] = ("far_below", "below", "above", "far_above")
    parts += [f"{states[s]} {STATE_WORDS[s].removesuffix(' usual')}" for s in off if states[s]]
    if states["undecided"]:
        parts.append(f"{states['undecided']} cannot be told yet")
    if judged and states["not_judged"]:
        parts.append(f"{states['not_judged']} not judged by light")
    return ", ".join(parts)


def summary_sentences(analysis: Analysis) -> list[str]:
    """The doses in a sentence or two: from where to where, how long, and the coral furthest off."""
    sites = analysis.setup.sites
    if not sites:
        return ["No sites and no corals: there is nothing to compute light for."]
    if analysis.verdicts:
        ranked = sorted(analysis.verdicts, key=lambda v: v.dli_mol_m2_d)
        ends = [(v.coral, v.dli_mol_m2_d) for v in (ranked[0], ranked[-1])]
        whom = f"{count(len(analysis.verdicts), 'coral')} at {count(_stocked(analysis), 'site')}"
        verb = "gets" if len(analysis.verdicts) == 1 else "get"
    else:
        order = sorted(range(len(sites)), key=lambda i: float(analysis.dose.dli[i]))
        ends = [(sites[i].name, float(analysis.dose.dli[i])) for i in (order[0], order[-1])]
        whom, verb = count(len(sites), "site"), "gets" if len(sites) == 1 else "get"
    (dim, low), (bright, high) = ends
    if dim == bright:
        text = f"{whom} {verb} {number(low)} {DLI_UNIT} of light ({literal(dim)})."
    else:
        text = (
            f"{whom} {verb} {number(low)} to {number(high)} {DLI_UNIT} of light: "
            f"least {literal(dim)}, most {literal(bright)}."
        )
    deciding = deciding_sentence(analysis)
    return [text, *_worst_sentence(analysis), *([deciding] if deciding else [])]


def _stocked(analysis: Analysis) -> int:
    return len({v.site for v in analysis.verdicts})


def _worst_sentence(analysis: Analysis) -> list[str]:
    off = out_of_band(analysis.verdicts)
    if not off:
        return []
    worst = off[0]
    return [f"Furthest off: {literal(worst.coral)}, {verdict_words(worst)}."]


def next_command(analysis: Analysis) -> str:
    """The command that helps most from here."""
    setup = analysis.setup
    path = setup.path or "setup.toml"
    path = f'"{path}"' if " " in path else path
    if not setup.sites:
        return f"add a [[site]] to {path}, then lightdose dose {path}"
    if out_of_band(analysis.verdicts):
        return f'lightdose dose {path} --fixture-height "{_height_to_try(analysis)}"'
    return f"lightdose dose {path} --figures figures"


def _height_to_try(analysis: Analysis) -> str:
    """A fifth lower where more corals get too little than too much, else a quarter higher."""
    setup = analysis.setup
    states = [v.likely_state for v in analysis.verdicts]
    too_little = sum(s in ("below", "far_below") for s in states)
    too_much = sum(s in ("above", "far_above") for s in states)
    now_m = max((f.height_m for f in setup.lit_fixtures), default=0.25)
    per_unit_m = METRES_PER_INCH if setup.length_unit == "in" else 0.01
    height = max(1, round(now_m * (0.8 if too_little > too_much else 1.25) / per_unit_m))
    return f"{height} {setup.length_unit}"


def is_safety(caution: Caution) -> bool:
    """Whether a caution is one of the short safety lines that go with every answer."""
    return caution.code.startswith("safety_")


def closing_line(analysis: Analysis) -> str:
    """The verdict, and the next useful command."""
    verdict = verdict_sentence(analysis.verdicts)
    return f"{verdict[0].upper()}{verdict[1:]}. Next: {literal(next_command(analysis))}"
