"""One desk a folder: the second is told where the first is open."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path
from typing import Final

from lightdose.errors import OutputError, Place, Problem
from lightdose.files.unfinished import taken
from lightdose.files.writing import write_problem

NAME: Final = ".lightdose-desk.lock"


class Hold:
    """Holds a folder for as long as this process lives; the system frees what a dead one held.

    Raises
    ------
    OutputError
        If another desk holds it.
    """

    def __init__(self, folder: Path, address: str) -> None:
        self._path = folder / NAME
        self._descriptor: int | None = None
        if not folder.is_dir():
            return  # a new tank: its folder is made when it is saved
        try:
            descriptor = os.open(self._path, os.O_RDWR | os.O_CREAT, 0o600)
        except OSError as cause:
            if isinstance(cause, PermissionError):
                return  # a folder that nobody writes in needs no hold: saving will tell
            raise OutputError(write_problem(cause, self._path)) from cause
        if not taken(descriptor):
            with suppress(OSError):
                os.lseek(descriptor, 1, os.SEEK_SET)
                address = os.read(descriptor, 200).decode("ascii", "replace").strip()
            os.close(descriptor)
            found = f"a desk is open on this folder already: {address}"
            cure = "go on there (its page is still open in a browser), or end it with Ctrl-C"
            raise OutputError(Problem(found, cure=cure, place=Place(str(folder))))
        os.ftruncate(descriptor, 0)
        os.write(descriptor, f"\n{address}\n".encode("ascii"))
        self._descriptor = descriptor

    def release(self) -> None:
        """Let go."""
        if self._descriptor is None:
            return
        with suppress(OSError):
            self._path.unlink()
        os.close(self._descriptor)
        self._descriptor = None
