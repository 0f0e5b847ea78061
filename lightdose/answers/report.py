"""`report`: what was written, and the answer that its page opens with."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from lightdose.answers.answer import Answer
from lightdose.answers.blocks import Say
from lightdose.answers.dose import answer_points, headline, overview
from lightdose.answers.verdicts import counts
from lightdose.model.comparison import Comparison
from lightdose.model.results import Analysis


def report_answer(analysis: Analysis, comparison: Comparison | None, written: Mapping[str, Path]) -> Answer:
    """The headline in words, and as JSON what was written and how many corals stand where."""
    other = comparison.after if comparison else None
    setups = (analysis.setup, *((other.setup,) if other else ()))
    return Answer(
        "report",
        (Say(headline(analysis), "strong"), answer_points(analysis), Say(analysis.basis.sentence, "basis")),
        lambda: {
            "files": [
                {
                    "kind": kind,
                    "file": str(path.resolve()),
                    "bytes": path.stat().st_size if path.is_file() else None,
                }
                for kind, path in written.items()
            ],
            **_figures(analysis),
            "other": {"title": other.setup.title, "basis": other.basis.key, **_figures(other)}
            if other
            else None,
        },
        title=analysis.setup.title,
        basis=analysis.basis.key,
        counts=counts(analysis.verdicts),
        cautions=analysis.cautions,
        setups=setups,
        overview=overview(analysis),
    )


def _figures(analysis: Analysis) -> dict[str, Any]:
    """The figures of the page's first screen."""
    deciding = analysis.uncertainty.deciding if analysis.uncertainty else None
    doses = [v.dli_mol_m2_d for v in analysis.verdicts]
    return {
        "corals": len(analysis.verdicts),
        "likely_states": dict(sorted(Counter(v.likely_state for v in analysis.verdicts).items())),
        "dli_mol_m2_d": [min(doses), max(doses)] if doses else None,
        "deciding_reading": None if deciding is None else {"site": deciding.site},
    }
