"""One setup on the desk: changes with undo and redo, drafts that outlast a crash, and writing it all.

What stands on the disk is remembered as it was read. A file that somebody else has changed since is never
written over: both texts are shown, and a person decides.
"""

from __future__ import annotations

import base64
import datetime
import difflib
import hashlib
import json
import os
import threading
import zlib
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from lightdose.desk.bench import Bench, Change
from lightdose.desk.changes import apply
from lightdose.desk.drafts import Drafts, Reading
from lightdose.desk.toml_edits import TomlText
from lightdose.errors import LightdoseError, OutputError, Problem, SetupError
from lightdose.files.setup_file import read_setup
from lightdose.files.unfinished import clear_unfinished
from lightdose.files.writing import together, write_atomically
from lightdose.model.diary import Keeping
from lightdose.model.setup import Setup
from lightdose.workflows.keeping import keep

DRAFT_FORMAT: Final = "lightdose-desk-draft/1"
MOST_STEPS: Final = 2000
"""Steps that can be taken back."""

MOST_LINES: Final = 400
"""Changed lines of a file that are shown before it is written."""


@dataclass(frozen=True)
class Step:
    """A change that can be taken back: its words, and the texts of its files before and after, packed."""

    words: str
    before: Mapping[str, bytes | None]
    after: Mapping[str, bytes | None]


@dataclass(eq=False)
class Desk:
    """The state of a desk; every method may be called by any thread.

    Attributes
    ----------
    path : of the setup, absolute
    base : content of files as they were read from the disk; None where there was none
    texts : their content now, of files that were changed
    done, undone : steps that can be taken back, and taken again
    version : counts every change of what is shown
    offered : words of the steps of a draft that an earlier desk left, until it is taken or dropped
    """

    path: Path
    base: dict[str, bytes | None] = field(default_factory=dict)
    texts: dict[str, bytes | None] = field(default_factory=dict)
    done: list[Step] = field(default_factory=list)
    undone: list[Step] = field(default_factory=list)
    version: int = 1
    notice: str = ""
    offered: dict[str, Any] | None = None
    lock: threading.RLock = field(default_factory=threading.RLock)

    def __post_init__(self) -> None:
        self.path = Path(os.path.abspath(self.path))
        self._drafts = Drafts(self.path)
        self._parsed: dict[str, TomlText] = {}
        self._stamps: dict[str, tuple[int, int]] = {}
        self.reading = Reading(None)
        self.offered = self._left_draft()
        self.reload()

    def close(self) -> None:
        """Remove what stands for this process alone; the draft beside the setup stays."""
        self._drafts.close()

    # ---- reading ----------------------------------------------------------------------------------------

    @property
    def first(self) -> bool:
        """Whether there is no setup yet."""
        return self._content(str(self.path)) is None

    @property
    def setup(self) -> Setup | None:
        """As it stands with all changes; without its broken parts where there are problems."""
        return self.reading.setup

    @property
    def drafts(self) -> Drafts:
        """Reads the files with their changes."""
        return self._drafts

    @property
    def unsaved(self) -> list[str]:
        """Paths of files that differ from what was read, the setup first."""
        paths = [p for p, text in self.texts.items() if text != self.base.get(p)]
        return sorted(paths, key=lambda p: (p != str(self.path), p))

    def written(self) -> dict[str, bytes]:
        """Contents of changed files that are there."""
        return {path: text for path, text in self.texts.items() if text is not None}

    def bench(self) -> Bench:
        """The files as they are, for looking into them."""
        return Bench(self.path, self.written(), self.setup, dict(self._parsed))

    def reload(self) -> None:
        """Read everything from the disk; only where nothing is unsaved.

        What a killed save left half done is finished first, lest it is finished under our hands.
        """
        with self.lock:
            cleared, folders = set[Path](), {self.path.parent}
            while folders - cleared:
                for folder in folders - cleared:
                    clear_unfinished(folder)
                cleared |= folders
                self.base, self.texts, self._parsed = {}, {}, {}
                self._remember(str(self.path))
                self._read()
                folders = {Path(path).parent for path in self.base}

    def _read(self) -> None:
        self.version += 1
        if self.first:
            self.reading = Reading(None)
            return
        self.reading = self._drafts.read(self.written())
        for path in self.reading.setup.inputs_sha256 if self.reading.setup else ():
            self._remember(path)

    def _remember(self, path: str) -> None:
        """Take the content of a file on the disk as what was read, once."""
        if path in self.base:
            return
        self._stamps[path] = _stamp(path)
        try:
            self.base[path] = Path(path).read_bytes()
        except OSError:
            self.base[path] = None

    def _content(self, path: str) -> bytes | None:
        return self.texts[path] if path in self.texts else self.base.get(path)

    # ---- changing ---------------------------------------------------------------------------------------

    def do(self, change: Change) -> str:
        """Make a change; gives its words.

        Raises
        ------
        LightdoseError
            If it cannot be made, or what came of it has problems that were not there before; then nothing
            has changed.
        """
        with self.lock:
            bench = Bench(self.path, self.written(), self.setup, self._parsed)
            try:
                words = apply(bench, change)
                self._take(bench.changed, words)
            except BaseException:
                self._parsed = {}
                raise
            return words

    def _take(self, changed: Mapping[str, bytes | None], words: str) -> None:
        changed = {path: text for path, text in changed.items() if text != self._now(path)}
        if not changed:
            return
        before = {path: self._now(path) for path in changed}
        texts, reading, problems = dict(self.texts), self.reading, len(self.reading.problems)
        self.texts.update(changed)
        self._read()
        if len(self.reading.problems) > problems:
            found = self.reading.problems
            self.texts, self.reading = texts, reading
            raise SetupError(*found)
        self.done.append(Step(words, _packed(before), _packed(changed)))
        del self.done[:-MOST_STEPS]
        self.undone.clear()
        self.notice = ""
        self._keep_draft()

    def _now(self, path: str) -> bytes | None:
        self._remember(path)
        return self._content(path)

    def undo(self) -> str:
        """Take the last step back; gives its words."""
        with self.lock:
            if not self.done:
                raise SetupError(Problem("there is nothing to take back"))
            step = self.done.pop()
            self.undone.append(step)
            return self._set(step.before, step.words)

    def redo(self) -> str:
        """Take a step again; gives its words."""
        with self.lock:
            if not self.undone:
                raise SetupError(Problem("there is nothing to take again"))
            step = self.undone.pop()
            self.done.append(step)
            return self._set(step.after, step.words)

    def _set(self, packed: Mapping[str, bytes | None], words: str) -> str:
        self.texts.update(_unpacked(packed))
        self._parsed = {}
        self._read()
        self._keep_draft()
        return words

    # ---- drafts -----------------------------------------------------------------------------------------

    @property
    def draft_path(self) -> Path:
        """Where unsaved changes are kept: beside the setup."""
        return self.path.with_name(f".{self.path.stem}-desk-draft.json")

    def _keep_draft(self) -> None:
        """Write what is unsaved beside the setup, so that a crash loses nothing; or take it away."""
        try:
            if not self.unsaved:
                self.draft_path.unlink(missing_ok=True)
                return
            home = self.path.parent
            files = {
                os.path.relpath(path, home): {"read": _sha(self.base.get(path)), "text": _text64(text)}
                for path, text in ((p, self.texts[p]) for p in self.unsaved)
            }
            held = {
                "format": DRAFT_FORMAT,
                "kept_at": datetime.datetime.now().isoformat(timespec="minutes"),
                "steps": [step.words for step in self.done[-12:]],
                "files": files,
            }
            if home.is_dir():
                write_atomically(self.draft_path, json.dumps(held, indent=1))
        except (OSError, OutputError):
            self.notice = "Unsaved changes cannot be kept beside the setup: save soon."

    def _left_draft(self) -> dict[str, Any] | None:
        try:
            held = json.loads(self.draft_path.read_text(encoding="utf-8"))
        except (OSError, ValueError, RecursionError):
            return None
        files = held.get("files") if isinstance(held, dict) and held.get("format") == DRAFT_FORMAT else None
        return held if isinstance(files, dict) and all(map(_is_held, files.values())) else None

    def take_draft(self) -> None:
        """Take up the unsaved changes that an earlier desk left."""
        with self.lock:
            held = self.offered
            if held is None:
                raise SetupError(Problem("there is no draft"))
            changed: dict[str, bytes | None] = {}
            bench = self.bench()
            for named, one in held["files"].items():
                path = bench.beside(named)
                self._remember(path)
                changed[path] = base64.b64decode(one["text"]) if one["text"] is not None else None
                if one["read"] != _sha(self.base[path]):
                    # The file went on without us: saving will find that it is not what the draft began with.
                    self.base[path] = b"\0changed elsewhere"
            before = {path: self._now(path) for path in changed}
            self.texts.update(changed)
            self._parsed = {}
            self._read()
            self.done.append(Step("unsaved changes of before", _packed(before), _packed(changed)))
            self.offered = None

    def drop_draft(self) -> None:
        """Leave the draft of an earlier desk."""
        with self.lock:
            self.offered = None
            if not self.unsaved:
                with suppress(OSError):
                    self.draft_path.unlink(missing_ok=True)

    # ---- the disk ---------------------------------------------------------------------------------------

    def look(self) -> list[str]:
        """Files that somebody else has changed since they were read; read anew where nothing is unsaved."""
        with self.lock:
            changed = [path for path in self.base if self._differs(path)]
            if changed and not self.unsaved:
                names = ", ".join(os.path.basename(path) for path in changed)
                self.done, self.undone = [], []
                self.reload()
                self.notice = f"{names} was changed elsewhere and is read anew."
                return []
            return [os.path.relpath(path, self.path.parent) for path in changed]

    def _differs(self, path: str) -> bool:
        stamp = _stamp(path)
        if stamp == self._stamps.get(path) and self.base[path] != b"\0changed elsewhere":
            return False
        try:
            content: bytes | None = Path(path).read_bytes()
        except OSError:
            content = None
        if content == self.base[path]:
            self._stamps[path] = stamp
            return False
        return True

    def pending(self) -> list[dict[str, Any]]:
        """What would be written, file by file, with the lines that change."""
        with self.lock:
            return [self._lines(path, self.base.get(path), self.texts[path]) for path in self.unsaved]

    def conflicts(self) -> list[dict[str, Any]]:
        """Changed files that are not on the disk as they were read: what was done there, and what here."""
        with self.lock:
            found = []
            for path in self.unsaved:
                if not self._differs(path):
                    continue
                try:
                    there: bytes | None = Path(path).read_bytes()
                except OSError:
                    there = None
                found.append(
                    {
                        "file": os.path.relpath(path, self.path.parent),
                        "there": self._lines(path, self.base.get(path), there)["lines"],
                        "here": self._lines(path, there, self.texts[path])["lines"],
                    }
                )
            return found

    def _lines(self, path: str, before: bytes | None, after: bytes | None) -> dict[str, Any]:
        old, new = (_as_lines(text) for text in (before, after))
        lines: list[list[str | int]] = []
        added = removed = 0
        for tag, a, b, c, d in difflib.SequenceMatcher(None, old, new, autojunk=False).get_opcodes():
            if tag == "equal":
                continue
            removed, added = removed + b - a, added + d - c
            lines += [["-", n + 1, old[n]] for n in range(a, b)]
            lines += [["+", n + 1, new[n]] for n in range(c, d)]
        return {
            "file": os.path.relpath(path, self.path.parent),
            "new": before is None,
            "added": added,
            "removed": removed,
            "lines": lines[:MOST_LINES],
            "more": max(0, len(lines) - MOST_LINES),
        }

    def theirs(self) -> None:
        """Drop the changes made here, and read what is on the disk."""
        with self.lock:
            self.done, self.undone = [], []
            self.reload()
            self._keep_draft()

    def mine_beside(self) -> list[str]:
        """Put the texts of files in conflict beside them, under other names, and read what is on the disk."""
        with self.lock:
            named = []
            for one in self.conflicts():
                path = self.path.parent / one["file"]
                text = self.texts[str(path)]
                turn, target = 1, path.with_name(f"{path.stem}-mine{path.suffix}")
                while target.exists():
                    turn += 1
                    target = path.with_name(f"{path.stem}-mine-{turn}{path.suffix}")
                if text is not None:
                    write_atomically(target, text)
                    named.append(target.name)
            self.theirs()
            return named

    def save(self, why: str) -> tuple[list[str], Keeping | None]:
        """Write all changes and keep the state in the diary; gives the names of the files.

        Raises
        ------
        OutputError
            If a file was changed elsewhere, or cannot be written: then none is, and all stays unsaved.
        """
        with self.lock:
            if self.conflicts():
                raise OutputError(Problem("a file was changed elsewhere since it was read"))
            self._keep_before()
            changed = self.unsaved[::-1]
            with together():
                for path in changed:
                    if (text := self.texts[path]) is not None:
                        write_atomically(Path(path), text)
            for path in changed:
                if self.texts[path] is None:
                    Path(path).unlink(missing_ok=True)
                self.base[path] = self.texts[path]
                self._stamps[path] = _stamp(path)
            names = [os.path.relpath(path, self.path.parent) for path in changed]
            self._keep_draft()
            self.version += 1
            return names, self._keep_after(why)

    def _keep_before(self) -> None:
        """Keep the state that is changed, where the diary does not hold it yet."""
        if self.base.get(str(self.path)) is None:
            return
        with suppress(LightdoseError):
            keep(read_setup(self.path), datetime.date.today().isoformat())

    def _keep_after(self, why: str) -> Keeping | None:
        try:
            return keep(read_setup(self.path), datetime.date.today().isoformat(), " ".join(why.split()))
        except LightdoseError as trouble:
            self.notice = f"Saved. The diary did not take this state: {trouble.problems[0].found}."
            return None


def _stamp(path: str) -> tuple[int, int]:
    try:
        found = os.stat(path)
    except OSError:
        return (0, -1)
    return found.st_mtime_ns, found.st_size


def _packed(texts: Mapping[str, bytes | None]) -> dict[str, bytes | None]:
    return {path: None if text is None else zlib.compress(text, 1) for path, text in texts.items()}


def _unpacked(packed: Mapping[str, bytes | None]) -> dict[str, bytes | None]:
    return {path: None if text is None else zlib.decompress(text) for path, text in packed.items()}


def _sha(content: bytes | None) -> str | None:
    return None if content is None else hashlib.sha256(content).hexdigest()


def _is_held(one: object) -> bool:
    """Whether this is how a draft holds a file: what was read of it, and its text."""
    if not isinstance(one, dict) or not {"read", "text"} <= one.keys():
        return False
    try:
        return one["text"] is None or isinstance(base64.b64decode(one["text"], validate=True), bytes)
    except (ValueError, TypeError):
        return False


def _text64(content: bytes | None) -> str | None:
    return None if content is None else base64.b64encode(content).decode("ascii")


def _as_lines(content: bytes | None) -> list[str]:
    if content is None:
        return []
    utf16 = content.startswith((b"\xff\xfe", b"\xfe\xff"))
    return content.decode("utf-16" if utf16 else "utf-8-sig", "replace").splitlines()
