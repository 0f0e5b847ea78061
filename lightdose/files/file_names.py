"""File names made from the names of fixtures and sites, safe on every system."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Final

_LONGEST: Final = 60
_RESERVED: Final = frozenset(
    {"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(1, 10))}
)
"""Names that Windows keeps for devices. Source: Microsoft, "Naming Files, Paths, and Namespaces"."""


def file_names(names: Sequence[str], suffix: str) -> list[str]:
    """One file name for each name, all different, also where capitals do not count."""
    taken: set[str] = set()
    made = []
    for name in names:
        # \w keeps letters of every script; all else, path separators included, becomes a hyphen.
        stem = re.sub(r"[^\w.]+", "-", name).strip("-.")[:_LONGEST].rstrip("-.") or "unnamed"
        if stem.split(".")[0].lower() in _RESERVED:
            stem = f"{stem}-1"
        trial, turn = stem, 2
        while trial.lower() in taken:
            trial, turn = f"{stem}-{turn}", turn + 1
        taken.add(trial.lower())
        made.append(trial + suffix)
    return made
