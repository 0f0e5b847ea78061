"""Levels, hours and written files in words: as a controller shows them, and how to try what was written."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from lightdose.answers.words import as_typed, literal
from lightdose.model.setup import Setup


def percent_text(percent: float) -> str:
    """A level in percent as a controller shows it: to a tenth."""
    return f"{percent:.1f}".removesuffix(".0")


def span_of_hours(value: float) -> str:
    """Hours and minutes of a part of the day, such as "3:30 h"."""
    minutes = round(60 * value)
    return f"{minutes // 60}:{minutes % 60:02d} h"


def typed_path(setup: Setup) -> str:
    """The setup's file as it is typed in a command."""
    return as_typed(setup.path or "setup.toml")


def path_from(setup: Setup, file: Path) -> str:
    """A file as the setup must name it: paths there start from the setup's own folder."""
    try:
        relative = os.path.relpath(file, os.path.dirname(os.path.abspath(setup.path)))
    except ValueError:  # another drive
        relative = os.path.abspath(file)
    return relative.replace(os.sep, "/")


def schedule_json(fixture: str, file: Path | None) -> dict[str, Any]:
    """A fixture and its schedule; null where none was written."""
    return {"fixture": fixture, "file": None if file is None else str(file.absolute())}


def try_schedules(setup: Setup, files: Mapping[str, Path], *, in_steps: bool = False) -> str:
    """The command that tries schedules by fixture, or goes there in steps where the change is too big.

    One schedule for the only fixture goes into the command; several are named in the setup first.
    """
    path, typed = setup.path or "setup.toml", typed_path(setup)
    if len(files) == len(setup.fixtures) == 1:
        schedule = f"--schedule {as_typed(str(next(iter(files.values()))))}"
        if in_steps:
            return f"lightdose acclimate {typed} {typed} {schedule} -o steps"
        return f"lightdose dose {typed} {schedule}"
    named = ", ".join(
        f'schedule = "{path_from(setup, file)}" under fixture "{literal(name)}"'
        for name, file in files.items()
    )
    if in_steps:
        return f"in a copy of {path} set {named}; then lightdose acclimate {typed} COPY -o steps"
    return f"in {path} set {named}; then lightdose dose {typed}"
