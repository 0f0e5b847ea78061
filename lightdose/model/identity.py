"""What identifies a run: the program, and a digest of all in a setup that any number hangs on."""

from __future__ import annotations

import dataclasses
import hashlib
from collections.abc import Iterator, Mapping
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
    digest = hashlib.sha256()
    for part in _parts(setup):
        digest.update(part.encode("utf-8", "surrogatepass"))
        digest.update(b"\0")
    return digest.hexdigest()


def _parts(value: Any) -> Iterator[str]:
    """A value as texts that tell it apart from any other."""
    if isinstance(value, np.ndarray):
        yield f"array {value.shape} {(value + 0.0).astype('<f8').tobytes().hex()}"
    elif isinstance(value, bool | str) or value is None:
        yield f"{type(value).__name__} {value}"
    elif isinstance(value, int | float):
        yield f"number {(float(value) + 0.0).hex()}"
    elif isinstance(value, Mapping):
        yield f"mapping {len(value)}"
        for key in sorted(value, key=str):
            yield str(key)
            yield from _parts(value[key])
    elif isinstance(value, tuple | list):
        yield f"several {len(value)}"
        for one in value:
            yield from _parts(one)
    else:
        yield from _record(value)


def _record(value: Any) -> Iterator[str]:
    kind = type(value).__name__
    yield f"record {kind}"
    for field in dataclasses.fields(value):
        named_after_file = field.name == "name" and kind in _NAMED_AFTER_FILES
        if field.name not in _NOTHING_HANGS_ON and not named_after_file:
            yield field.name
            yield from _parts(getattr(value, field.name))
