"""The program that runs: its version, the libraries that compute numbers, and the data that it ships."""

from __future__ import annotations

import hashlib
import sys
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import Final

from lightdose import __version__
from lightdose.files.library import data_file, version_of
from lightdose.model.identity import Program

COMPUTE: Final = {"numpy": "numpy", "scipy": "scipy", "colour-science": "colour"}
"""Libraries whose version may move a digit, and the package by which each is imported."""


@cache
def libraries() -> dict[str, str]:
    """Python and the libraries that compute numbers, name -> version."""
    python = ".".join(map(str, sys.version_info[:3]))
    return {"python": python, **{name: _version(name, package) for name, package in COMPUTE.items()}}


def _version(name: str, package: str) -> str:
    """The version of a library by the folder that installers put beside it: the standard way costs 15 ms."""
    spec = find_spec(package)
    if spec is not None and spec.origin is not None:
        beside = Path(spec.origin).parent.parent.glob(f"{name.replace('-', '_')}-*.dist-info")
        found = [path.name.removesuffix(".dist-info").rpartition("-")[2] for path in beside]
        if len(found) == 1:
            return found[0]
    return version_of(name)


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
