"""Corals in the shade of rock or colonies, in words: who shades them, whose fault it is, and the way out."""

from __future__ import annotations

from typing import Any

from lightdose.answers.words import length, number, percent
from lightdose.errors import literal
from lightdose.model.results import Analysis, Verdict
from lightdose.model.setup import LengthUnit
from lightdose.model.shadow import Shadow

NAMED = 3
"""Corals told of, and solids named for each. Our choice."""


def shadow_sentences(analysis: Analysis, unit: LengthUnit) -> str:
    """The corals that are dim for what stands over them, those first that want more; empty where none is."""
    verdicts = {v.coral: v for v in analysis.verdicts}
    order = sorted(analysis.shadows, key=lambda s: s.faultless)
    told = [_sentence(s, verdicts[s.coral], unit) for s in order[:NAMED]]
    more = len(analysis.shadows) - len(told)
    return "; ".join(told) + (f"; and {more} more" if more else "") + ("." if told else "")


def _sentence(shadow: Shadow, verdict: Verdict, unit: LengthUnit) -> str:
    by = [literal(name) for name in list(shadow.shaded_by)[:NAMED]]
    whom = " and ".join([", ".join(by[:-1]), by[-1]] if len(by) > 1 else by)
    keeps = "keep" if len(by) > 1 else "keeps"
    text = (
        f"{literal(shadow.coral)} ({number(verdict.dli_mol_m2_d)}): {whom} {keeps} "
        f"{percent(shadow.kept_fraction)} of the light from it"
    )
    if shadow.faultless:
        text += ", and its group likes shade: no fault of the light"
    if shadow.out is not None:
        far = f"{length(shadow.out.distance_m, unit)} {unit}"
        text += f"; out of the shadow: {far} to the {shadow.out.towards} gives "
        text += number(shadow.out.dli_mol_m2_d)
    return text


def shadow_json(analysis: Analysis) -> list[dict[str, Any]]:
    """The same as values, every coral."""
    return [
        {
            "coral": s.coral,
            "kept_fraction": s.kept_fraction,
            "shaded_by": dict(s.shaded_by),
            "likes_shade": s.likes_shade,
            "out_of_shadow": s.out
            and {
                "distance_m": s.out.distance_m,
                "towards": s.out.towards,
                "dli_mol_m2_d": s.out.dli_mol_m2_d,
            },
        }
        for s in analysis.shadows
    ]
