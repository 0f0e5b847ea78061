"""Writing files: whole or not at all, under safe names.

The new content goes to a temporary file in the same folder and takes the old file's place in one step;
whatever stops it, the old file stays as it was. Files that belong together are all written before the first
takes its place (``together``).
"""

from __future__ import annotations

import errno
import os
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from contextvars import ContextVar
from pathlib import Path
from typing import Any, BinaryIO, Final

from lightdose.errors import OutputError, Place, Problem
from lightdose.files.unfinished import Together, one_file

_LONGEST: Final = 60
_RESERVED: Final = frozenset(
    {
        "con",
        "prn",
        "aux",
        "nul",
        *(f"{port}{n}" for port in ("com", "lpt") for n in "123456789\u00b9\u00b2\u00b3"),
    }
)
"""Names that Windows keeps for devices. Source: Microsoft, "Naming Files, Paths, and Namespaces"."""


def file_names(names: Sequence[str], suffix: str) -> list[str]:
    """One file name for each name, all different, also where capitals do not count."""
    taken: set[str] = set()
    made = []
    for name in names:
        # \w keeps letters of every script; all else, path separators included, becomes a hyphen.
        stem = re.sub(r"[^\w.]+", "-", name).strip("-.")[:_LONGEST].rstrip("-.") or "unnamed"
        head, dot, rest = stem.partition(".")
        if head.lower() in _RESERVED:  # a device whatever follows the first dot
            stem = f"{head}-1{dot}{rest}"
        trial, turn = stem, 2
        while trial.lower() in taken:
            trial, turn = f"{stem}-{turn}", turn + 1
        taken.add(trial.lower())
        made.append(trial + suffix)
    return made


def write_atomically(
    path: Path, data: bytes | str, *, inputs: Iterable[Path] = (), only_own: bool = False
) -> str:
    """Write ``data`` (text as UTF-8, line ends untouched) in one step and say what was written.

    Missing folders are made. A link is followed: the file behind it is replaced, the link stays.

    Parameters
    ----------
    path : where to write
    data : bytes or text
    inputs : files that this run has read, which are never overwritten
    only_own : whether a file that lightdose did not write is refused too, but for a table of these columns

    Returns
    -------
    str
        Name and size, such as "out.csv, 12.4 kB".

    Raises
    ------
    OutputError
        If the target is an input, a folder, write-protected or in use, or the disk is full.
    """
    content = _bytes_of(data) if isinstance(data, str) else data
    target = Path(os.path.realpath(path))
    _check_target(path, target, inputs, _kind_of(content))
    if only_own:
        _check_own(path, target, content)
    try:
        if is_device(path):
            path.write_bytes(content)
        else:
            target.parent.mkdir(parents=True, exist_ok=True)
            batch = _BATCH.get()
            with one_file(target) if batch is None else batch.files.writing(target) as stream:
                stream.write(content)
    except OSError as cause:
        raise OutputError(write_problem(cause, path)) from cause
    return f"{path}, {format_size(len(content))}"


def _bytes_of(text: str) -> bytes:
    """Text as UTF-8; what a folder's name holds besides letters is escaped."""
    return text.encode("utf-8", "backslashreplace")


class _Batch:
    """Files on their way together, and what is told once they are there."""

    def __init__(self) -> None:
        self.files = Together()
        self.tells: list[Callable[[], None]] = []


_BATCH: Final[ContextVar[_Batch | None]] = ContextVar("_BATCH", default=None)


@contextmanager
def together() -> Iterator[None]:
    """All that ``write_atomically`` writes within takes its place at the end, or nothing does.

    Raises
    ------
    OutputError
        Where a file cannot take its place: the others are as they were.
    """
    if _BATCH.get() is not None:
        yield  # part of a larger whole
        return
    batch = _Batch()
    token = _BATCH.set(batch)
    try:
        yield
        try:
            batch.files.finish()
        except OSError as cause:
            raise OutputError(write_problem(cause, Path(cause.filename2 or cause.filename or ""))) from cause
    finally:
        _BATCH.reset(token)
        batch.files.drop()
    for tell in batch.tells:
        tell()


def once_written(tell: Callable[[], None]) -> None:
    """Tell of a file at once, or, within ``together``, once it has taken its place."""
    batch = _BATCH.get()
    if batch is None:
        tell()
    else:
        batch.tells.append(tell)


def output_target(path: str, default_name: str) -> Path:
    """The file that ``-o path`` means: an existing folder or a name without suffix is a folder."""
    target = Path(path)
    is_folder = os.path.isdir(target) or not target.suffix or path.endswith(("/", os.sep))
    return target / default_name if is_folder and not is_device(target) else target


def page_target(path: str, default_name: str, endings: Sequence[str] = (".html", ".htm")) -> Path:
    """The file that ``-o path`` means for a page of one of these kinds, as ``output_target``.

    Raises
    ------
    OutputError
        Where its name has another ending: nobody looks for a page under it.
    """
    target = output_target(path, default_name)
    if target.suffix.lower() in endings or is_device(target):
        return target
    kinds = " or ".join(ending for ending in endings if ending != ".htm")
    raise OutputError(
        Problem(
            "is no name for a page", f"a name that ends in {kinds}, or a folder", place=Place(str(target))
        )
    )


def is_device(path: Path) -> bool:
    """Whether a pipe or device stands there, such as /dev/stdout, which is written into, not replaced."""
    return os.path.exists(path) and not os.path.isfile(path) and not os.path.isdir(path)


def format_size(n_bytes: int) -> str:
    """A size for people: "812 bytes", "12.4 kB", "3.1 MB" (powers of ten)."""
    if n_bytes < 1000:
        return f"{n_bytes} bytes"
    if n_bytes < 999_950:
        return f"{n_bytes / 1e3:.1f} kB"
    return f"{n_bytes / 1e6:.1f} MB"


_KIND: Final = re.compile(rb"""^[ \t]*format[ \t]*=[ \t]*["']lightdose-([a-z-]+)/""", re.MULTILINE)
_KIND_STANDS_IN: Final = 65_536
"""Letters at the start of a file among which its format is looked for; our choice."""


def _kind_of(content: bytes) -> bytes:
    """What kind of file for people to edit this is, such as "setup"; nothing for results."""
    found = _KIND.search(content[:_KIND_STANDS_IN])
    return found[1] if found else b""


def _check_target(path: Path, target: Path, inputs: Iterable[Path], kind: bytes = b"") -> None:
    place = Place(str(path))
    if os.path.isdir(target):
        raise OutputError(Problem("is a folder, so no file can be written there", place=place))
    for source in inputs:
        if _same_file(target, source):
            raise OutputError(
                Problem(
                    "is an input of this run and is never overwritten",
                    cure="choose another name for the result",
                    place=place,
                )
            )
    # A rename would replace a write-protected file, because it only asks the folder for permission.
    if os.path.isfile(target) and not (target.stat().st_mode & 0o222 and os.access(target, os.W_OK)):
        raise OutputError(
            Problem(
                "is write-protected; it was left as it is",
                cure="choose another name, or allow writing to this file",
                place=place,
            )
        )
    if os.path.isfile(target):
        with target.open("rb") as stream:
            there = _kind_of(stream.read(_KIND_STANDS_IN))
        if there and there != kind:
            found = f"holds a {there.decode()} of yours, and no result takes its place"
            raise OutputError(Problem(found, cure="choose another name for the result", place=place))


_MARK: Final = re.compile(
    rb'<meta name="generator" content="lightdose">|<dc:title>lightdose</dc:title>|Software\0lightdose'
    rb'|/Creator \(lightdose\)|^format = "lightdose-calibration/',
    re.MULTILINE,
)
"""What stands in our pages, pictures, sheets of paper and calibrations; a keeper writes none of it."""


def _check_own(path: Path, target: Path, content: bytes) -> None:
    """Refuse what lightdose did not write and is no table of the same columns; an empty file may go."""
    if not os.path.isfile(target) or not (size := target.stat().st_size):
        return
    with target.open("rb") as stream:
        head = stream.read(_KIND_STANDS_IN)
        stream.seek(max(0, size - _KIND_STANDS_IN))
        tail = stream.read()
    columns = _columns(head)
    same = columns and columns == _columns(content[:_KIND_STANDS_IN])
    if same or _MARK.search(head) or _MARK.search(tail):
        return
    schema = _schema_at(target if path.name.endswith(SCHEMA) else target.with_suffix(SCHEMA))
    if schema is not None and (path.name.endswith(SCHEMA) or columns == _named_in(schema)):
        return
    if size == len(content) and target.read_bytes() == content:
        return
    raise OutputError(
        Problem(
            "is there already, lightdose did not write it, and it holds something else; it was left as it is",
            cure="choose another name for the result, or add --replace",
            place=Place(str(path)),
        )
    )


def _columns(head: bytes) -> list[str]:
    """The columns that the first line of a CSV names; none where it names only one, or is no such line."""
    import csv

    line = head.partition(b"\n")[0].decode("utf-8-sig", "replace").rstrip("\r")
    if len(line) >= _KIND_STANDS_IN or not {",", ";"} & set(line):
        return []
    try:
        return max((next(csv.reader([line], delimiter=mark), []) for mark in ",;"), key=len)
    except csv.Error:
        return []


def _named_in(schema: Mapping[str, Any]) -> list[object]:
    """The columns of a Table Schema."""
    return [entry.get("name") for entry in schema["fields"] if isinstance(entry, dict)]


SCHEMA: Final = ".schema.json"
"""How the name of a Table Schema ends."""


def _schema_at(path: Path) -> dict[str, Any] | None:
    """The Table Schema in a file; None where it holds something else."""
    import json

    try:
        there = json.loads(path.read_bytes())
    except (OSError, ValueError, RecursionError):
        return None
    return there if isinstance(there, dict) and isinstance(there.get("fields"), list) else None


def _same_file(target: Path, source: Path) -> bool:
    with suppress(OSError):
        return target.samefile(source)
    return os.path.normcase(target) == os.path.normcase(os.path.realpath(source))


class GrowingFile:
    """A file that is written piece by piece under ``growing_atomically``."""

    def __init__(self, path: Path, stream: BinaryIO) -> None:
        self.path = path
        self.written_bytes = 0
        self._stream = stream

    def write(self, text: str) -> None:
        """Add text as UTF-8; OutputError where the disk is full."""
        content = _bytes_of(text)
        try:
            self._stream.write(content)
        except OSError as cause:
            raise OutputError(write_problem(cause, self.path)) from cause
        self.written_bytes += len(content)

    def keep_off(self, inputs: Iterable[Path]) -> None:
        """Refuse the file where one of the inputs, known only now, is what it would replace."""
        _check_target(self.path, Path(os.path.realpath(self.path)), inputs)

    @property
    def description(self) -> str:
        """Name and size so far."""
        return f"{self.path}, {format_size(self.written_bytes)}"


@contextmanager
def growing_atomically(path: Path, *, only_own: bool = False) -> Iterator[GrowingFile]:
    """The same as ``write_atomically`` for what is too large to hold: it takes its name at the end, or never.

    Raises
    ------
    OutputError
        As ``write_atomically``.
    """
    target = Path(os.path.realpath(path))
    _check_target(path, target, ())
    if only_own:
        _check_own(path, target, b"")
    try:
        if is_device(path):
            with path.open("wb") as device:
                yield GrowingFile(path, device)
        else:
            target.parent.mkdir(parents=True, exist_ok=True)
            with one_file(target) as stream:
                yield GrowingFile(path, stream)
    except OSError as cause:
        raise OutputError(write_problem(cause, path)) from cause


def write_problem(cause: OSError, path: Path) -> Problem:
    """Why a file could not be written, in words for its keeper."""
    place = Place(str(path))
    if cause.errno in (errno.ENOSPC, errno.EDQUOT):
        return Problem(
            "was not written, the disk is full; an older file of that name is unchanged",
            cure="free some space, or write to another disk",
            place=place,
        )
    if isinstance(cause, PermissionError) or cause.errno == errno.EROFS:
        return Problem(
            "was not written: the file is open in another program, or its folder is write-protected",
            cure="close it there (a spreadsheet locks its files), or choose another name or folder",
            place=place,
        )
    if isinstance(cause, NotADirectoryError | FileExistsError):
        return Problem(
            "was not written: a part of this path is a file, not a folder",
            cure="choose another folder, or a name with a suffix",
            place=place,
        )
    if cause.errno == errno.ENAMETOOLONG:
        return Problem("was not written: the name is too long", cure="choose a shorter name", place=place)
    reason = (cause.strerror or "the system refused").lower()
    return Problem(f"was not written: {reason}; an older file of that name is unchanged", place=place)


def schema_place(table: Path) -> Path:
    """Where the Table Schema of a CSV goes.

    Raises
    ------
    OutputError
        If another kind of file has that name, which nobody has named.
    """
    path = table.with_suffix(SCHEMA)
    if os.path.isfile(path) and _schema_at(path) is None:
        found = f"is no Table Schema, and that of {table.name} would take its place"
        raise OutputError(
            Problem(found, cure=f"choose another name than {table.name}", place=Place(str(path)))
        )
    return path
