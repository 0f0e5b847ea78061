"""What identifies a run: program, libraries, shipped data, each setup as it was computed, draws."""

from __future__ import annotations

import os
from collections.abc import Mapping
from typing import Any, Final

from lightdose.model.identity import Program, digest_of
from lightdose.model.setup import Setup

MOST_STEPS_UP: Final = 2
"""Files further above a setup are named alone: their way would tell of the computer. Our choice."""


def program_json(program: Program) -> dict[str, Any]:
    """The program in JSON."""
    return {
        "version": program.version,
        "libraries": dict(program.libraries),
        "data_sha256": program.data_sha256,
    }


def provenance(
    program: Program, setups: tuple[Setup, ...], inputs: Mapping[str, str], drawn: tuple[int, int] | None
) -> dict[str, Any]:
    """All that identifies a run, in JSON.

    Parameters
    ----------
    setups : that it was computed from
    inputs : files besides theirs, with their sha256
    drawn : seed and number of draws; None where nothing was drawn
    """
    home = os.path.dirname(os.path.abspath(setups[0].path)) if setups and setups[0].path else ""
    return {
        **program_json(program),
        "seed": drawn and drawn[0],
        "draws": drawn and drawn[1],
        "setups": [setup_json(setup) for setup in setups],
        "inputs_sha256": {named(path, home): digest for path, digest in inputs.items()},
    }


def setup_json(setup: Setup) -> dict[str, Any]:
    """A setup in JSON: ``sha256`` is of what was computed, edits, variations and calibration included."""
    return {
        "file": os.path.basename(setup.path) or None,
        "sha256": digest_of(setup),
        "inputs_sha256": inputs_named(setup),
    }


def inputs_named(setup: Setup) -> dict[str, str]:
    """The files that a setup was read from, as it names them, with their sha256."""
    home = os.path.dirname(os.path.abspath(setup.path)) if setup.path else ""
    return {named(path, home): digest for path, digest in setup.inputs_sha256.items()}


def named(path: str, home: str) -> str:
    """A file as a setup in ``home`` names it; without the way there where that leads far away."""
    if not os.path.isabs(path):
        return path
    if not home:
        return os.path.basename(path)
    try:
        seen = os.path.relpath(path, home).replace(os.sep, "/")
    except ValueError:  # on another drive
        return os.path.basename(path)
    return seen if seen.count("../") <= MOST_STEPS_UP else os.path.basename(path)
