"""A kept state read in the place of a setup: `my-tank/setup.toml@2026-03-14`."""

from __future__ import annotations

import os
import re
from pathlib import Path
from typing import Final

from lightdose.errors import Place, Problem
from lightdose.files.diary_states import changed_problem, diary_folder, read_states, state_named
from lightdose.files.input_files import InputFiles
from lightdose.files.toml_tables import show
from lightdose.model.diary import KeptState

_KEPT: Final = re.compile(r"(?P<path>.+)@(?P<word>[0-9][0-9./-]*)")


def kept_words(path: str) -> tuple[str, str] | None:
    """Setup and date of "SETUP@DATE"; None for any other path, and for a file that has such a name."""
    match = _KEPT.fullmatch(path)
    if match is None or os.path.lexists(path):
        return None
    setup = match["path"]
    if os.path.isdir(setup):
        setup = os.path.join(setup, "setup.toml")
    return setup, match["word"]


class KeptFiles(InputFiles):
    """The files of a kept state: each is looked for where the setup named it, and read where it is kept."""

    def __init__(self, folder: Path, state: KeptState) -> None:
        super().__init__()
        self.folder, self.state = folder, state
        self.kept = {f.file: f for f in state.files}
        self.home = str(folder.parent)
        self.origin: dict[str, str] = {}

    def setup_file(self) -> Path | None:
        """The setup of the state."""
        return self._kept(self.state.files[0].file, self.state.files[0].file, None)

    def find(self, named: str, place: Place | None, *, beside: str = "", setup: bool = False) -> Path | None:
        """The kept file that ``named`` meant, seen from the kept file ``beside``; other files as they are."""
        if beside not in self.origin:
            return super().find(named, place, beside=beside, setup=setup)
        path = os.path.join(self.home, os.path.dirname(self.origin[beside]), named)
        try:
            seen = os.path.relpath(path, self.home).replace(os.sep, "/")
        except ValueError:
            seen = named.replace(os.sep, "/")
        return self._kept(seen, named, place)

    def _kept(self, seen: str, named: str, place: Place | None) -> Path | None:
        file = self.kept.get(seen)
        if file is None:
            problem = Problem(f"the state of {self.state.date} does not hold {show(named)}")
            self.problems.append(problem.at(place) if place else problem)
            return None
        stored = self.folder.joinpath(*file.kept_as.split("/"))
        found = super().find(str(stored), place)
        if found is not None and self.sha256.get(os.path.abspath(found)) != file.sha256:
            self.problems.append(changed_problem(stored))
            return None
        if found is not None:
            self.origin[str(found)] = seen
        return found


def kept_files(setup: str, word: str) -> KeptFiles:
    """The files of the state that stands on a day; SetupError where none does."""
    folder = diary_folder(setup)
    state = state_named(read_states(folder)[0], word, folder)
    files = KeptFiles(folder, state)
    if word not in (state.date, state.name):
        files.understood.append(f"{folder}: the state of {state.date} stands on {word}")
    return files
