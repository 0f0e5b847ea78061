"""Files on their way: each is written beside its place first, and several take their places together.

A process may be killed at any moment. What it leaves is told apart from the files of one that still runs by a
lock, which the system frees with the process. Whoever writes into the folder next takes it away, or, where
all files of a result were whole and only some had their names, gives the rest theirs: old and new are never
mixed. A place that somebody changed in between keeps what is there.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import shutil
import stat
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO, Final, NamedTuple

_TEMPORARY: Final = re.compile(r"\.lightdose-([0-9a-f]{12})(-[0-9]+)?\.tmp")
_NOTE: Final = re.compile(r"\.lightdose-([0-9a-f]{12})\.note")
_BINARY: Final = getattr(os, "O_BINARY", 0)
NOT_OPEN: Final = -1


def taken(descriptor: int) -> bool:
    """Take the lock of an open file; False where another process has it."""
    if os.name == "nt":
        import msvcrt

        try:
            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]
        except OSError:
            return False
        return True
    import fcntl

    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True


def new_name() -> str:
    """A name for what is not finished, which no other process takes."""
    return f".lightdose-{os.urandom(6).hex()}"


def _opened(path: Path) -> int:
    """A new file that is ours: locked, and still there once it is."""
    while True:
        descriptor = os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL | _BINARY, 0o666)
        with suppress(OSError):  # a system without locks: what a killed run leaves there stays
            taken(descriptor)
        try:
            if os.path.samestat(os.fstat(descriptor), os.stat(path)):
                return descriptor
        except FileNotFoundError:  # another process took it for a dead one's, before it was locked
            pass
        os.close(descriptor)


class _Result(NamedTuple):
    """A whole file and where it goes."""

    temporary: Path
    target: Path


class Together:
    """Files that take their places together."""

    def __init__(self) -> None:
        self._notes: dict[Path, tuple[Path, int]] = {}
        self._results: list[_Result] = []

    @contextmanager
    def writing(self, target: Path) -> Iterator[BinaryIO]:
        """Write the file that will stand at ``target``; OSError as the system tells it."""
        folder = target.parent
        if folder not in self._notes:
            clear_unfinished(folder)
            note = folder / f"{new_name()}.note"
            self._notes[folder] = note, NOT_OPEN  # a signal may come before the next line has ended
            self._notes[folder] = note, _opened(note)
        stem = self._notes[folder][0].name.removesuffix(".note")
        temporary = folder / f"{stem}-{len(self._results)}.tmp"
        self._results.append(_Result(temporary, target))
        try:
            descriptor = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL | _BINARY, 0o666)
        except OSError:
            self._results.pop()
            raise
        with open(descriptor, "wb") as stream:
            yield stream
            stream.flush()
            os.fsync(descriptor)

    def finish(self) -> None:
        """Give every file its place; where one cannot take it, all old ones come back."""
        before = {result.target: _content(result.target) for result in self._results}
        for folder, (_, descriptor) in self._notes.items():
            own = [r for r in self._results if r.target.parent == folder]
            rows = [[r.temporary.name, r.target.name, _mark(before[r.target])] for r in own]
            os.write(descriptor, json.dumps(rows).encode())
            os.fsync(descriptor)
        done = []
        try:
            for result in self._results:
                _take_place(result.temporary, result.target)
                done.append(result.target)
        except BaseException:
            for target in done:
                _put_back(target, before[target])
            raise
        for folder in self._notes:
            _sync(folder)
        self.drop()

    def drop(self) -> None:
        """Take away what has not got its place."""
        for result in self._results:
            with suppress(OSError):
                result.temporary.unlink()
        for note, descriptor in self._notes.values():
            _remove_open(note, descriptor)
        self._results, self._notes = [], {}


@contextmanager
def one_file(target: Path) -> Iterator[BinaryIO]:
    """Write a file that takes its place once it is whole; OSError as the system tells it."""
    clear_unfinished(target.parent)
    temporary, descriptor = target.parent / f"{new_name()}.tmp", NOT_OPEN
    try:
        descriptor = _opened(temporary)
        with open(descriptor, "wb", closefd=os.name == "nt") as stream:
            yield stream
            stream.flush()
            os.fsync(descriptor)
        _take_place(temporary, target)
    except BaseException:  # Ctrl-C too: no temporary file stays behind
        with suppress(OSError):
            temporary.unlink()
        raise
    finally:
        if os.name != "nt" and descriptor != NOT_OPEN:
            os.close(descriptor)
    _sync(target.parent)


def clear_unfinished(folder: Path) -> None:
    """Finish or take away what killed runs left in a folder; what another process is writing stays."""
    try:
        names = [entry.name for entry in os.scandir(folder) if entry.name.startswith(".lightdose-")]
    except OSError:
        return
    noted = set()
    for note in filter(_NOTE.fullmatch, names):
        descriptor = _orphan(folder / note)
        if descriptor is None:
            noted.add(note.removesuffix(".note"))
        else:
            _finish(folder, note, descriptor)
    for name in names:
        form = _TEMPORARY.fullmatch(name)
        if form is None or f".lightdose-{form[1]}" in noted:
            continue
        with suppress(OSError):
            if os.path.isdir(folder / name):
                continue
            if form[2]:
                os.unlink(folder / name)
            elif (descriptor := _orphan(folder / name)) is not None:
                _remove_open(folder / name, descriptor)


def clear_folders(folder: Path) -> None:
    """The same, and unfinished folders too: where only who holds a lock makes them."""
    clear_unfinished(folder)
    with suppress(OSError):
        for entry in os.scandir(folder):
            if _TEMPORARY.fullmatch(entry.name) and entry.is_dir(follow_symlinks=False):
                shutil.rmtree(entry.path, ignore_errors=True)


def _orphan(path: Path) -> int | None:
    """A file whose process is gone, opened and locked; None for any other."""
    flags = os.O_RDWR | _BINARY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)
    try:
        descriptor = os.open(path, flags)
    except OSError:
        return None
    try:
        if stat.S_ISREG(os.fstat(descriptor).st_mode) and taken(descriptor):
            return descriptor
    except OSError:
        pass
    os.close(descriptor)
    return None


def _finish(folder: Path, note: str, descriptor: int) -> None:
    """Give files of a killed run the places that its note names, where nobody changed what is there."""
    try:
        rows = json.loads(os.read(descriptor, 10_000_000))
    except (OSError, ValueError, RecursionError):
        rows = []  # its files were not all whole
    for row in rows if isinstance(rows, list) else ():
        if not (isinstance(row, list) and len(row) == 3 and all(isinstance(cell, str) for cell in row)):
            continue
        temporary, target, mark = row
        form = _TEMPORARY.fullmatch(temporary)
        plain = os.path.basename(target) == target and not target.startswith(".lightdose-")
        if form is None or form[1] not in note or not plain:
            continue
        with suppress(OSError):
            if _mark(_content(folder / target)) == mark:
                os.replace(folder / temporary, folder / target)
    _remove_open(folder / note, descriptor)


def _remove_open(path: Path, descriptor: int) -> None:
    if os.name == "nt" and descriptor != NOT_OPEN:  # an open file cannot be removed there
        os.close(descriptor)
    with suppress(OSError):
        path.unlink()
    if os.name != "nt" and descriptor != NOT_OPEN:
        os.close(descriptor)


def _take_place(temporary: Path, target: Path) -> None:
    if os.path.exists(target):
        os.chmod(temporary, stat.S_IMODE(target.stat().st_mode))
    os.replace(temporary, target)


def _put_back(target: Path, content: bytes | None) -> None:
    with suppress(OSError):
        if content is None:
            target.unlink()
        else:
            with one_file(target) as stream:
                stream.write(content)


def _content(target: Path) -> bytes | None:
    try:
        return target.read_bytes()
    except FileNotFoundError:
        return None


def _mark(content: bytes | None) -> str:
    return "" if content is None else hashlib.sha256(content).hexdigest()


def _sync(folder: Path) -> None:
    """Make a new name survive a power cut, where the system can (not on Windows)."""
    with suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
