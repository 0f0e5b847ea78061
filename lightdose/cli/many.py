"""Many setups in one run: which are meant, each on its own, what fails passed over, results in order.

A pool of the standard library either loses the task of a process that dies and waits for ever, or gives up
all others. Here every process has a pipe of its own: its end is seen at once, its task is told as lost, and
another process takes its place.
"""

from __future__ import annotations

import functools
import io
import json
import os
import shutil
import signal
import sys
from collections.abc import Callable, Generator, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager, redirect_stderr, redirect_stdout
from dataclasses import replace
from importlib import import_module
from multiprocessing import get_context
from multiprocessing.connection import Connection, wait
from pathlib import Path
from typing import TYPE_CHECKING, Any, Generic, TypeVar

import click

from lightdose.cli.asking import (
    Ask,
    ManySetups,
    code_of,
    is_terminal,
    json_of,
    print_blocks,
    say,
    stands_for_many,
    write_files,
)
from lightdose.errors import LightdoseError, OutputError, Place, Problem, SetupError, literal
from lightdose.files.writing import GrowingFile, file_names
from lightdose.frozen import dataclass
from lightdose.working_folder import pass_settings_by, safe_path, starts_can_be_safe

if TYPE_CHECKING:
    from lightdose.answers.answer import Answer, OverviewRow

TASK = TypeVar("TASK")
RESULT = TypeVar("RESULT")

AHEAD = 4
"""Tasks for each process that may be given out or wait for an earlier one: bounds the memory; our choice."""

PATIENCE_S = 5
"""A process that is to end has so long to take its unfinished files away; our choice."""

SAFE = "PYTHONSAFEPATH"


def cores() -> int:
    """Cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def in_order(
    function: Callable[[TASK], RESULT], tasks: Sequence[TASK], jobs: int, lost: Callable[[TASK], RESULT]
) -> Generator[RESULT, None, None]:
    """``function(task)`` for every task, on ``jobs`` processes; one job stays in this process.

    All stay here as well where Python was started so that no process can be kept off the working folder's
    modules.

    ``function`` is found by its name in a fresh process and raises nothing. ``lost`` stands in for it where a
    process ends in the middle of a task. Closing the iterator ends all processes.
    """
    if jobs == 1 or not starts_can_be_safe():
        yield from map(function, tasks)
        return
    workers: list[_Worker[TASK, RESULT]] = []
    done: dict[int, RESULT] = {}
    given = asked = 0
    try:
        while asked < len(tasks):
            while given < min(len(tasks), asked + AHEAD * jobs):
                worker = next((w for w in workers if w.task is None), None)
                if worker is None:
                    if len(workers) == jobs:
                        break
                    # No process is started that would not be ended.
                    with _interrupts_held():
                        worker = _Worker(function)
                        workers.append(worker)
                worker.give(given, tasks[given])
                given += 1
            for worker in _finished(workers):
                index = worker.task
                assert index is not None
                try:
                    done[index] = worker.result()
                except (EOFError, OSError):
                    done[index] = lost(tasks[index])
                    worker.end()
                    workers.remove(worker)
            while asked in done:
                yield done.pop(asked)
                asked += 1
    finally:
        for worker in workers:
            worker.end()


def _finished(workers: list[_Worker[TASK, RESULT]]) -> list[_Worker[TASK, RESULT]]:
    """Those with an answer, once there is one."""
    ready = set(wait([w.pipe for w in workers if w.task is not None and not w.pipe.closed]))
    return [w for w in workers if w.task is not None and (w.pipe in ready or w.pipe.closed)]


class _Worker(Generic[TASK, RESULT]):
    """A process and the task that it has."""

    def __init__(self, function: Callable[[TASK], RESULT]) -> None:
        # A fresh interpreter on every system: a copy of this one could hold locks of numpy's threads.
        context = get_context("spawn")
        self.pipe, theirs = context.Pipe()
        self.process = context.Process(target=_serve, args=(theirs, function), daemon=True)
        with _off_the_working_folder():
            self.process.start()
        theirs.close()
        self.task: int | None = None

    def give(self, index: int, task: TASK) -> None:
        """Hand over a task; where the process has ended already, its result says so."""
        self.task = index
        try:
            self.pipe.send(task)
        except OSError:
            self.pipe.close()

    def result(self) -> RESULT:
        """The result of its task; EOFError or OSError where the process has ended."""
        answer: RESULT = self.pipe.recv()
        self.task = None
        return answer

    def end(self) -> None:
        """Stop at once; its unfinished work is dropped, and taken away."""
        self.process.terminate()
        self.process.join(PATIENCE_S)
        if self.process.is_alive():
            self.process.kill()
            self.process.join()
        self.pipe.close()


def _leave(number: int, _: object) -> None:
    """End by way of all that takes unfinished files away."""
    raise SystemExit(128 + number)


@contextmanager
def _interrupts_held() -> Iterator[None]:
    """Ctrl-C waits, and never reaches the process that starts meanwhile: only this one answers to it."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


@contextmanager
def _off_the_working_folder() -> Iterator[None]:
    """A process that starts meanwhile, one that tracks resources too, takes no module from there."""
    environment, path = os.environ.get(SAFE), sys.path[:]
    os.environ[SAFE] = "1"
    sys.path[:] = safe_path(path)
    try:
        yield
    finally:
        sys.path[:] = path
        if environment is None:
            del os.environ[SAFE]
        else:
            os.environ[SAFE] = environment


def _serve(pipe: Connection, function: Callable[[TASK], RESULT]) -> None:
    """Answer tasks until the other end is gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, _leave)
    pass_settings_by()
    while True:
        try:
            task = pipe.recv()
        except (EOFError, OSError):
            return
        answer = function(task)
        try:
            pipe.send(answer)
        except OSError:
            return


FILE = "setup.toml"
DIARY = "states.csv"
"""A folder with this file is a diary."""


def setup_files(paths: Sequence[str]) -> list[str]:
    """The setups that the paths stand for, in their order, those below a folder sorted; none twice.

    Links to folders, hidden folders and diaries are left alone. A folder that cannot be read stands in the
    list as it is, so that reading it tells why.

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
        if DIARY in files:  # the setups in it are of days that are over
            folders.clear()
            continue
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


@dataclass(frozen=True)
class Wanted:
    """What a command does with each of many setups.

    ``module`` holds the command, ``options`` are its own; ``heads`` are the columns of the line of a setup
    that failed, the last for its first problem; ``csv`` the name of the table; ``worth_a_process`` how many
    setups take about as long as a process takes to start.
    """

    module: str
    options: Mapping[str, Any]
    ask: Ask
    heads: Sequence[str]
    csv: str = ""
    worth_a_process: int = 1

    @property
    def name(self) -> str:
        """The command's."""
        return self.module.rpartition(".")[2]

    @property
    def folders(self) -> dict[str, str]:
        """Every option that names a folder in which each setup gets one of its own, with that folder."""
        own = {f"--{key.replace('_', '-')}": self.options.get(key) for key in ("csv_schedule", "handout")}
        if self.name == "report":
            own["-o"] = self.options["output"] or "reports"
        named = {**own, "--figures": self.ask.figures}
        return {option: folder for option, folder in named.items() if folder is not None}


@dataclass(frozen=True)
class Outcome:
    """What came of one setup: its line, JSON and rows, or why there is none."""

    file: str
    row: OverviewRow | None = None
    json: str = ""
    table: str = ""
    inputs: tuple[str, ...] = ()
    code: int = 0
    messages: str = ""
    problems: tuple[Problem, ...] = ()
    fault: str = ""

    @property
    def told(self) -> tuple[Problem, ...]:
        """Its problems, a fault of ours among them in its last line."""
        return (*self.problems, *([Problem(self.fault.splitlines()[-1])] if self.fault else []))


def run_many(many: ManySetups, wanted: Wanted) -> int:
    """Run a command on many setups and print what it says; gives the exit code.

    Raises
    ------
    SetupError, click.UsageError
        Where a folder holds no setup, or a variation cannot be meant for any.
    """
    from lightdose.answers.check import overview_blocks

    asks = _listed(many, wanted.ask)
    check_folders(wanted.folders)
    _keep_off_setups(asks, wanted.folders)
    work = functools.partial(_worked, wanted, _debugging())
    jobs = many.jobs or max(1, min(cores(), len(asks) // wanted.worth_a_process))
    outcomes = in_order(work, asks, jobs, _lost)
    rows: list[OverviewRow] = []
    codes = {0}
    ask = wanted.ask
    with closing(outcomes), _growing(wanted, asks) as table, _Bar(len(asks), ask) as bar:
        printed = _JsonList(wanted.name) if ask.as_json else None
        for outcome in outcomes:
            if outcome.messages or outcome.told:
                bar.clear()
            _tell(outcome, ask.quiet)
            rows.append(_row(outcome, wanted.heads))
            codes.add(outcome.code)
            if table and outcome.row:
                table.add(outcome)
            if printed:
                printed.add(outcome)
            bar.step()
    if table:
        table.say(ask)
    if printed:
        printed.end()
    else:
        files = [each.request.path for each in asks]
        print_blocks(overview_blocks(labels(files) if is_terminal() else files, rows), ask)
    return next(code for code in (1, 2, 3, 0) if code in codes)


def _listed(many: ManySetups, ask: Ask) -> list[Ask]:
    """What is asked of each setup; a variation that is wrong for all is told once."""
    from lightdose.files.input_files import InputFiles

    many.variations.height_m()
    many.variations.overall_percent()
    shared = InputFiles()
    for named in (many.variations.swap_fixture, many.variations.schedule):
        if named is not None:
            shared.find(named, None)
    shared.finish()
    files = setup_files(many.paths)
    return [
        replace(ask, request=replace(many.variations, path=file), name=name)
        for file, name in zip(files, result_names(files), strict=True)
    ]


def check_folders(folders: Mapping[str, str]) -> None:
    """Refuse a file, by the option that names it, where many setups need a folder."""
    for option, folder in folders.items():
        if os.path.isdir(folder):
            continue
        if os.path.exists(folder) or os.path.splitext(folder)[1]:
            raise click.UsageError(f"{option} {folder} is one file, and there are many setups: name a folder")


def _keep_off_setups(asks: Sequence[Ask], folders: Mapping[str, str]) -> None:
    """Refuse a folder of results that holds a setup of this run: its files could bear the same names."""
    files = [ask.request.path for ask in asks]
    homes = {os.path.realpath(f if os.path.isdir(f) else os.path.dirname(f)) for f in files}
    for folder in folders.values():
        for ask in asks:
            target = ask.place(folder)
            if os.path.realpath(target) in homes:
                found = "is the folder of a setup of this run, whose files are never overwritten"
                cure = "choose another folder for the results"
                raise OutputError(Problem(found, cure=cure, place=Place(target)))


def _worked(wanted: Wanted, debug: bool, ask: Ask) -> Outcome:
    """One setup, whatever happens; what it prints is kept, so that no two setups mix their lines."""
    said = io.StringIO()
    blank = Outcome(ask.request.path)
    try:
        with redirect_stderr(said), redirect_stdout(said):
            command = import_module(wanted.module).command.callback.answer
            answer: Answer = command(ask, **wanted.options)
            write_files(answer, replace(ask, csv_file=None), "")
            done = replace(
                blank,
                row=answer.overview,
                # On one line: the standard library writes that three times as fast as an indented object.
                json=json_of(answer, indent=None) if ask.as_json else "",
                table=_rows_of(answer, ask) if ask.csv_file else "",
                inputs=tuple(name for setup in answer.setups for name in setup.inputs_sha256),
                problems=answer.problems,
                code=code_of(answer, ask),
            )
    except LightdoseError as trouble:
        done = replace(blank, problems=trouble.problems, code=2)
    except click.ClickException as refusal:
        problem = Problem(refusal.format_message(), place=Place(blank.file))
        done = replace(blank, problems=(problem,), code=2)
    except Exception as trouble:
        done = replace(blank, fault=_fault(trouble, debug), code=1)
    return replace(done, messages=said.getvalue())


def _rows_of(answer: Answer, ask: Ask) -> str:
    """The rows of an answer as CSV without a header, the setup in front of each."""
    from lightdose.files.csv_text import csv_text

    if answer.sheet is None:
        return ""
    rows = ([ask.request.path, *cells] for cells in answer.sheet.values())
    return csv_text(["setup"], rows, ask.csv_dialect).partition("\n")[2]


def _fault(trouble: Exception, debug: bool) -> str:
    if debug:
        import traceback

        return "".join(traceback.format_exception(trouble)).rstrip()
    return (
        f"unexpected trouble, a fault of lightdose: {type(trouble).__name__}: {trouble}; --debug shows more"
    )


def _lost(ask: Ask) -> Outcome:
    fault = "the process that computed it was ended from outside, or had no memory left"
    return Outcome(ask.request.path, fault=fault, code=1)


def _debugging() -> bool:
    context = click.get_current_context(silent=True)
    given = context.get_parameter_source("debug") if context else None
    return given is click.core.ParameterSource.COMMANDLINE


def _row(outcome: Outcome, heads: Sequence[str]) -> OverviewRow:
    from lightdose.answers.check import failed_overview

    return outcome.row or failed_overview(outcome.told, heads)


def _tell(outcome: Outcome, quiet: bool) -> None:
    """What a setup said on its way, and why it failed, under its file."""
    if outcome.messages:
        say(outcome.messages.rstrip("\n"), quiet=quiet)
    if outcome.fault:
        say(f"{literal(outcome.file)}: {outcome.fault}")
    elif outcome.told:
        n = sum(p.stands_for for p in outcome.told)
        head = f"{literal(outcome.file)}: {n} problem{'' if n == 1 else 's'}"
        say("\n".join([head, *map(str, outcome.told)]))


class _JsonList:
    """One JSON object whose list grows on stdout: nothing is held back."""

    def __init__(self, name: str) -> None:
        from lightdose.answers.provenance import program_json
        from lightdose.files.program import this_program

        self._lead = "\n"
        shared: dict[str, Any] = {"title": None, "basis": None, "counts": None, "calculated_counts": None}
        shared["cautions"] = []
        head = {
            "format": f"lightdose-{name}-many/1",
            **shared,
            "provenance": program_json(this_program()),
        }
        click.echo(f'{json.dumps(head)[:-1]},\n"setups": [', nl=False)

    def add(self, outcome: Outcome) -> None:
        """One setup: its file and its result, or its problems."""
        from lightdose.answers.check import problems_json

        entry = (
            f'"result": {outcome.json}'
            if outcome.json
            else '"problems": ' + json.dumps(problems_json(outcome.told))
        )
        file = json.dumps(os.path.realpath(outcome.file))
        click.echo(f'{self._lead}{{"file": {file}, {entry}}}', nl=False)
        self._lead = ",\n"

    def end(self) -> None:
        """Close the list and the object."""
        click.echo("\n]}")


class _GrowingTable:
    """The CSV of all setups: its rows are written as they come."""

    def __init__(self, file: GrowingFile, schema: str) -> None:
        self.file, self.schema, self.rows = file, schema, 0

    def add(self, outcome: Outcome) -> None:
        """The rows of one setup; none of its files is written over."""
        self.file.keep_off([Path(name) for name in outcome.inputs])
        self.file.write(outcome.table)
        self.rows += outcome.table.count("\n")

    def say(self, ask: Ask) -> None:
        """Name the file with its rows, and lay the Table Schema beside it."""
        from lightdose.files.writing import is_device, schema_place

        ask.say(f"wrote {self.file.description}, {self.rows} row{'' if self.rows == 1 else 's'}")
        if not is_device(self.file.path):
            ask.save(schema_place(self.file.path), self.schema, ())


@contextmanager
def _growing(wanted: Wanted, asks: Sequence[Ask]) -> Iterator[_GrowingTable | None]:
    """The CSV of all setups, open, with its first line; None where none is asked for."""
    if wanted.ask.csv_file is None:
        yield None
        return
    from lightdose.answers import fields_of
    from lightdose.answers.field import Field, Sheet
    from lightdose.answers.provenance import program_json
    from lightdose.files.csv_text import csv_text, schema_text
    from lightdose.files.program import this_program
    from lightdose.files.writing import growing_atomically, is_device, output_target, schema_place

    first = Field("setup", "setup", lambda row: row, kind="string", what="file of the setup")
    columns = Sheet((first, *fields_of(wanted.name))).columns
    dialect = wanted.ask.csv_dialect
    target = output_target(wanted.ask.csv_file, wanted.csv)
    if not is_device(target):
        schema_place(target)  # refused before anything is computed
    with growing_atomically(target, only_own=not wanted.ask.replace) as file:
        file.keep_off([Path(ask.request.path) for ask in asks])
        file.write(csv_text([c.name for c in columns], (), dialect))
        yield _GrowingTable(file, schema_text(columns, dialect, program_json(this_program())))


class _Bar:
    """Progress on stderr for a person who waits; messages pass above it."""

    def __init__(self, length: int, ask: Ask) -> None:
        mixed = ask.as_json and is_terminal()
        shown = sys.stderr.isatty() and not (mixed or ask.quiet)
        self._shown = shown and os.environ.get("TERM") != "dumb"
        self._bar: Any = click.progressbar(
            length=length, label="setups", file=sys.stderr, hidden=not self._shown, show_pos=True
        )

    def __enter__(self) -> _Bar:
        self._bar.__enter__()
        return self

    def __exit__(self, *trouble: Any) -> None:
        self._bar.__exit__(*trouble)

    def clear(self) -> None:
        """Take the bar off its line, so that a message can stand there."""
        if self._shown:
            blank = " " * (shutil.get_terminal_size().columns - 1)
            click.echo(f"\r{blank}\r", nl=False, err=True)

    def step(self) -> None:
        """One setup further."""
        self._bar.update(1)
