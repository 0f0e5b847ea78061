"""Which setups are meant: one, several, or every one below a folder; and a name for the files of each."""

from __future__ import annotations

import os
from collections.abc import Sequence

from lightdose.cli.options import stands_for_many
from lightdose.errors import Problem, SetupError
from lightdose.files.writing import file_names

FILE = "setup.toml"


def setup_files(paths: Sequence[str]) -> list[str]:
    """The setups that the paths stand for, in their order, those below a folder sorted; none twice.

    Links to folders and hidden folders are left alone. A folder that cannot be read stands in the list as
    it is, so that reading it tells why.

    Raises
    ------
    SetupError
        If there is no setup below a folder.
    """
    found: dict[str, str] = {}
    empty = []
    for path in paths:
        below = _below(path) if stands_for_many([path]) else [path]
        if not below:
            empty.append(Problem(f"{path}: there is no {FILE} in this folder or below it"))
        for file in below:
            whole = os.path.join(file, FILE) if os.path.isdir(file) and not stands_for_many([file]) else file
            found.setdefault(os.path.abspath(whole), whole)
    if empty:
        raise SetupError(*empty)
    return list(found.values())


def _below(folder: str) -> list[str]:
    found: list[str] = []
    unread: list[str] = []
    for here, folders, files in os.walk(folder, onerror=lambda e: unread.append(str(e.filename))):
        folders[:] = [name for name in folders if not name.startswith(".")]
        if FILE in files:
            found.append(os.path.join(here, FILE))
    return sorted(found + unread, key=lambda file: file.split(os.sep))


def labels(files: Sequence[str]) -> list[str]:
    """For each setup the part of its path that tells it from the others, without ``setup.toml``."""
    whole = [os.path.abspath(file) for file in files]
    whole = [os.path.dirname(file) if os.path.basename(file) == FILE else file for file in whole]
    try:
        common = os.path.commonpath([os.path.dirname(file) for file in whole])
    except ValueError:  # on several drives
        return whole
    return [os.path.relpath(file, common) for file in whole]


def result_names(files: Sequence[str]) -> list[str]:
    """A name for the results of each setup, all different, none of which leads out of its folder."""
    stems = [os.path.splitext(label)[0] if label.endswith(".toml") else label for label in labels(files)]
    return file_names(stems, "")
