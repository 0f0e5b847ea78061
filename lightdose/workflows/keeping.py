"""Keeping a state, telling what changed, and bringing one back."""

from __future__ import annotations

import os.path
from pathlib import Path

from lightdose.errors import LightdoseError
from lightdose.files.diary_states import (
    diary_folder,
    keep_state,
    read_states,
    restore_state,
    seen_from_home,
    state_named,
)
from lightdose.files.setup_file import read_setup
from lightdose.judge.comparison import coral_differences, setup_differences
from lightdose.model.diary import DoseChange, Keeping, KeptState
from lightdose.model.setup import Setup
from lightdose.workflows.kept_light import KeptLight, KeptSetups


def keep(setup: Setup, date: str, why: str = "") -> Keeping:
    """Keep a setup as the state of a day, and tell what changed since the state before.

    Raises
    ------
    OutputError
        If it cannot be written; then nothing was kept.
    """
    kept = keep_state(setup, date, why)
    if kept.state is None or kept.before is None:
        return Keeping(setup, date, kept.before, kept.state, kept.stored, kept.n_bytes)
    setups = KeptSetups(diary_folder(setup.path))
    before = setups.setup(kept.before)
    differences: tuple[str, ...] = ()
    if before is not None:
        differences = *setup_differences(before, setup, over_time=True), *coral_differences(before, setup)
    doses: tuple[DoseChange, ...] | None = None
    try:
        light = KeptLight(setups, (kept.before, kept.state))
        here, there = light.days(kept.before), light.days(kept.state)
    except LightdoseError:
        pass
    else:
        if not setups.problems:
            doses = tuple(
                DoseChange(name, here[name].dli_mol_m2_d, there[name].dli_mol_m2_d)
                for name in here
                if name in there
            )
    return Keeping(setup, date, kept.before, kept.state, kept.stored, kept.n_bytes, differences, doses)


def restore(path: str, word: str, target: Path) -> tuple[KeptState, Path]:
    """Write the state of a day into a folder; gives the state and its setup file there.

    Today's setup is not read: a broken one is a reason to bring an old one back.
    """
    folder = diary_folder(os.path.join(path, "setup.toml") if os.path.isdir(path) else path)
    states, _ = read_states(folder)
    state = state_named(states, word, folder)
    return state, restore_state(folder, state, target)


def restored_by_full_path(state: KeptState, written: Path) -> list[str]:
    """Files that the restored setup reads elsewhere, because it names them by their full paths."""
    try:
        there = seen_from_home(read_setup(written))
    except LightdoseError:
        return []
    return [file.file for file in state.files if file.file not in there]
