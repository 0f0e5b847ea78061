"""What identifies a run: the program, and a digest of all in a setup that any number hangs on."""

from __future__ import annotations

import dataclasses
import hashlib
from collections.abc import Mapping
from functools import cache
from typing import Any, Final

import numpy as np

from lightdose.model.record import dataclass

_NOTHING_HANGS_ON: Final = frozenset(
    (
        *(
            "title",
            "path",
            "understood",
            "inputs_sha256",
            "measured",
            "length_unit",
            "place",
            "notes",
            "origin",
        ),
        *("aperture_place", "source_file", "file", "rack", "earlier", "cautions"),
        *("group_sources", "sources", "ek_source", "note", "look", "names", "floor_harm"),
    )
)
"""Fields in which two setups may differ and still give the same numbers."""
_NAMED_AFTER_FILES: Final = frozenset(("SpectralDistribution", "SpectralTable"))


@dataclass(frozen=True)
class Program:
    """The program that runs.

    Attributes
    ----------
    version : of lightdose
    libraries : of Python and of what computes numbers, name -> version
    data_sha256 : of all shipped data
    """

    version: str
    libraries: Mapping[str, str] = dataclasses.field(default_factory=dict)
    data_sha256: str = ""


def digest_of(setup: object) -> str:
    """The sha256 of a setup as it is computed: files, edits in code, variations and calibration.

    A setup that is saved and read back has the same digest.
    """
    told: list[str] = []
    _tell(setup, told)
    return hashlib.sha256("\0".join([*told, ""]).encode("utf-8", "surrogatepass")).hexdigest()


def _tell(value: Any, told: list[str]) -> None:
    """A value as texts that tell it apart from any other."""
    if isinstance(value, str | bool) or value is None:
        told.append(f"{type(value).__name__} {value}")
    elif isinstance(value, int | float):
        told.append(f"number {(float(value) + 0.0).hex()}")
    elif isinstance(value, np.ndarray):
        told.append(f"array {value.shape} {(value + 0.0).astype('<f8').tobytes().hex()}")
    elif isinstance(value, Mapping):
        told.append(f"mapping {len(value)}")
        for key in sorted(value, key=str):
            told.append(str(key))
            _tell(value[key], told)
    elif isinstance(value, tuple | list):
        told.append(f"several {len(value)}")
        for one in value:
            _tell(one, told)
    else:
        kind: Any = type(value)
        told.append(f"record {kind.__name__}")
        for name in _fields_of(kind):
            told.append(name)
            _tell(getattr(value, name), told)


@cache
def _fields_of(kind: type) -> tuple[str, ...]:
    """The fields of a record on which a number hangs."""
    nothing = _NOTHING_HANGS_ON | ({"name"} if kind.__name__ in _NAMED_AFTER_FILES else set())
    return tuple(f.name for f in dataclasses.fields(kind) if f.name not in nothing)
