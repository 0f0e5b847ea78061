"""File names made from the names of fixtures and sites, safe on every system."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Final

_LONGEST: Final = 60
_RESERVED: Final = frozenset(
    {
        "con",
        "prn",
        "aux",
        "nul",
        *(f"{port}{n}" for port in ("com", "lpt") for n in "123456789\u00b9\u00b2\u00b3"),
    }
)
"""Names that Windows keeps for devices. Source: Microsoft, "Naming Files, Paths, and Namespaces"."""


def file_names(names: Sequence[str], suffix: str) -> list[str]:
    """One file name for each name, all different, also where capitals do not count."""
    taken: set[str] = set()
    made = []
    for name in names:
        # \w keeps letters of every script; all else, path separators included, becomes a hyphen.
        stem = re.sub(r"[^\w.]+", "-", name).strip("-.")[:_LONGEST].rstrip("-.") or "unnamed"
        head, dot, rest = stem.partition(".")
        if head.lower() in _RESERVED:  # a device whatever follows the first dot
            stem = f"{head}-1{dot}{rest}"
        trial, turn = stem, 2
        while trial.lower() in taken:
            trial, turn = f"{stem}-{turn}", turn + 1
        taken.add(trial.lower())
        made.append(trial + suffix)
    return made
