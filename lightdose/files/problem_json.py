"""Problems as JSON: of one setup for `check`, of those among many that could not be computed."""

from __future__ import annotations

import os
from collections.abc import Sequence
from typing import Any

from lightdose.errors import Problem


def problems_json(problems: Sequence[Problem]) -> list[dict[str, Any]]:
    """Each problem with its place, every file absolute; null where something is not known."""
    return [_entry(p) for p in problems]


def _entry(problem: Problem) -> dict[str, str | int | None]:
    place = problem.place
    return {
        "file": os.path.abspath(place.file) if place else None,
        "line": place.line or None if place else None,
        "column": place.column or None if place else None,
        "found": problem.found,
        "allowed": problem.allowed,
        "cure": problem.cure,
    }
