"""Many setups in one run: each on its own, what fails told and passed over, the results in order."""

from __future__ import annotations

import functools
import io
import json
import os
import shutil
import sys
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing, contextmanager, redirect_stderr, redirect_stdout
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

import click

from lightdose.cli.options import ManySetups, SetupRequest, is_terminal, say, wants_colour
from lightdose.cli.workers import cores, in_order
from lightdose.errors import LightdoseError, OutputError, Place, Problem, literal

if TYPE_CHECKING:
    from lightdose.files.dialect import Column, Dialect
    from lightdose.files.writing import GrowingFile
    from lightdose.model.overview import OverviewRow


@dataclass(frozen=True)
class OneOfMany:
    """A setup among many: how to read it, what tells it from the others, a name for its files."""

    request: SetupRequest
    label: str
    name: str

    @property
    def file(self) -> str:
        """The setup as it was found."""
        return self.request.path

    def folder_in(self, folder: str) -> str:
        """This setup's own folder in the one that an option names."""
        return os.path.join(folder, self.name, "")


@dataclass(frozen=True)
class Answer:
    """What a command has to say about one setup.

    ``table`` is its CSV with the setup in front of every row; ``problems`` are those that `check` found.
    """

    row: OverviewRow
    result: Mapping[str, Any] | None = None
    table: str = ""
    inputs: Sequence[str] = ()
    missed: bool = False
    problems: tuple[Problem, ...] = ()


class Command(Protocol):
    """A command's work on one setup; found by its name in a fresh process, its options bound by partial."""

    def __call__(self, one: OneOfMany) -> Answer:
        """The answer; any exception is told as that setup's."""


@dataclass(frozen=True)
class Outcome:
    """An answer, or why there is none, as it comes back from a process."""

    one: OneOfMany
    answer: Answer | None
    result_json: str | None = None
    messages: str = ""
    problems: tuple[Problem, ...] = ()
    fault: str = ""

    @property
    def told(self) -> tuple[Problem, ...]:
        """Its problems, a fault of ours among them in its last line."""
        if self.answer is not None:
            return self.answer.problems
        return (*self.problems, *([Problem(self.fault.splitlines()[-1])] if self.fault else []))


@dataclass(frozen=True)
class Table:
    """The CSV of all setups: where, its first line, and the schema to lay beside."""

    path: Path
    head: str
    schema: str


@dataclass(frozen=True)
class Wanted:
    """What is to be written of all setups together.

    ``heads`` are the columns of the line of a setup that failed, the last for its first problem; ``folders``
    the options that name a folder in which every setup gets one of its own. ``worth_a_process``
    is how many setups take about as long as a process takes to start.
    """

    format: str
    heads: Sequence[str]
    as_json: bool = False
    table: Table | None = None
    folders: Mapping[str, str | None] = field(default_factory=dict)
    worth_a_process: int = 1
    strict: bool = False
    quiet: bool = False
    no_color: bool = False


def table_of_many(
    target: str | None, default_name: str, columns: Sequence[Column], dialect: Dialect, schema: str
) -> Table | None:
    """The CSV that ``--csv`` asks for, each row led by its setup; None where it was not given."""
    from lightdose.files.dialect import setup_led_csv
    from lightdose.files.writing import output_target

    if target is None:
        return None
    head = setup_led_csv([c.name for c in columns], (), dialect, "")
    return Table(output_target(target, default_name), head, schema)


def run_many(many: ManySetups, command: Command, wanted: Wanted) -> int:
    """Run a command on many setups and print what it says; gives the exit code.

    Raises
    ------
    SetupError, click.UsageError
        Where a folder holds no setup, or a variation cannot be meant for any.
    """
    from lightdose.present.overview import closing_line, overview_line, show_overview

    ones = _listed(many)
    check_folders(wanted.folders)
    _keep_off_setups(ones, wanted.folders)
    work = functools.partial(_worked, command, wanted.as_json, _debugging())
    outcomes = in_order(work, ones, many.jobs or _processes(len(ones), wanted.worth_a_process), _lost)
    rows: list[OverviewRow] = []
    codes, n_lines = {0}, 0
    with closing(outcomes), _growing(wanted.table, ones) as table, _Bar(len(ones), wanted) as bar:
        printed = _JsonList(wanted.format) if wanted.as_json else None
        for outcome in outcomes:
            if outcome.messages or outcome.told:
                bar.clear()
            _tell(outcome, wanted.quiet)
            rows.append(_row(outcome, wanted.heads))
            codes.add(_code(outcome))
            if table and outcome.answer:
                table.keep_off([Path(name) for name in outcome.answer.inputs])
                lines = outcome.answer.table.partition("\n")[2]
                table.write(lines)
                n_lines += lines.count("\n")
            if printed:
                printed.add(outcome)
            elif not is_terminal():
                click.echo(overview_line(rows[-1]))
            bar.step()
    if table and wanted.table:
        _say_table(table, wanted.table, n_lines, wanted.quiet)
    if printed:
        printed.end()
    elif is_terminal():
        show_overview(rows, sys.stdout, colour=wants_colour(wanted.no_color))
    else:
        click.echo(closing_line(rows))
    return next(code for code in (1, 2, 3, 0) if code in codes and (code != 3 or wanted.strict))


def _code(outcome: Outcome) -> int:
    """What one setup asks the exit code to be; 3 counts only where it was asked for."""
    if outcome.fault:
        return 1
    if outcome.answer is None or outcome.answer.problems:
        return 2
    return 3 if outcome.answer.missed else 0


def _listed(many: ManySetups) -> list[OneOfMany]:
    from dataclasses import replace

    from lightdose.cli.setup_list import labels, result_names, setup_files
    from lightdose.files.input_files import InputFiles

    # What is wrong for all is told once.
    many.variations.height_m()
    shared = InputFiles()
    for named in (many.variations.swap_fixture, many.variations.schedule):
        if named is not None:
            shared.find(named, None)
    shared.finish()
    files = setup_files(many.paths)
    return [
        OneOfMany(replace(many.variations, path=file), label, name)
        for file, label, name in zip(files, labels(files), result_names(files), strict=True)
    ]


def check_folders(folders: Mapping[str, str | None]) -> None:
    """Refuse a file, by the option that names it, where many setups need a folder."""
    for option, folder in folders.items():
        if folder is None or os.path.isdir(folder):
            continue
        if os.path.exists(folder) or os.path.splitext(folder)[1]:
            raise click.UsageError(f"{option} {folder} is one file, and there are many setups: name a folder")


def _keep_off_setups(ones: Sequence[OneOfMany], folders: Mapping[str, str | None]) -> None:
    """Refuse a folder of results that holds a setup of this run: its files could bear the same names."""
    homes = {os.path.realpath(f if os.path.isdir(f) else os.path.dirname(f)) for f in (o.file for o in ones)}
    for folder in filter(None, folders.values()):
        for one in ones:
            target = one.folder_in(folder)
            if os.path.realpath(target) in homes:
                found = "is the folder of a setup of this run, whose files are never overwritten"
                cure = "choose another folder for the results"
                raise OutputError(Problem(found, cure=cure, place=Place(target)))


def _processes(n: int, worth_a_process: int) -> int:
    """All cores, but no process that would do less than its start costs."""
    return max(1, min(cores(), n // worth_a_process))


def _worked(command: Command, as_json: bool, debug: bool, one: OneOfMany) -> Outcome:
    """One setup, whatever happens; what it prints is kept, so that no two setups mix their lines."""
    said = io.StringIO()
    try:
        with redirect_stderr(said), redirect_stdout(said):
            answer = command(one)
            # On one line: the standard library writes that three times as fast as an indented object.
            text = json.dumps(answer.result, allow_nan=False) if as_json else None
    except LightdoseError as trouble:
        return Outcome(one, None, messages=said.getvalue(), problems=trouble.problems)
    except click.ClickException as refusal:
        problem = Problem(refusal.format_message(), place=Place(one.file))
        return Outcome(one, None, messages=said.getvalue(), problems=(problem,))
    except Exception as trouble:
        return Outcome(one, None, messages=said.getvalue(), fault=_fault(trouble, debug))
    from dataclasses import replace

    return Outcome(one, replace(answer, result=None), text, said.getvalue())


def _fault(trouble: Exception, debug: bool) -> str:
    if debug:
        import traceback

        return "".join(traceback.format_exception(trouble)).rstrip()
    return (
        f"unexpected trouble, a fault of lightdose: {type(trouble).__name__}: {trouble}; --debug shows more"
    )


def _lost(one: OneOfMany) -> Outcome:
    return Outcome(
        one, None, fault="the process that computed it was ended from outside, or had no memory left"
    )


def _debugging() -> bool:
    context = click.get_current_context(silent=True)
    given = context.get_parameter_source("debug") if context else None
    return given is click.core.ParameterSource.COMMANDLINE


def _row(outcome: Outcome, heads: Sequence[str]) -> OverviewRow:
    from lightdose.present.overview import failed_overview

    if outcome.answer is not None:
        return outcome.answer.row
    return failed_overview(outcome.one.file, outcome.one.label, outcome.told, heads)


def _tell(outcome: Outcome, quiet: bool) -> None:
    """What a setup said on its way, and why it failed, under its file."""
    if outcome.messages:
        say(outcome.messages.rstrip("\n"), quiet=quiet)
    if outcome.fault:
        say(f"{literal(outcome.one.file)}: {outcome.fault}")
    elif outcome.told:
        n = sum(p.stands_for for p in outcome.told)
        head = f"{literal(outcome.one.file)}: {n} problem{'' if n == 1 else 's'}"
        say("\n".join([head, *map(str, outcome.told)]))


class _JsonList:
    """One JSON object whose list grows on stdout: nothing is held back."""

    def __init__(self, name: str) -> None:
        self._lead = "\n"
        click.echo(f'{{"format": {json.dumps(name)},\n"setups": [', nl=False)

    def add(self, outcome: Outcome) -> None:
        """One setup: its file and its result, or its problems."""
        from lightdose.files.problem_json import problems_json

        problems = outcome.result_json is None
        entry = (
            '"problems": ' + json.dumps(problems_json(outcome.told))
            if problems
            else f'"result": {outcome.result_json}'
        )
        file = json.dumps(os.path.abspath(outcome.one.file))
        click.echo(f'{self._lead}{{"file": {file}, {entry}}}', nl=False)
        self._lead = ",\n"

    def end(self) -> None:
        """Close the list and the object."""
        click.echo("\n]}")


@contextmanager
def _growing(table: Table | None, ones: Sequence[OneOfMany]) -> Iterator[GrowingFile | None]:
    """The CSV of all setups, open, with its first line; None where none is asked for."""
    if table is None:
        yield None
        return
    from lightdose.files.writing import growing_atomically

    with growing_atomically(table.path) as file:
        file.keep_off([Path(one.file) for one in ones])
        file.write(table.head)
        yield file


def _say_table(file: GrowingFile, table: Table, n_rows: int, quiet: bool) -> None:
    from lightdose.files.writing import write_atomically

    say(f"wrote {file.description}, {n_rows} row{'' if n_rows == 1 else 's'}", quiet=quiet)
    if table.path.is_file():
        beside = write_atomically(table.path.with_suffix(".schema.json"), table.schema)
        say(f"wrote {beside}", quiet=quiet)


class _Bar:
    """Progress on stderr for a person who waits; messages pass above it."""

    def __init__(self, length: int, wanted: Wanted) -> None:
        mixed = wanted.as_json and is_terminal()
        shown = sys.stderr.isatty() and not (mixed or wanted.quiet)
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
