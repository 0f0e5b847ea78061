"""Levels and written schedules in words: as a controller shows them, and how to try what was written."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from lightdose.model.setup import Setup
from lightdose.present.labels import as_typed, literal, path_from


def percent_level(level: float) -> str:
    """A level as a controller shows it: to a tenth of a percent."""
    return f"{100 * level:.1f}".removesuffix(".0")


def schedule_json(fixture: str, file: Path | None) -> dict[str, Any]:
    """A fixture and its schedule; null where none was written."""
    return {"fixture": fixture, "file": None if file is None else str(file.absolute())}


def try_schedules(setup: Setup, files: Mapping[str, Path], *, in_steps: bool = False) -> str:
    """The command that tries schedules by fixture, or goes there in steps where the change is too big.

    One schedule for the only fixture goes into the command; several are named in the setup first.
    """
    path = setup.path or "setup.toml"
    typed = as_typed(path)
    if len(files) == len(setup.fixtures) == 1:
        schedule = f"--schedule {as_typed(str(next(iter(files.values()))))}"
        if in_steps:
            return f"lightdose acclimate {typed} {typed} {schedule} -o steps"
        return f"lightdose dose {typed} {schedule}"
    named = ", ".join(
        f'schedule = "{path_from(path, str(file))}" under fixture "{literal(name)}"'
        for name, file in files.items()
    )
    if in_steps:
        return f"in a copy of {path} set {named}; then lightdose acclimate {typed} COPY -o steps"
    return f"in {path} set {named}; then lightdose dose {typed}"
