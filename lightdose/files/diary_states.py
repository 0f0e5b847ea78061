"""States of a diary: the setup and all files it names, kept as they were, each content once."""

from __future__ import annotations

import datetime
import hashlib
import os
import re
import shutil
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Final

from lightdose.errors import OutputError, Place, Problem, SetupError
from lightdose.files.csv_text import csv_text
from lightdose.files.diary_dates import month_first_in, parse_date
from lightdose.files.diary_notes import read_notes
from lightdose.files.diary_rows import add_rows, locked, read_table
from lightdose.files.toml_tables import show
from lightdose.files.unfinished import clear_folders, new_name
from lightdose.files.units import UnitProblem
from lightdose.files.writing import together, write_atomically, write_problem
from lightdose.model.diary import Diary, KeptFile, KeptState
from lightdose.model.record import dataclass
from lightdose.model.setup import Setup

STATES: Final = "states.csv"
COLUMNS: Final = ("date", "state", "why")
FILES: Final = "files.csv"
FILE_COLUMNS: Final = ("file", "sha256", "kept_as")
OUTSIDE: Final = "outside"
"""Files that lie above the setup's folder are kept under this name and the number of steps up."""
ATTRIBUTES: Final = ".gitattributes"
AS_IT_IS: Final = "# Kept files come back byte for byte: no line end is changed here.\n* -text\n"


@dataclass(frozen=True)
class Kept:
    """What keeping did: the state before, and the new one with what it stored; None where nothing differs."""

    before: KeptState | None
    state: KeptState | None
    stored: int = 0
    n_bytes: int = 0


def diary_folder(setup_path: str) -> Path:
    """The diary of a setup: "diary" beside setup.toml, "NAME-diary" beside NAME.toml."""
    path = Path(setup_path)
    return path.parent / ("diary" if path.name == "setup.toml" else f"{path.stem}-diary")


def has_diary(setup_path: str) -> bool:
    """Whether any state of a setup is kept."""
    return os.path.isfile(setup_path) and os.path.isfile(diary_folder(setup_path) / STATES)


def read_diary(setup_path: str) -> Diary:
    """Everything that stands in the diary of a setup, and what could not be read of it."""
    folder = diary_folder(setup_path)
    states, problems = read_states(folder)
    notes, wrong = read_notes(folder, str(folder))
    return Diary(str(folder), states, notes, (*problems, *wrong))


def read_states(folder: Path) -> tuple[tuple[KeptState, ...], tuple[Problem, ...]]:
    """Every state that can be read, by date, the last of a day last; and what is wrong with others."""
    table = read_table(folder / STATES, str(folder / STATES), "state")
    month_first = month_first_in(row.of("date") for row in table.rows)
    states, problems = [], list(table.problems)
    for row in table.rows:
        name = row.of("state")
        try:
            date = parse_date(row.of("date"), month_first).isoformat()
            files = _files_of(folder, name)
        except UnitProblem as trouble:
            problems.append(trouble.problem.at(table.place(row, "date")))
        except SetupError as trouble:
            problems += [p.at(table.place(row, "state")) for p in trouble.problems]
        else:
            states.append(KeptState(date, name, row.of("why"), files))
    return tuple(sorted(states, key=lambda state: state.date)), tuple(problems)


def _files_of(folder: Path, name: str) -> tuple[KeptFile, ...]:
    """The files that a state names."""
    if not name or re.search(r"[\\/\0]", name) or name in (".", ".."):
        raise SetupError(Problem(f"{show(name)} is no name of a state"))
    path = folder / name / FILES
    table = read_table(path, str(path), "sha256")
    if table.problems:
        raise SetupError(*table.problems)
    if not table.rows:
        found = f"the state {show(name)} has no list of its files"
        raise SetupError(Problem(found, f"{path}, which keep wrote"))
    return tuple(KeptFile(*(row.of(column) for column in FILE_COLUMNS)) for row in table.rows)


def in_force(states: Sequence[KeptState], date: str) -> KeptState | None:
    """The state that stands on a day: the last of the latest day up to it."""
    return next((state for state in reversed(states) if state.date <= date), None)


def state_named(states: Sequence[KeptState], word: str, folder: Path) -> KeptState:
    """The state that a date or a name means: 2026-03-14, or 2026-03-14-2 for the second of that day.

    Raises
    ------
    SetupError
        If none was kept up to that day.
    """
    numbered = re.fullmatch(r"(\d{4}-\d{2}-\d{2})-(\d+)", word)
    if numbered:
        wanted = numbered[1] if numbered[2] == "1" else word
        for state in states:
            if state.name == wanted:
                return state
    else:
        try:
            found = in_force(states, parse_date(word).isoformat())
        except UnitProblem as trouble:
            raise SetupError(trouble.problem) from None
        if found is not None:
            return found
    if not states:
        cure = "lightdose keep SETUP keeps today's"
        raise SetupError(Problem("no state is kept in this diary", cure=cure, place=Place(str(folder))))
    names = ", ".join(state.name for state in states[:8]) + (" ..." if len(states) > 8 else "")
    found_none = f"no state was kept up to {word}" if not numbered else f"there is no state {show(word)}"
    raise SetupError(Problem(found_none, names, place=Place(str(folder))))


# ---- keeping ----------------------------------------------------------------------------------------------


def keep_state(setup: Setup, date: str, why: str) -> Kept:
    """Keep a setup and all files it names as the state of a day, if anything differs from the state before.

    Stored are the files that the state before does not hold alike. The row in states.csv comes last: until
    it stands there, nothing was kept.

    Raises
    ------
    OutputError
        If the diary cannot be written, or a file changed while it was read.
    """
    folder = diary_folder(setup.path)
    named = seen_from_home(setup)
    given = dict(zip(named, setup.inputs_sha256.items(), strict=True))
    with locked(folder):
        clear_folders(folder)
        states, _ = read_states(folder)
        before = in_force(states, date)
        contents = frozenset((name, sha) for name, (_, sha) in given.items())
        if before is not None and before.contents == contents:
            return Kept(before, None)
        known = {(f.file, f.sha256): f.kept_as for state in states for f in state.files}
        taken = {state.name for state in states}
        name, files = _new_state(folder, date, given, known, taken)
        new = [f for f in files if (f.file, f.sha256) not in known]
        n_bytes = 0
        if not os.path.exists(folder / name):
            n_bytes = _store(folder, name, files, [(f, given[f.file][0]) for f in new])
        if not os.path.lexists(folder / ATTRIBUTES):
            write_atomically(folder / ATTRIBUTES, AS_IT_IS)
        add_rows(folder / STATES, COLUMNS, "state", [{"date": date, "state": name, "why": why}])
    return Kept(before, KeptState(date, name, why, files), len(new), n_bytes)


def _new_state(
    folder: Path,
    date: str,
    given: Mapping[str, tuple[str, str]],
    known: Mapping[tuple[str, str], str],
    taken: set[str],
) -> tuple[str, tuple[KeptFile, ...]]:
    """A free name for a state and its files; one that a killed run had finished but for its row is used."""
    turn = 1
    while True:
        name = date if turn == 1 else f"{date}-{turn}"
        turn += 1
        if name in taken:
            continue
        places = _places(name, given)
        files = tuple(
            KeptFile(file, sha, known.get((file, sha), places[file])) for file, (_, sha) in given.items()
        )
        if not os.path.lexists(folder / name):
            return name, files
        with suppress(OSError):
            if (folder / name / FILES).read_text(encoding="utf-8") == _list_of(files):
                return name, files


def seen_from_home(setup: Setup) -> dict[str, str]:
    """Every file of a setup as seen from its folder, parted by "/", and the sha256 of its bytes."""
    home = os.path.dirname(os.path.abspath(setup.path))
    return {_seen_from(home, path): sha for path, sha in setup.inputs_sha256.items()}


def _seen_from(home: str, path: str) -> str:
    try:
        return os.path.relpath(path, home).replace(os.sep, "/")
    except ValueError:  # another drive
        return path.replace(os.sep, "/")


def _places(name: str, files: Iterable[str]) -> dict[str, str]:
    """Where each file is kept, as seen from the diary's folder."""
    taken, places = {FILES}, {}
    for file in files:
        steps = [step for step in re.split(r"[/:]+", file) if step]
        up = sum(step == ".." for step in steps)
        inside = "/".join(steps[up:])
        place = f"{OUTSIDE}-{up}/{inside}" if up or os.path.isabs(file) else inside
        trial, turn = place, 2
        while trial.casefold() in taken:
            head, dot, tail = place.rpartition(".")
            trial, turn = (f"{head}-{turn}.{tail}" if dot else f"{place}-{turn}"), turn + 1
        taken.add(trial.casefold())
        places[file] = f"{name}/{trial}"
    return places


def _list_of(files: Iterable[KeptFile]) -> str:
    return csv_text(FILE_COLUMNS, [(f.file, f.sha256, f.kept_as) for f in files])


def _store(folder: Path, name: str, files: Sequence[KeptFile], new: Sequence[tuple[KeptFile, str]]) -> int:
    """Write a state's folder beside its place and give it its name once all of it is on the disk."""
    temporary = folder / f"{new_name()}.tmp"
    total = 0
    try:
        temporary.mkdir()
        for file, source in new:
            data = Path(source).read_bytes()
            if hashlib.sha256(data).hexdigest() != file.sha256:
                found = "changed while it was read; nothing was kept"
                raise OutputError(Problem(found, cure="run keep again", place=Place(source)))
            total += len(data)
            write_atomically(temporary.joinpath(*file.kept_as.split("/")[1:]), data)
        write_atomically(temporary / FILES, _list_of(files))
        os.rename(temporary, folder / name)
    except BaseException as cause:
        shutil.rmtree(temporary, ignore_errors=True)
        if isinstance(cause, OSError):
            raise OutputError(write_problem(cause, folder / name)) from cause
        if isinstance(cause, OutputError) and str(temporary) in str(cause):
            raise OutputError(*_renamed(cause, folder / name)) from cause
        raise
    return total


def _renamed(trouble: OutputError, meant: Path) -> Iterator[Problem]:
    for problem in trouble.problems:
        yield Problem(problem.found, problem.allowed, problem.cure, Place(str(meant)))


# ---- restoring --------------------------------------------------------------------------------------------


def restore_state(folder: Path, state: KeptState, target: Path) -> Path:
    """Write a state's files as they were into a folder that has none of them; gives its setup file.

    Files that lay above the setup's folder lie above it again, within ``target``.

    Raises
    ------
    OutputError
        If one of the files is there already, or cannot be written; SetupError if a kept file was changed.
    """
    up = max(sum(step == ".." for step in f.file.split("/")) for f in state.files)
    home = target.joinpath(*["tank", *["below"] * (up - 1)][:up]) if up else target
    paths = [_restored_path(home, f.file) for f in state.files]
    within = Path(os.path.normpath(target))
    if strange := [f.file for f, path in zip(state.files, paths, strict=True) if within not in path.parents]:
        found = f"{show(strange[0])} would be written outside {target}; nothing was written"
        raise SetupError(Problem(found, place=Place(str(folder / state.name / FILES))))
    there = [str(path) for path in paths if os.path.lexists(path)]
    if there:
        found = (
            f"{', '.join(there[:5])} {'is' if len(there) == 1 else 'are'} there already; nothing was written"
        )
        raise OutputError(Problem(found, "a folder without these files", "name another folder"))
    contents = [kept_bytes(folder, file) for file in state.files]
    with together():
        for path, data in zip(paths, contents, strict=True):
            write_atomically(path, data)
    return paths[0]


def _restored_path(home: Path, file: str) -> Path:
    """Where a file of a state goes; one that was named on another drive goes into a folder of its own."""
    if os.path.isabs(file) or re.match(r"[A-Za-z]:", file):
        return home / OUTSIDE / re.sub(r"^[/\\]+|:", "", file)
    return Path(os.path.normpath(home / file))


def kept_bytes(folder: Path, file: KeptFile) -> bytes:
    """The bytes of a kept file; SetupError where they are not those that were kept."""
    path = folder.joinpath(*file.kept_as.split("/"))
    try:
        data = path.read_bytes()
    except OSError as trouble:
        reason = (trouble.strerror or str(trouble)).lower()
        raise SetupError(Problem(f"cannot be read: {reason}", place=Place(str(path)))) from None
    if hashlib.sha256(data).hexdigest() != file.sha256:
        raise SetupError(changed_problem(path))
    return data


def changed_problem(path: Path) -> Problem:
    """The problem of a kept file with other bytes than those that were kept."""
    return Problem(
        "was changed after it was kept",
        "the bytes that its state names by their sha256",
        "bring it back from a copy; version control must not change line ends here",
        Place(str(path)),
    )


def day_of(date: str) -> datetime.date:
    """A date of the diary as a day."""
    return datetime.date.fromisoformat(date)
