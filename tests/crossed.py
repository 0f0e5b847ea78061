"""Pairs of two lists: in every run some, so that each row and column has its turn; all with `-m slow`."""

from __future__ import annotations

from collections.abc import Iterable

import pytest


def crossed(rows: Iterable[object], columns: Iterable[object], one_in: int) -> list[object]:
    """Every pair as a parameter.

    Each row meets about one column in ``one_in`` in every run, and the rest where slow checks are asked for.
    Breadth costs time: by default the suite keeps each row and each column, with `-m slow` all pairs.
    """
    along = list(columns)
    return [
        pytest.param(row, column, marks=() if (i + j) % one_in == 0 else (pytest.mark.slow,))
        for i, row in enumerate(rows)
        for j, column in enumerate(along)
    ]
