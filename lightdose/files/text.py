"""Bytes to text: which encoding a file has, and what is no text at all."""

from __future__ import annotations

import codecs
import os
import re
from pathlib import Path
from typing import BinaryIO, Final

from lightdose.errors import LightdoseError, Place, Problem
from lightdose.near_names import near_names

_ALLOWED: Final = "text as UTF-8, UTF-16 with a byte order mark, or Windows-1252"
_CONTROL: Final = re.compile(r"[\x01-\x08\x0b\x0e-\x1f\x7f]")


class DelimitedError(LightdoseError):
    """A file that is no readable text, or text that is no table."""


def read_text(path: Path, *, limit_bytes: int, label: str) -> tuple[str, str]:
    """The text of a file and the encoding it was read with.

    Parameters
    ----------
    path : the file
    limit_bytes : largest size that is read
    label : its name in messages

    Returns
    -------
    (text, encoding)
        encoding is "utf-8", "UTF-16" or "Windows-1252"; a byte order mark is removed

    Raises
    ------
    DelimitedError
        If the file is missing, too large, empty, or no text in one of these encodings.
    """
    data = _read_bytes(path, limit_bytes, label)
    place = Place(label)
    if len(data) > limit_bytes:
        raise DelimitedError(Problem("is larger than allowed", f"up to {_size(limit_bytes)}", place=place))
    if not data:
        raise DelimitedError(Problem("is empty", place=place))
    if kind := _other_kind(data):
        raise DelimitedError(Problem(f"is {kind}, not text", "CSV", "save it as CSV", place))
    text, encoding = _decode(data, label)
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        raise DelimitedError(
            Problem(
                "holds NUL bytes: UTF-16 without a byte order mark, or not text",
                _ALLOWED,
                "save it as CSV UTF-8",
                Place(label, line),
            )
        )
    if control := _CONTROL.search(text):
        line = text.count("\n", 0, control.start()) + 1
        raise DelimitedError(
            Problem(
                f"holds the control character 0x{ord(control[0]):02x}",
                _ALLOWED,
                "save it as CSV UTF-8",
                Place(label, line),
            )
        )
    return text, encoding


def _read_bytes(path: Path, limit_bytes: int, label: str) -> bytes:
    try:
        with open_bytes(path) as stream:
            return stream.read(limit_bytes + 1)
    except FileNotFoundError:
        raise DelimitedError(
            Problem("there is no such file", _near_names(path), place=Place(label))
        ) from None
    except IsADirectoryError:
        raise DelimitedError(Problem("is a folder, not a file", place=Place(label))) from None
    except PermissionError as cause:
        found = "is a folder, not a file" if path.is_dir() else "may not be read with your rights"
        raise DelimitedError(Problem(found, place=Place(label))) from cause
    except (OSError, ValueError) as cause:
        reason = getattr(cause, "strerror", None) or "the name cannot be a file's"
        raise DelimitedError(Problem(f"cannot be read: {reason.lower()}", place=Place(label))) from cause


def open_bytes(path: Path) -> BinaryIO:
    """A file that is typed; a pipe that nobody writes into is empty, one with a writer is read to its end."""
    return open(path, "rb", opener=None if os.name == "nt" else _without_waiting)


def _without_waiting(path: str, flags: int) -> int:
    descriptor = os.open(path, flags | os.O_NONBLOCK)
    os.set_blocking(descriptor, True)
    return descriptor


def _near_names(path: Path) -> str:
    """Files of the same folder with similar names, as a hint against typos."""
    try:
        names = sorted(entry.name for entry in path.parent.iterdir() if entry.is_file())
    except (OSError, ValueError):
        return ""
    near = near_names(path.name, names, 3)
    return f"files here with a similar name: {', '.join(near)}" if near else ""


def _other_kind(data: bytes) -> str | None:
    if data.startswith(b"PK\x03\x04"):
        return "a spreadsheet or zip file"
    if data.startswith(b"\xd0\xcf\x11\xe0"):
        return "an old spreadsheet file"
    if data.startswith(b"%PDF"):
        return "a PDF"
    return None


def _decode(data: bytes, label: str) -> tuple[str, str]:
    if data.startswith((codecs.BOM_UTF32_LE, codecs.BOM_UTF32_BE)):
        raise DelimitedError(Problem("is UTF-32", _ALLOWED, "save it as CSV UTF-8", Place(label)))
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        try:
            return data.decode("utf-16"), "UTF-16"
        except UnicodeDecodeError as cause:
            raise _undecodable(data, cause, "UTF-16", label) from None
    unmarked = data.removeprefix(codecs.BOM_UTF8)
    try:
        return unmarked.decode("utf-8"), "utf-8"
    except UnicodeDecodeError as cause:
        if len(unmarked) < len(data):
            raise _undecodable(unmarked, cause, "UTF-8", label) from None
    try:
        return data.decode("cp1252"), "Windows-1252"
    except UnicodeDecodeError as cause:
        raise _undecodable(data, cause, "UTF-8 or Windows-1252", label) from None


def _undecodable(data: bytes, cause: UnicodeDecodeError, encoding: str, label: str) -> DelimitedError:
    line = data.count(b"\n", 0, cause.start) + 1
    return DelimitedError(
        Problem(
            f"byte 0x{data[cause.start]:02x} cannot be read as {encoding}",
            _ALLOWED,
            "save it as CSV UTF-8",
            Place(label, line),
        )
    )


def _size(n_bytes: int) -> str:
    return f"{n_bytes / 1e6:g} MB" if n_bytes >= 1e6 else f"{n_bytes / 1e3:g} kB"
