"""Arrays of records: read-only, and numpy's slow starters without them. ``dataclass`` makes the records."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from lightdose.frozen import dataclass as dataclass

FloatArray = npt.NDArray[np.float64]


def read_only(values: npt.ArrayLike) -> FloatArray:
    """A contiguous float64 copy of ``values`` that nobody can write to."""
    array = np.array(values, dtype=np.float64, order="C")
    array.setflags(write=False)
    return array


# numpy's own unique and quantile load its masked arrays on first use: 8 ms of a command's start.


def distinct(values: npt.ArrayLike) -> FloatArray:
    """The values once each, ascending, flattened."""
    ordered = np.sort(np.asarray(values, dtype=np.float64), axis=None)
    first = np.ones(ordered.size, dtype=bool)
    first[1:] = ordered[1:] != ordered[:-1]
    return ordered[first]


def quantiles(values: FloatArray, shares: Sequence[float]) -> FloatArray:
    """Quantiles along the last axis, linear between values, shape (..., n_share)."""
    position = np.multiply(shares, values.shape[-1] - 1)
    below = np.minimum(position.astype(np.intp), values.shape[-1] - 2)
    ordered = np.partition(values, (*below, *(below + 1)), axis=-1)
    low, high = ordered[..., below], ordered[..., below + 1]
    return np.asarray(low + (position - below) * (high - low))
