"""`keep`: what was kept, and what changed since the state before."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

from lightdose.answers.answer import Answer
from lightdose.answers.blocks import Say
from lightdose.answers.diary_words import listed, percent_change
from lightdose.answers.field import Field, as_json
from lightdose.answers.words import as_typed, count, typed_path
from lightdose.model.diary import DoseChange, Keeping, KeptState

# fmt: off
STATE: Final = (
    Field("date", "date", lambda s: s.date, kind="string", what="day from which it stands"),
    Field("state", "state", lambda s: s.name, kind="string", what="name of its folder in the diary"),
    Field("why", "why", lambda s: s.why, kind="string"),
    Field("files", "files", lambda s: [{"file": f.file, "sha256": f.sha256} for f in s.files], csv=False),
)
DOSE: Final = (
    Field("coral", "coral", lambda d: d.coral, kind="string"),
    Field("before_mol_m2_d", "before", lambda d: d.before, "dli"),
    Field("after_mol_m2_d", "after", lambda d: d.after, "dli"),
    Field("ratio", "ratio", lambda d: d.ratio, what="after over before; null from the dark"),
)
# fmt: on

SAME: Final = 0.005
"""Doses that differ by less are alike in words."""


def keep_answer(kept: Keeping) -> Answer:
    """One line: what was kept and what changed."""
    return Answer(
        "keep",
        (Say(keep_sentence(kept), "verdict"),),
        lambda: keep_body(kept),
        title=kept.setup.title,
        setups=(kept.setup,),
    )


def keep_body(kept: Keeping) -> dict[str, Any]:
    """What the JSON holds of it."""
    return {
        "kept": as_json(STATE, kept.state) if kept.state else None,
        "before": as_json(STATE, kept.before) if kept.before else None,
        "stored_files": kept.stored,
        "stored_bytes": kept.n_bytes,
        "differences": list(kept.differences),
        "corals": None if kept.doses is None else [as_json(DOSE, dose) for dose in kept.doses],
    }


def keep_sentence(kept: Keeping) -> str:
    """What was kept, and what changed, in one line."""
    typed = typed_path(kept.setup)
    if kept.state is None:
        assert kept.before is not None
        return f"Nothing differs from the state of {kept.before.date}: nothing was kept."
    stored = f"{count(kept.stored, 'file')}, {_size(kept.n_bytes)}"
    name = kept.state.name
    if kept.before is None:
        return (
            f"Kept {name}, the first state: {stored}. Next: lightdose note {typed} "
            '--coral NAME --kind colour --value 4, and "lightdose keep" after each change.'
        )
    differences = "; ".join(kept.differences) or "no change that counts for light"
    return f"Kept {name} ({stored}): {differences}. {dose_sentence(kept.doses)}"


def dose_sentence(doses: Sequence[DoseChange] | None) -> str:
    """What a change did to the corals' light, in a sentence."""
    if doses is None:
        return "Its light cannot be computed yet: lightdose check tells why."
    if not doses:
        return "No coral stands in both states."
    changed = [d for d in doses if d.ratio is None or abs(d.ratio - 1) >= SAME]
    if not changed:
        return "No coral's dose changes."
    ratios = sorted(d.ratio for d in changed if d.ratio is not None)
    most = max(changed, key=lambda d: max(d.ratio or 1e9, 1 / d.ratio if d.ratio else 1e9))
    who = listed([most.coral], 1)
    if len(changed) == 1:
        return f"{who} gets {percent_change(most.ratio) if most.ratio else 'light at last'}."
    span = f"{percent_change(ratios[0])} to {percent_change(ratios[-1])}" if ratios else "light at last"
    if ratios and percent_change(ratios[0]) == percent_change(ratios[-1]):
        span = percent_change(ratios[0])
    return f"{len(changed)} of {count(len(doses), 'coral')} get {span}, most of all {who}."


def unknown_sentences(unknown: Sequence[KeptState]) -> list[str]:
    """Which states of the last days could not be compared with what was taken over."""
    if not unknown:
        return []
    names = listed(dict.fromkeys(state.name for state in unknown))
    return [f"Not checked against the light of {names}: it cannot be computed, or not compared."]


def _size(n_bytes: int) -> str:
    return f"{n_bytes} bytes" if n_bytes < 1000 else f"{n_bytes / 1000:.1f} kB"


def restore_answer(state: KeptState, written: Path, named: Sequence[str]) -> Answer:
    """Where a state was written; ``named`` are files that the setup names by their full paths."""
    typed = as_typed(str(written))
    words = f"Wrote the {count(len(state.files), 'file')} of {state.name} as they were."
    if named:
        words += (
            f" Its setup names {listed(named)} by the full path, so there the file of that path is read, "
            "not the kept one."
        )
    return Answer(
        "keep",
        (Say(words, "strong"), Say(f"Next: lightdose dose {typed}", "verdict")),
        lambda: {"restored": as_json(STATE, state), "file": str(written.absolute())},
    )
