"""The files of one run: found beside the file that names them, hashed, and every problem of all of them."""

from __future__ import annotations

import hashlib
import os
import stat
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lightdose.errors import LightdoseError, Place, Problem, SetupError
from lightdose.files.toml_guard import LIMIT_BYTES
from lightdose.files.toml_tables import TomlDocument, read_document, show, suggestion
from lightdose.files.units import UnitProblem
from lightdose.near_names import near_names

if TYPE_CHECKING:
    from lightdose.model.spectrum import SpectralTable

HASH_LIMIT_BYTES = 100_000_000
"""Larger files are refused by their readers; they are not hashed before."""

MOST_PROBLEMS = 100
"""Problems of a setup that are shown, shared among its files, at least ten of each; our choice."""

SETUPS_TRIED = 5
LOOKED_AT_BYTES = 4096
"""Near names that are tried, and bytes of each in which it says what it is; our choice."""

MOST_SUGGESTIONS = 300
"""Words of a setup for which near names are looked for, three files full of them; our choice."""


class UnreadSetupError(SetupError):
    """A setup with problems; ``understood`` is what could be read all the same."""

    understood: tuple[str, ...] = ()


@dataclass(eq=False)
class InputFiles:
    """What a run has read so far, and what stood in its way.

    Attributes
    ----------
    problems : of all files, in the order in which they were met
    understood : sentences for the keeper
    sky_words : names of places and corals whose open sky is told in words, by the words
    sha256 : absolute path -> hash of the bytes that were read
    sought : words for which near names were asked
    """

    problems: list[Problem] = field(default_factory=list)
    understood: list[str] = field(default_factory=list)
    sky_words: dict[str, list[str]] = field(default_factory=dict)
    sha256: dict[str, str] = field(default_factory=dict)
    sought: int = 0

    def tell_sky(self, word: str, name: str) -> None:
        """Note a place or coral whose open sky is told in words; an open one needs no words."""
        if word:
            self.sky_words.setdefault(word, []).append(name)

    def find(self, named: str, place: Place | None, *, beside: str = "", setup: bool = False) -> Path | None:
        """The file that ``named`` means, seen from the file ``beside``; None, with a problem, if it is none.

        Near names are those of files, or of setups alone where a ``setup`` is looked for. Its path is
        relative if the naming file's is, so that messages name files as the keeper does.
        """
        path = Path(os.path.normpath(os.path.join(os.path.dirname(beside), named)))
        try:
            if not named.strip():
                raise ValueError
            mode = path.stat().st_mode
            if stat.S_ISREG(mode):
                self._hash(path)
                return path
            problem = (
                Problem(f"{show(named)} is a folder", "the name of a file")
                if stat.S_ISDIR(mode)
                else Problem(f"{show(named)} is not a plain file")
            )
        except ValueError:
            problem = Problem(f"{show(named)} cannot be the name of a file")
        except FileNotFoundError:
            problem = _missing(named, path, setup=setup)
        except NotADirectoryError:
            problem = Problem(f"{show(named)} leads through a file as if it were a folder")
        except PermissionError:
            problem = Problem(f"{show(named)} may not be read: its permissions forbid it")
        except OSError as trouble:
            problem = Problem(f"{show(named)} cannot be opened: {_reason(trouble)}")
        self.problems.append(problem.at(place) if place else problem)
        return None

    def _hash(self, path: Path) -> None:
        key = os.path.abspath(path)
        if key not in self.sha256 and path.stat().st_size <= HASH_LIMIT_BYTES:
            self.sha256[key] = sha256_of(path)

    def document(self, path: Path, wanted: str, place: Place | None = None) -> TomlDocument | None:
        """A TOML file of the format ``wanted``; None, with problems, if it cannot be read as one."""
        with self.collecting(place):
            with path.open("rb") as stream:
                data = stream.read(LIMIT_BYTES + 1)
            document = read_document(data, str(path))
            problem = _format_problem(document, wanted)
            if problem is None:
                return document
            self.problems.append(problem)
        return None

    def spectral_table(self, named: str, place: Place, beside: str, **limits: Any) -> SpectralTable | None:
        """A function of wavelength in a file that a key names; None where it has problems."""
        found = self.find(named, place, beside=beside)
        if found is None:
            return None
        from lightdose.files.spectrum_file import read_spectral_table

        with self.collecting(place):
            table = read_spectral_table(found, str(found), **limits)
            self.understood.append(f"{found}: {'; '.join(table.notes)}; ends held")
            return table
        return None

    @contextmanager
    def collecting(self, place: Place | None = None) -> Iterator[None]:
        """Take over the problems of whatever goes wrong inside; those without a place get ``place``."""
        try:
            yield
        except LightdoseError as trouble:
            self.problems += [p.at(place) if place else p for p in trouble.problems]
        except UnitProblem as trouble:
            self.problems.append(trouble.problem.at(place) if place else trouble.problem)
        except OSError as trouble:
            problem = Problem(f"the file cannot be read: {_reason(trouble)}")
            self.problems.append(problem.at(place) if place else problem)

    def suggestion(self, word: str, known: Iterable[str], count: int = 1, cutoff: float = 0.6) -> str:
        """A cure that names the close matches, for the first words of a setup: more are not shown."""
        self.sought += 1
        return suggestion(word, known, count, cutoff) if self.sought <= MOST_SUGGESTIONS else ""

    def finish(self) -> None:
        """Raise every problem there was, each once, sorted by file and line."""
        if self.problems:
            trouble = UnreadSetupError(*_shortened(tuple(dict.fromkeys(self.problems))))
            trouble.understood = tuple(dict.fromkeys(self.understood))
            raise trouble


def _shortened(problems: tuple[Problem, ...]) -> list[Problem]:
    """The first problems of each file, and how many more there are."""
    by_file: dict[str, list[Problem]] = {}
    for problem in SetupError(*problems).problems:
        by_file.setdefault(problem.place.file if problem.place else "", []).append(problem)
    shown, most = [], max(10, MOST_PROBLEMS // max(1, len(by_file)))
    for found in by_file.values():
        shown += found[:most]
        if len(found) > most:
            last, rest = found[most - 1], len(found) - most
            text = f"and {rest:,} more problems below"
            shown.append(Problem(text, place=last.place, stands_for=rest))
    return shown


def _missing(named: str, path: Path, *, setup: bool) -> Problem:
    looked = f"a file that is there; looked at {os.path.abspath(path)}"
    if path.is_symlink():
        return Problem(f"{show(named)} is a link that leads nowhere", looked)
    if "\\" in named and os.sep == "/" and Path(str(path).replace("\\", "/")).exists():
        return Problem(f"no file {show(named)}", looked, f"write {show(named.replace(chr(92), '/'))}")
    found = f"no file {show(named)}"
    try:
        neighbours = list(path.parent.iterdir())
    except OSError:
        cure = _near_setup(path.parent, path.parent.parent, path.name) if setup else ""
        return Problem(f"{found}: its folder is not there", looked, cure)
    if setup:
        return Problem(found, looked, _near_setup(path, path.parent))
    return Problem(found, looked, suggestion(path.name, [p.name for p in neighbours if p.is_file()]))


def _near_setup(path: Path, folder: Path, inside: str = "setup.toml") -> str:
    """A cure that names a setup file beside a path, or a folder with one inside, of nearly its name."""
    try:
        names = [p.name for p in folder.iterdir() if p.suffix == ".toml" or p.is_dir()]
    except OSError:
        return ""
    for near in near_names(path.name, names, SETUPS_TRIED):
        if (folder / near / inside).is_file():
            return f"did you mean {folder / near / inside}?"
        if inside == "setup.toml" and _is_setup(folder / near):
            return f"did you mean {folder / near}?"
    return ""


def _is_setup(path: Path) -> bool:
    """Whether a plain file says in its first lines that it is a setup."""
    try:
        if not path.is_file():
            return False
        with path.open("rb") as stream:
            return b"lightdose-setup/" in stream.read(LOOKED_AT_BYTES)
    except OSError:
        return False


def _reason(trouble: OSError) -> str:
    import errno

    if trouble.errno == errno.ELOOP:
        return "its links lead round in a circle"
    if trouble.errno == errno.ENAMETOOLONG:
        return "its name is too long"
    return (trouble.strerror or str(trouble)).lower()


def _format_problem(document: TomlDocument, wanted: str) -> Problem | None:
    found = document.data.get("format")
    if found == wanted:
        return None
    cure = f'write format = "{wanted}" in the first line'
    if found is None:
        return Problem("the key format is missing", f'format = "{wanted}"', cure, Place(document.file, 1))
    place = document.value_place(("format",))
    family = wanted.partition("/")[0]
    if isinstance(found, str) and found.startswith(family + "/"):
        return Problem(f"format {show(found)} is another version", f'"{wanted}"', "", place)
    if isinstance(found, str) and found.startswith("lightdose-"):
        return Problem(f"this is a {show(found)} file, not a {family} file", f'"{wanted}"', "", place)
    return Problem(f"format {show(found)} is not known here", f'"{wanted}"', cure, place)


def sha256_of(path: str | Path) -> str:
    """Hash of a file's bytes, in hexadecimal digits; OSError where it cannot be read."""
    with open(path, "rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()
