"""The frame of every command: options that all share, one setup or many, and where an answer goes.

A command is a function from what was asked to an ``Answer``; ``answers`` makes a click command of it. JSON,
CSV with its Table Schema, figures, terminal, pipe, exit codes and many setups are seen to here, once.
"""

from __future__ import annotations

import functools
import sys
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import dropwhile
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from lightdose.cli.options import (
    ManySetups,
    SetupRequest,
    csv_option,
    debug_option,
    dialect_option,
    example_first,
    figures_option,
    imperial_option,
    is_terminal,
    jobs_option,
    json_option,
    no_color_option,
    quiet_option,
    say,
    stands_for_many,
    strict_option,
    takes_setup_as,
    takes_setups,
    wants_colour,
)

if TYPE_CHECKING:
    from lightdose.answers.blocks import Answer, Block
    from lightdose.answers.field import Sheet
    from lightdose.files.dialect import Dialect
    from lightdose.model.fixture import Fixture, Programme
    from lightdose.model.setup import LengthUnit, Setup
    from lightdose.present.figures.canvas import Drawing

all_option = click.option("--all", "everything", is_flag=True, help="Every table, row and caution.")


@dataclass(frozen=True)
class Ask:
    """What a person asked for, besides a command's own options.

    ``name`` tells a setup among many: files that it writes go into folders of that name. ``first`` is the
    setup before the one of ``request`` where a command sets two beside one another.
    """

    request: SetupRequest = field(default_factory=lambda: SetupRequest(""))
    as_json: bool = False
    csv_file: str | None = None
    csv_dialect: Literal["plain", "excel-eu"] = "plain"
    figures: str | None = None
    imperial: bool = False
    strict: bool = False
    everything: bool = False
    quiet: bool = False
    no_color: bool = False
    name: str = ""
    first: str = ""

    def pair(self) -> tuple[SetupRequest, SetupRequest | None]:
        """The setup that comes first, as it is, and the other with the variations; or one setup with them."""
        if self.first and self.request.path:
            return SetupRequest(self.first), self.request
        return replace(self.request, path=self.first or self.request.path), None

    def setup(self) -> Setup:
        """The setup with its variations; SetupError with every problem."""
        return self.request.read()

    def unit(self, setup: Setup) -> LengthUnit:
        """Of lengths in tables and figures: the setup's own, or inches."""
        return "in" if self.imperial else setup.length_unit

    def place(self, folder: str) -> str:
        """The folder that an option names; among many setups this one's own folder in it."""
        return str(Path(folder, self.name)) + "/" if self.name else folder

    def say(self, message: str) -> None:
        """A message for people, unless they want none."""
        say(message, quiet=self.quiet)

    def progress(self, label: str, length: int, *, worth: bool = True) -> Any:
        """A progress bar on stderr for a person who waits; hidden where it is not ``worth`` it."""
        hidden = self.quiet or not worth or not sys.stderr.isatty()
        return click.progressbar(length=length, label=label, file=sys.stderr, hidden=hidden)

    def save(self, path: Path, data: bytes | str, inputs: Iterable[Path], more: str = "") -> None:
        """Write a file in one step and name it with its size; ``more`` follows."""
        from lightdose.files.writing import write_atomically

        self.say(f"wrote {write_atomically(path, data, inputs=inputs)}{more}")

    def save_sheet(self, sheet: Sheet, target: str, default_name: str, inputs: Iterable[Path]) -> None:
        """Write a table as CSV, named with its rows, and its Table Schema beside it where it is a file."""
        from lightdose.files.dialect import csv_text, schema_text
        from lightdose.files.writing import output_target

        path, kept = output_target(target, default_name), list(inputs)
        names = [c.name for c in sheet.columns]
        rows = len(sheet.rows)
        text = csv_text(names, sheet.values(), self.csv_dialect)
        self.save(path, text, kept, f", {rows} row{'' if rows == 1 else 's'}")
        if path.is_file():
            self.save(path.with_suffix(".schema.json"), schema_text(sheet.columns, self.csv_dialect), kept)

    def save_drawings(self, drawings: Sequence[Drawing], inputs: Iterable[Path]) -> None:
        """Write every drawing as SVG and PNG, with a progress bar for a person who waits."""
        from lightdose.files.writing import write_atomically
        from lightdose.present.figures.canvas import render

        kept, folder = list(inputs), Path(self.place(self.figures or ""))
        forms: tuple[Literal["svg", "png"], ...] = ("svg", "png")
        tasks = [(drawing, form) for drawing in drawings for form in forms]
        written = []
        with self.progress("figures", len(tasks)) as bar:
            for drawing, form in tasks:
                path = folder / f"{drawing.name}.{form}"
                written.append(write_atomically(path, render(drawing, form), inputs=kept))
                bar.update(1)
        for sentence in written:
            self.say(f"wrote {sentence}")


def answers(
    *,
    setup: str | None = "SETUP",
    csv: str = "",
    figures: bool = False,
    imperial: bool = False,
    strict: bool = False,
    folds: bool = True,
    many: tuple[str, ...] = (),
    worth_a_process: int = 1,
) -> Callable[[Callable[..., Answer]], click.Command]:
    """Make a command of a function that takes an ``Ask`` and its own options and gives an ``Answer``.

    Its docstring is its help: a sentence, then the example, then the rest; the help shows the example first.

    Parameters
    ----------
    setup : what the command calls its setup, in brackets where it may be left out; None takes none,
        "SETUP..." takes many, and "A B" two, or further ones by ``--also`` where ``many`` is given
    csv : name of the file that ``--csv FOLDER`` makes; "" has no ``--csv``
    figures, imperial, strict : whether it has these options
    folds : whether ``--all`` has something to show
    many : the columns of the line of a setup that failed, the last for its first problem
    worth_a_process : how many setups take about as long as a process takes to start
    """

    def decorate(function: Callable[..., Answer]) -> click.Command:
        def run(**given: Any) -> int:
            setups: ManySetups | None = given.pop("many", None)
            own = {key: given.pop(key) for key in list(given) if key in Ask.__dataclass_fields__}
            ask = Ask(**own)
            if setups is not None:
                from lightdose.cli.many import Wanted, run_many

                wanted = Wanted(function.__module__, given, ask, many, csv, worth_a_process)
                return run_many(setups, wanted)
            return give(function(ask, **given), ask, csv)

        functools.update_wrapper(run, function)
        # Many setups call it in processes of their own.
        run.answer = function  # type: ignore[attr-defined]
        wrapped: Callable[..., Any] = run
        for has, option in (
            (True, no_color_option),
            (True, quiet_option),
            (strict, strict_option),
            (imperial, imperial_option),
            (folds, all_option),
            (figures, figures_option),
            (bool(csv), dialect_option),
            (bool(csv), csv_option),
            (True, json_option),
        ):
            wrapped = option(wrapped) if has else wrapped
        if setup is None:
            wrapped = debug_option(wrapped)
        elif " " in setup:
            wrapped = _takes_pair(setup, many=bool(many))(wrapped)
        elif setup.endswith("..."):
            wrapped = takes_setups(wrapped)
        else:
            wrapped = takes_setup_as(setup, required=not setup.startswith("["))(wrapped)
        return click.command(help=example_first(function.__doc__ or ""))(wrapped)

    return decorate


def _takes_pair(names: str, *, many: bool) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Add two arguments for setups, and ``--also`` for further ones where a command takes many."""
    before, after = names.split()

    def decorated(function: Callable[..., Any]) -> Callable[..., Any]:
        def wrapped(first: str, request: SetupRequest, **rest: Any) -> Any:
            paths = (first, *rest.pop("also", ()))
            jobs = rest.pop("jobs", None)
            if not many or not stands_for_many(paths):
                return function(first=first, request=request, **rest)
            if request.path:
                other = after.strip("[]")
                raise click.UsageError(
                    f"a comparison takes two setups: leave out {other}, or --also and folders of setups"
                )
            setups = ManySetups(paths, replace(request, path=first), jobs)
            return function(many=setups, request=request, **rest)

        functools.update_wrapper(wrapped, function)
        made: Callable[..., Any] = takes_setup_as(after, required=not after.startswith("["))(wrapped)
        if many:
            also = "A page for this setup too; repeatable."
            made = click.option("--also", type=click.Path(), multiple=True, metavar="SETUP", help=also)(made)
            made = jobs_option(made)
        return click.argument("first", metavar=before, type=click.Path())(made)

    return decorated


def give(answer: Answer, ask: Ask, csv: str) -> int:
    """Write what was asked for, print the answer, and give the exit code; problems are told on stderr."""
    write_files(answer, ask, csv)
    if answer.problems and not ask.as_json:
        n = sum(problem.stands_for for problem in answer.problems)
        for line in (*map(str, answer.problems), f"{n} problem{'' if n == 1 else 's'}"):
            say(line)
    if ask.as_json:
        click.echo(json_of(answer))
    else:
        print_blocks(answer.blocks, ask)
    return code_of(answer, ask)


def code_of(answer: Answer, ask: Ask) -> int:
    """0 done, 1 a fault, 2 problems in the files, 3 a target missed that ``--strict`` holds to."""
    if answer.failed:
        return 1
    return 2 if answer.problems else 3 if ask.strict and answer.missed else 0


def write_files(answer: Answer, ask: Ask, csv: str) -> None:
    """The files of ``--csv`` and ``--figures``; none takes the place of a file that was read."""
    inputs = [*inputs_of(*answer.setups), *map(Path, answer.inputs)]
    if ask.csv_file and answer.sheet is not None:
        ask.save_sheet(answer.sheet, ask.csv_file, csv, inputs)
    if ask.figures and answer.pictures is not None:
        drawings = answer.pictures()
        if not drawings:
            ask.say("no figure: there is no light to show")
        ask.save_drawings(drawings, inputs)


def inputs_of(*setups: Setup) -> list[Path]:
    """Every file that the setups were read from: no result may take its place."""
    return [Path(name) for setup in setups for name in setup.inputs_sha256]


def json_of(answer: Answer) -> str:
    """JSON text of an answer with every digit; a NaN is a fault of the program and raises ValueError."""
    import json

    from lightdose import __version__
    from lightdose.answers.blocks import envelope

    return json.dumps(envelope(answer, __version__), allow_nan=False, indent=1, ensure_ascii=True)


def print_blocks(blocks: Iterable[Block], ask: Ask) -> None:
    """Blocks on stdout: for a terminal as wide as its window, for a pipe without wrapping."""
    from lightdose.present.text import Window, lines_of

    window = Window(everything=ask.everything)
    if is_terminal():
        import shutil

        width = shutil.get_terminal_size().columns
        window = replace(window, width=width, wraps=True, styled=wants_colour(ask.no_color))
    for line in dropwhile(lambda line: not line, lines_of(blocks, window)):
        click.echo(line)


def schedule_targets(
    ask: Ask, target: str | None, fixtures: Sequence[Fixture], option: str = "-o"
) -> dict[str, Path]:
    """Fixture -> the file that its schedule goes to; empty where none was asked for."""
    if target is None:
        return {}
    from lightdose.files.writing import file_names, output_target

    names = [f.name for f in fixtures]
    paths = [output_target(ask.place(target), name) for name in file_names(names, ".csv")]
    if len(set(paths)) < len(paths):
        raise click.UsageError(
            f"{option} {target} is one file, and there are {len(paths)} fixtures: name a folder"
        )
    return dict(zip(names, paths, strict=True))


def save_schedules(
    ask: Ask,
    targets: Mapping[str, Path],
    programmes: Mapping[str, Programme],
    fixtures: Sequence[Fixture],
    inputs: Iterable[Path],
    dialect: Dialect | None = None,
) -> None:
    """Write the programme of each fixture that has a target, and name each file with its rows."""
    from lightdose.files.schedule_csv import glowing_gaps, write_schedule
    from lightdose.files.units import format_time

    kept = list(inputs)
    for fixture in fixtures:
        if fixture.name not in targets:
            continue
        programme, glowing, target = programmes[fixture.name], fixture.type.glowing, targets[fixture.name]
        channels = [c.name for c in fixture.type.channels]
        text = write_schedule(programme, channels, dialect or ask.csv_dialect, glowing)
        ask.save(target, text, kept, f", {text.count(chr(10)) - 1} rows")
        for channel, gap_h in glowing_gaps(programme, glowing).items():
            end, start = map(format_time, gap_h)
            ask.say(
                f"{target.name}: {channel!r} gives light at level 0 too, and no row can switch it off within "
                f"a programme: in this file it also glows from {end} to {start}. "
                f"If all channels of {fixture.name!r} run within one 24 h, it stays off."
            )
