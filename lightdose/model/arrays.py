"""Read-only float arrays, the only array type that records hold."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]


def read_only(values: npt.ArrayLike) -> FloatArray:
    """A contiguous float64 copy of ``values`` that nobody can write to."""
    array = np.array(values, dtype=np.float64, order="C")
    array.setflags(write=False)
    return array
