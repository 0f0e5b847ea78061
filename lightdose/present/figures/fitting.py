"""What figures are drawn for: a file of their own or a page, and how wide they are there."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Final

from lightdose.model.record import dataclass


@dataclass(frozen=True)
class Fit:
    """What figures are drawn for: a file of their own, or a page, where they stand beside one another.

    Attributes
    ----------
    narrow : as wide as a telephone: keys and words stand below what they belong to
    map_in : width of a map with its scale
    """

    narrow: bool
    map_in: float


FILES, PAGE, BROAD = Fit(False, 9.0), Fit(True, 3.55), Fit(False, 6.0)
"""Files of their own; pages, whatever the screen; what a page draws anew for wide screens and paper."""

_FIT: Final[ContextVar[Fit]] = ContextVar("fit", default=FILES)


def fit() -> Fit:
    """What figures are drawn for at the moment."""
    return _FIT.get()


@contextmanager
def fitted_to(wanted: Fit) -> Iterator[None]:
    """Draw figures for something else."""
    token = _FIT.set(wanted)
    try:
        yield
    finally:
        _FIT.reset(token)
