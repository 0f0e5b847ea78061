"""Lengths as code tells them: a number of metres, or text with a unit."""

from __future__ import annotations

import math
from typing import Final

from lightdose.errors import Problem, SetupError
from lightdose.files.units import UnitProblem, format_length_exact, parse_length

Length = float | str

HIGHEST_M: Final = 3.0
"""A bare number above it is asked about: it looks like centimetres. Our choice. [m]"""


def metres(length: Length, what: str = "a length") -> float:
    """A length in metres.

    Raises
    ------
    TypeError
        If it is neither a number nor text.
    ValueError
        If it is not finite.
    SetupError
        If text holds no length with a unit, or a bare number looks like centimetres.

    Examples
    --------
    >>> metres("75 cm"), metres(0.75), metres("2 ft")
    (0.75, 0.75, 0.6096)
    """
    try:
        if isinstance(length, str):
            return parse_length(length)
        if isinstance(length, bool):
            raise TypeError
        value = float(length)
    except UnitProblem as trouble:
        problem = trouble.problem
        raise SetupError(Problem(f"{what}: {problem.found}", problem.allowed, problem.cure)) from None
    except (TypeError, ValueError, OverflowError):
        raise TypeError(f'{what}: metres, or text with a unit such as "75 cm", not {length!r}') from None
    if not math.isfinite(value):
        raise ValueError(f"{what}: {value} is not a finite length in metres")
    if abs(value) > HIGHEST_M:
        cure = f'write "{value:g} cm" or "{value:g} m"'
        allowed = f"up to {HIGHEST_M:g} m as a number, or text with a unit"
        raise SetupError(Problem(f"{what}: {value:g} without a unit would be {value:g} m", allowed, cure))
    return value


def length_text(length: Length, what: str) -> str:
    """A length as files write it; raises as ``metres``."""
    return length if isinstance(length, str) else format_length_exact(metres(length, what))
