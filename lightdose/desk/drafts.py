"""The files of a setup as they would be: texts that are not written yet, over the files on the disk."""

from __future__ import annotations

import hashlib
import os
import re
import shutil
import tempfile
import weakref
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from lightdose.errors import LightdoseError, Place, Problem
from lightdose.files.input_files import InputFiles
from lightdose.files.setup_file import read_from
from lightdose.files.toml_positions import KeyPath
from lightdose.files.toml_tables import TomlDocument, read_document, value_at
from lightdose.model.setup import Setup

MOST_LEFT_OUT = 200
"""Tables with problems that are left out, so that the rest of a setup shows. Our choice."""

_FILES = ("corals", "sites", "rocks", "groups", "calibration")
_TABLES = ("coral", "site", "rack", "rock", "brace", "fixture", "meter")


@dataclass(frozen=True)
class Reading:
    """What came of reading.

    Attributes
    ----------
    setup : as it stands, or without the parts that have problems; None where nothing of it can be used
    problems : of all files, under the names that the keeper knows
    left_out : what ``setup`` lacks, in words
    """

    setup: Setup | None
    problems: tuple[Problem, ...] = ()
    left_out: tuple[str, ...] = ()


class DraftFiles(InputFiles):
    """The files of one reading: looked for where the keeper has them, read from drafts."""

    def __init__(self, drafts: Mapping[str, str]) -> None:
        super().__init__()
        self.drafts = drafts
        self.origin = {draft: home for home, draft in drafts.items()}

    def find(self, named: str, place: Place | None, *, beside: str = "", setup: bool = False) -> Path | None:
        """As ``InputFiles.find``; what has a draft is read there."""
        beside = self.origin.get(beside, beside)
        try:
            home = os.path.abspath(os.path.join(os.path.dirname(beside), named))
        except ValueError:
            home = ""
        if home in self.drafts and named.strip():
            return super().find(self.drafts[home], place)
        return super().find(named, place, beside=beside, setup=setup)


class Drafts:
    """Reads a setup with texts in the place of some of its files; they stand in a folder of this process."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._folder = Path(tempfile.mkdtemp(prefix="lightdose-desk-"))
        self._files: dict[str, str] = {}
        self._removed = weakref.finalize(self, shutil.rmtree, self._folder, ignore_errors=True)

    def close(self) -> None:
        """Remove the drafts of this process."""
        self._removed()

    def read(self, texts: Mapping[str, bytes]) -> Reading:
        """The setup with these texts, by absolute path, in the place of files."""
        self._lay(texts)
        try:
            return Reading(self._setup(self._files))
        except LightdoseError as trouble:
            problems = tuple(self._at_home(p) for p in trouble.problems)
            rest, left_out = self._rest(texts, trouble)
            return Reading(rest, problems, left_out)

    def read_uncalibrated(self, texts: Mapping[str, bytes]) -> Setup:
        """The same without its calibration; LightdoseError where it has problems."""
        self._lay(texts)
        return self._setup(self._files, uncalibrated=True)

    def problems_at_home(self, trouble: LightdoseError) -> tuple[Problem, ...]:
        """Problems under the names that the keeper knows."""
        return tuple(self._at_home(p) for p in trouble.problems)

    def file(self, path: str) -> Path:
        """Where a file of the keeper's is read: its draft, or itself."""
        return Path(self._files.get(path, path))

    def _lay(self, texts: Mapping[str, bytes]) -> None:
        self._files = {}
        for home, content in texts.items():
            stem, suffix = os.path.splitext(os.path.basename(home))
            mark = hashlib.blake2b(home.encode("utf-8", "surrogatepass"), digest_size=6).hexdigest()
            draft = self._folder / f"{re.sub('[^A-Za-z0-9]+', '-', stem)[:40]}-{mark}{suffix}"
            draft.write_bytes(content)
            self._files[home] = str(draft)

    def _setup(self, files: Mapping[str, str], *, uncalibrated: bool = False) -> Setup:
        read = read_from(DraftFiles(files), str(self.path), uncalibrated=uncalibrated)
        homes = {draft: home for home, draft in files.items()}
        sha = {homes.get(path, path): digest for path, digest in read.inputs_sha256.items()}
        said = tuple(self._words_at_home(text) for text in read.understood)
        return replace(read, path=str(self.path), inputs_sha256=sha, understood=said)

    def _at_home(self, problem: Problem) -> Problem:
        place = problem.place
        told = replace(
            problem,
            found=self._words_at_home(problem.found),
            allowed=self._words_at_home(problem.allowed),
            cure=self._words_at_home(problem.cure),
        )
        if place is None:
            return told
        return replace(told, place=replace(place, file=self._words_at_home(place.file)))

    def _words_at_home(self, text: str) -> str:
        for home, draft in self._files.items():
            if draft in text:
                text = text.replace(draft, os.path.relpath(home, self.path.parent))
        return text.replace(f"{self.path.parent}{os.sep}", "")

    # ---- a setup with problems --------------------------------------------------------------------------

    def _rest(
        self, texts: Mapping[str, bytes], trouble: LightdoseError
    ) -> tuple[Setup | None, tuple[str, ...]]:
        """The setup without the tables in which problems stand, and those tables in words."""
        home, left_out = str(self.path), list[str]()
        try:
            data = texts[home] if home in texts else self.path.read_bytes()
            text = read_document(data, home).text
        except (LightdoseError, OSError):
            return None, ()
        lines, draft = text.split("\n"), self._folder / "rest.toml"
        files = {**self._files, home: str(draft)}
        for _ in range(6):
            known = {home, str(draft), self._files.get(home, home)}
            named, spans = _spans_of(trouble, read_document("\n".join(lines).encode(), home), known)
            if not spans or len(left_out) > MOST_LEFT_OUT:
                return None, ()
            left_out += named
            for first, last in spans:
                lines[first:last] = [""] * (last - first)
            draft.write_text("\n".join(lines), encoding="utf-8")
            try:
                return self._setup(files), tuple(dict.fromkeys(left_out))
            except LightdoseError as more:
                trouble = more
        return None, ()


def _spans_of(
    trouble: LightdoseError, document: TomlDocument, setup: set[str]
) -> tuple[list[str], list[tuple[int, int]]]:
    """Words and lines of the tables that hold a problem, or name a file that does."""
    heads = _heads(document)
    named, spans = [], []
    for problem in trouble.problems:
        place = problem.place
        if place is None:
            continue
        paths = [_table_at(heads, place.line)] if _is(place.file, setup) and place.line else []
        if not paths:
            paths = [p for p in heads if _names(document, p, place.file)]
        for path in paths:
            if path is None or path not in heads or heads[path] in spans:
                continue
            spans.append(heads[path])
            named.append(_words(document, path))
    return named, spans


def _is(file: str, known: set[str]) -> bool:
    return file in known or os.path.abspath(file) in known


def _heads(document: TomlDocument) -> dict[KeyPath, tuple[int, int]]:
    """Lines, from 0, of every table that may be left out, with its inner tables."""
    lines = document.text.split("\n")
    starts: list[tuple[int, KeyPath | None]] = []
    counts: dict[str, int] = {}
    named: dict[KeyPath, tuple[int, int]] = {}
    for n, line in enumerate(lines):
        key = line.partition("=")[0].strip()
        if not starts and key in _FILES:
            named[key,] = (n, n + 1)
        match = re.match(r"\s*(\[\[?)\s*([A-Za-z_]+)((?:\s*\.\s*[^\]]+)?)\s*\]", line)
        if match is None:
            continue
        name, inner = match[2], match[3]
        if match[1] == "[[" and not inner:
            counts[name] = counts.get(name, -1) + 1
            starts.append((n, (name, counts[name]) if name in _TABLES else None))
        elif not inner or name not in counts:
            inner_key = inner.strip(" .\"'")
            starts.append((n, ("meter", inner_key) if name == "meter" and inner_key else None))
    ends = [n for n, _ in starts[1:]] + [len(lines)]
    return named | {path: (n, end) for (n, path), end in zip(starts, ends, strict=True) if path is not None}


def _table_at(heads: Mapping[KeyPath, tuple[int, int]], line: int) -> KeyPath | None:
    return next((path for path, (first, last) in heads.items() if first < line <= last), None)


def _names(document: TomlDocument, path: KeyPath, file: str) -> bool:
    """Whether a table names a file, such as the type or schedule of a fixture."""
    found = value_at(document.data, path)
    base = os.path.basename(file)
    if not isinstance(found, dict):
        return isinstance(found, str) and os.path.basename(found) == base
    return any(isinstance(v, str) and os.path.basename(v) == base for v in found.values())


def _words(document: TomlDocument, path: KeyPath) -> str:
    table = value_at(document.data, path)
    if len(path) == 1:
        return f"the file of {path[0]}"
    name = table.get("name", path[1]) if isinstance(table, dict) else path[1]
    return f"{path[0]} {name}" if isinstance(name, str) else f"{path[0]} {int(name) + 1}"
