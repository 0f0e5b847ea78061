"""The program that runs: its version, the libraries that compute numbers, and the data that it ships."""

from __future__ import annotations

import hashlib
import platform
from functools import cache
from pathlib import Path
from typing import Final

from lightdose import __version__
from lightdose.files.library import data_file, version_of
from lightdose.model.identity import Program

COMPUTE: Final = ("numpy", "scipy", "colour-science")
"""Libraries whose version may move a digit."""


@cache
def libraries() -> dict[str, str]:
    """Python and the libraries that compute numbers, name -> version."""
    return {"python": platform.python_version(), **{name: version_of(name) for name in COMPUTE}}


@cache
def data_sha256() -> str:
    """The sha256 of all shipped data: names and bytes of their files, in order."""
    digest = hashlib.sha256()
    for home in (data_file(), Path(__file__).parent.parent / "data"):
        for path in sorted(p for p in home.rglob("*") if p.suffix in (".csv", ".toml")):
            digest.update(f"{path.relative_to(home).as_posix()}\0".encode())
            digest.update(path.read_bytes())
    return digest.hexdigest()


def this_program() -> Program:
    """The program that runs."""
    return Program(__version__, libraries(), data_sha256())
