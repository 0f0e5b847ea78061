"""What a person asked for, and where the answer goes: options, messages, files, terminal or pipe."""

from __future__ import annotations

import functools
import os
import sys
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import field, replace
from itertools import dropwhile, islice
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from lightdose.frozen import dataclass

if TYPE_CHECKING:
    from lightdose.answers.answer import Answer
    from lightdose.answers.blocks import Block
    from lightdose.files.csv_text import Dialect
    from lightdose.model.fixture import Fixture, Programme
    from lightdose.model.setup import LengthUnit, Setup
    from lightdose.present.figures.canvas import Drawing

HIGHEST_M = 20
"""No fixture hangs higher above the water; as in setup.toml."""


def length_option(*names: str, help: str, **more: Any) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """An option that takes a length; all of them say alike what a bare number is."""
    return click.option(*names, metavar="LENGTH", help=f"{help.rstrip('.')}; bare numbers are cm.", **more)


def metres(text: str, option: str | None = None) -> float:
    """A length as a person types it, "25 cm" or 25; click.BadParameter where it is none. [m]"""
    from lightdose.files.units import UnitProblem, typed_length

    try:
        return typed_length(text)
    except UnitProblem as trouble:
        raise click.BadParameter(str(trouble.problem), param_hint=option) from None


def metres_above_0(text: str) -> float:
    """The type of an option that takes a length above 0. [m]"""
    length_m = metres(text)
    if not length_m > 0:
        raise click.BadParameter(f'"{text}" is not above 0')
    return length_m


@dataclass(frozen=True)
class SetupRequest:
    """A setup file and the variations asked for; ``read`` reads it, raising SetupError with every problem."""

    path: str
    fixture_height: str | None = None
    swap_fixture: str | None = None
    schedule: str | None = None
    all_channels: tuple[str, ...] = ()

    @property
    def variation(self) -> str:
        """The variations asked for, in words; empty without any."""
        named = (
            ("fixture height", self.fixture_height),
            ("fixture", self.swap_fixture),
            ("schedule", self.schedule),
        )
        words = [f"{what} {value}" for what, value in named if value is not None]
        return ", ".join([*words, *(f"all channels {text} %" for text in self.all_channels)])

    def read(self, *, uncalibrated: bool = False) -> Setup:
        """The setup with its variations; without its calibration where a new one is to be found."""
        from lightdose.files.setup_file import Variations, read_setup

        if not self.path:
            raise click.UsageError("SETUP: this name of a file is empty")
        return read_setup(
            self.path,
            Variations(
                fixture_height_m=self.height_m(),
                swap_fixture=Path(self.swap_fixture) if self.swap_fixture else None,
                schedule=Path(self.schedule) if self.schedule else None,
                all_channels=self.overall_percent(),
                uncalibrated=uncalibrated,
            ),
        )

    def overall_percent(self) -> dict[str, float]:
        """Percent of the overall setting by fixture, "" for all; click.BadParameter where it is none."""
        from lightdose.files.units import UnitProblem, parse_number

        percents: dict[str, float] = {}
        for text in self.all_channels:
            name, _, number = text.rpartition("=")
            trouble = "stands twice for one fixture" if name in percents else ""
            try:
                percents[name] = parse_number(number)
            except UnitProblem as problem:
                trouble = str(problem.problem)
            else:
                trouble = trouble or ("" if 0 <= percents[name] <= 1000 else "is outside 0 to 1000 percent")
            if trouble:
                raise click.BadParameter(f'"{text}": {trouble}', param_hint="--all-channels")
        return percents

    def height_m(self) -> float | None:
        """The height asked for; click.BadParameter or SetupError where it is none."""
        if self.fixture_height is None:
            return None
        height_m = metres(self.fixture_height, "--fixture-height")
        if not 0 < height_m <= HIGHEST_M:
            from lightdose.errors import Problem, SetupError

            found = "is not above the water" if height_m <= 0 else "is outside the range"
            allowed = f"above 0, to {HIGHEST_M} m"
            raise SetupError(Problem(f'--fixture-height "{self.fixture_height}" {found}', allowed))
        return height_m


@dataclass(frozen=True)
class ManySetups:
    """Several setups, or folders of them, with variations for all; ``jobs`` None means as many as help."""

    paths: tuple[str, ...]
    variations: SetupRequest
    jobs: int | None = None


def takes_setups(function: Callable[..., Any]) -> Callable[..., Any]:
    """Add the argument SETUP..., variations and ``--jobs``.

    The command gets ``request: SetupRequest`` for one setup; for several, or for a folder of them, it gets
    ``many: ManySetups`` too, else None.
    """

    def wrapped(setup: tuple[str, ...], jobs: int | None, **rest: Any) -> Any:
        request = SetupRequest(setup[0], *(rest.pop(name) for name in VARIATIONS))
        many = ManySetups(setup, request, jobs) if stands_for_many(setup) else None
        return function(request=request, many=many, **rest)

    functools.update_wrapper(wrapped, function)
    wrapped = jobs_option(_with_variations(wrapped))
    argument = click.argument(
        "setup", metavar="SETUP...", type=click.Path(), required=True, nargs=-1, callback=_named
    )
    return debug_option(argument(wrapped))


def stands_for_many(paths: Sequence[str]) -> bool:
    """Whether there are several paths, or a folder without a setup of its own."""
    return len(paths) > 1 or any(
        os.path.isdir(path) and not os.path.isfile(os.path.join(path, "setup.toml")) for path in paths
    )


def takes_setup_as(
    metavar: str, *, required: bool = True, varies: bool = True
) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Add a setup and its variations, by the name that the command has for it: SETUP, TO.

    Where it does not vary, no help lists the variations: they are read so that the command says why not.

    The command gets one ``request: SetupRequest``; where the setup is not required and left out, its path is
    empty.
    """

    def decorated(function: Callable[..., Any]) -> Callable[..., Any]:
        def wrapped(setup: str | None, **rest: Any) -> Any:
            request = SetupRequest(setup or "", *(rest.pop(name) for name in VARIATIONS))
            return function(request=request, **rest)

        functools.update_wrapper(wrapped, function)
        argument = click.argument(
            "setup", metavar=metavar, type=click.Path(), required=required, callback=_named
        )
        return debug_option(argument(_with_variations(wrapped, hidden=not varies)))

    return decorated


def _named(ctx: click.Context, param: click.Parameter, value: Any) -> Any:
    """Refuse an empty name, as an unset variable of a shell leaves: it would mean this folder, or nothing."""
    if value == "" or (isinstance(value, tuple) and "" in value):
        raise click.BadParameter("this name of a file is empty", ctx, param)
    return value


LINES_AT_ONCE = 200
VARIATIONS = ("fixture_height", "swap_fixture", "schedule", "all_channels")


def _with_variations(function: Callable[..., Any], *, hidden: bool = False) -> Callable[..., Any]:
    """Add the options that change a setup without copying it."""
    height, fixture, schedule, overall = (f"--{name.replace('_', '-')}" for name in VARIATIONS)
    told: dict[str, Any] = {"hidden": hidden}
    file = told | {"metavar": "FILE", "callback": _named}
    every = "Set the overall level of all fixtures, such as 46, or left=46 for one; repeatable."
    for decorate in (
        click.option(overall, metavar="PERCENT", multiple=True, help=every, **told),
        click.option(schedule, help="Use this schedule CSV for all fixtures.", **file),
        click.option(fixture, help="Use this fixture file for all fixtures.", **file),
        length_option(height, help='Hang all fixtures this high, such as "25 cm" or "10 in".', **told),
    ):
        function = decorate(function)
    return function


class NumberRange(click.FloatRange):
    """A number within bounds; NaN, which no bound stops, is no number."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """The number, or click.BadParameter."""
        number = super().convert(value, param, ctx)
        if number != number:
            self.fail(f"'{value}' is not a number.", param, ctx)
        return number


rise_option = click.option(
    "--rise",
    type=NumberRange(0, 100, min_open=True),
    default=10.0,
    show_default=True,
    metavar="PERCENT",
    help="Most rise of a coral's daily dose in a week.",
)
days_option = click.option(
    "--days", type=click.IntRange(1, 60), default=7, show_default=True, help="Days from step to step."
)


class Share(NumberRange):
    """A number of percent, given as a share."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """The share, or click.BadParameter."""
        return super().convert(value, param, ctx) / 100


json_option = click.option("--json", "as_json", is_flag=True, help="One JSON object on stdout, unrounded.")
csv_option = click.option("--csv", "csv_file", metavar="FILE", help="Write the table as CSV.")
dialect_option = click.option(
    "--csv-dialect",
    type=click.Choice(["plain", "excel-eu"]),
    default="plain",
    show_default=True,
    help="excel-eu writes semicolons and decimal commas.",
)
figures_option = click.option(
    "--figures", metavar="DIR", help="Write figures as SVG and PNG into this folder."
)
replace_option = click.option(
    "--replace", is_flag=True, help="Let results replace files of another kind that lightdose did not write."
)
imperial_option = click.option("--imperial", is_flag=True, help="Inches in tables and figures.")
quiet_option = click.option("--quiet", is_flag=True, help="No messages on stderr.")
no_color_option = click.option("--no-color", is_flag=True, help="No colour; NO_COLOR does the same.")
jobs_option = click.option(
    "--jobs",
    type=click.IntRange(1, 256),
    metavar="N",
    help="Processes that share many setups; default as many as there are cores.",
)
strict_option = click.option("--strict", is_flag=True, help="Exit 3 when the result misses its target.")


def debug_option(function: Callable[..., Any]) -> Callable[..., Any]:
    """Add ``--debug``; the flag is read from the command line by ``cli.CommandGroup.main``."""
    return click.option(
        "--debug", is_flag=True, expose_value=False, help="Show the full trace of an unexpected fault."
    )(function)


def example_first(doc: str) -> str:
    """A docstring, a sentence and then an example, as the help of a command: the example leads."""
    import inspect

    first, example, *rest = inspect.cleandoc(doc).split("\n\n")
    return "\n\n".join([example, first, *rest])


def plain_command(function: Callable[..., Any]) -> click.Command:
    """Make a click command of a function that answers by itself; its help shows the example first."""
    return click.command(help=example_first(function.__doc__ or ""))(function)


def say(message: str, *, quiet: bool = False) -> None:
    """A message for people, on stderr; names in it steer no terminal."""
    if not quiet:
        from lightdose.errors import literal

        click.echo("\n".join(literal(line) for line in message.split("\n")), err=True)


def is_terminal() -> bool:
    """Whether stdout is a terminal that a person reads."""
    return sys.stdout.isatty()


def wants_colour(no_color: bool) -> bool:
    """Colour only on a capable terminal, and never against NO_COLOR or ``--no-color``."""
    return (
        is_terminal() and not no_color and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"
    )


def start_date(start: str | None, option: str = "--start") -> str | None:
    """The date that an option names, written 2026-03-14; click.BadParameter for anything else."""
    import datetime

    if start is None:
        return None
    try:
        date = datetime.date.fromisoformat(start)
    except ValueError:
        raise click.BadParameter(f'"{start}" is not a date such as 2026-03-14', param_hint=option) from None
    if not 1900 <= date.year <= 9000:
        raise click.BadParameter(f'"{start}" is no date of a tank', param_hint=option)
    return date.isoformat()


def today(ask: Ask) -> str:
    """Today's date, and a message that it was taken."""
    import datetime

    day = datetime.date.today().isoformat()
    ask.say(f"dated {day}, today; --date names another")
    return day


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
    replace: bool = False
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

    def save(
        self, path: Path, data: bytes | str, inputs: Iterable[Path], more: str = "", *, blank: bool = False
    ) -> None:
        """Write a result in one step and name it with its size; ``more`` follows.

        What lightdose did not write stays unless asked for or ``blank``, but for a table of the same columns.
        """
        from lightdose.files.writing import once_written, write_atomically

        what = write_atomically(path, data, inputs=inputs, only_own=not (self.replace or blank))
        once_written(lambda: self.say(f"wrote {what}{more}"))

    def save_sheet(self, answer: Answer, target: str, default_name: str, inputs: Iterable[Path]) -> None:
        """Write a table as CSV, named with its rows, and its Table Schema beside it where it is a file."""
        from lightdose.answers.answer import provenance_of
        from lightdose.files.csv_text import csv_text, schema_text
        from lightdose.files.program import this_program
        from lightdose.files.writing import is_device, output_target, schema_place, together

        assert answer.sheet is not None
        sheet = answer.sheet

        path, kept = output_target(target, default_name), list(inputs)
        names = [c.name for c in sheet.columns]
        rows = len(sheet.rows)
        text = csv_text(names, sheet.values(), self.csv_dialect)
        with together():
            self.save(path, text, kept, f", {rows} row{'' if rows == 1 else 's'}")
            if not is_device(path):
                schema = schema_text(sheet.columns, self.csv_dialect, provenance_of(answer, this_program()))
                self.save(schema_place(path), schema, kept)

    def save_drawings(self, drawings: Sequence[Drawing], inputs: Iterable[Path]) -> None:
        """Write every drawing as SVG and PNG, with a progress bar for a person who waits."""
        from lightdose.files.writing import together, write_atomically
        from lightdose.present.figures.canvas import render

        kept, folder = list(inputs), Path(self.place(self.figures or ""))
        forms: tuple[Literal["svg", "png"], ...] = ("svg", "png")
        tasks = [(drawing, form) for drawing in drawings for form in forms]
        written = []
        with together(), self.progress("figures", len(tasks)) as bar:
            for drawing, form in tasks:
                path = folder / f"{drawing.name}.{form}"
                content = render(drawing, form)
                written.append(write_atomically(path, content, inputs=kept, only_own=not self.replace))
                bar.update(1)
        for sentence in written:
            self.say(f"wrote {sentence}")
        from lightdose.present.figures.fonts import missing_words

        if drawings and missing_words():
            self.say(f"{missing_words()}; the page of lightdose report has the letters themselves")


paper_option = click.option(
    "--paper",
    type=click.Choice(["a4", "letter"]),
    help="Sheet of a printed page; default letter where the setup is in inches, else a4.",
)


language_option = click.option(
    "--language",
    type=click.Choice(["en", "de", "fr", "es", "it", "nl"]),
    default="en",
    show_default=True,
    help="Language of a printed page: English, German, French, Spanish, Italian, Dutch.",
)


def save_sheet_of_paper(
    ask: Ask, target: str, default_name: str, drawing: Drawing, key: str, inputs: Iterable[Path]
) -> Path:
    """Write one printed page, PDF or a page for a browser by the end of its name; gives its path."""
    from lightdose.answers.language import language
    from lightdose.files.writing import page_target
    from lightdose.present.figures.fonts import missing_words
    from lightdose.present.paper import file_bytes

    path = page_target(target, default_name, (".pdf", ".html", ".htm"))
    page = path.suffix.lower() in (".html", ".htm")
    ask.save(path, file_bytes(drawing, language(key), page=page), inputs)
    if not page and missing_words():
        name = path.with_suffix(".html").name
        ask.say(
            f"{missing_words()}; {name} in its place gives a page that a browser draws with its own fonts"
        )
    return path


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
        ask.save_sheet(answer, ask.csv_file, csv, inputs)
    if ask.figures and answer.pictures is not None:
        drawings = answer.pictures()
        if not drawings:
            ask.say("no figure: there is nothing to show")
        ask.save_drawings(drawings, inputs)


def inputs_of(*setups: Setup) -> list[Path]:
    """Every file that the setups were read from: no result may take its place."""
    return [Path(name) for setup in setups for name in setup.inputs_sha256]


def json_of(answer: Answer, indent: int | None = 1) -> str:
    """JSON text of an answer with every digit; a NaN is a fault of the program and raises ValueError."""
    import json

    from lightdose.answers.answer import envelope
    from lightdose.files.program import this_program

    return json.dumps(envelope(answer, this_program()), allow_nan=False, indent=indent, ensure_ascii=True)


def print_blocks(blocks: Iterable[Block], ask: Ask) -> None:
    """Blocks on stdout: for a terminal as wide as its window, for a pipe without wrapping."""
    from lightdose.present.text import Window, lines_of

    window = Window(everything=ask.everything)
    if is_terminal():
        import shutil

        width = shutil.get_terminal_size().columns
        window = replace(window, width=width, wraps=True, styled=wants_colour(ask.no_color))
    lines = dropwhile(lambda line: not line, lines_of(blocks, window))
    while some := list(islice(lines, LINES_AT_ONCE)):
        click.echo("\n".join(some))


def save_schedules(
    ask: Ask,
    targets: Mapping[str, Path],
    programmes: Mapping[str, Programme],
    fixtures: Sequence[Fixture],
    inputs: Iterable[Path],
    dialect: Dialect | None = None,
) -> None:
    """Write the programme of each fixture that has a target, and name each file with its rows."""
    from lightdose.files.schedule_csv import gaps_lit_at_zero, schedule_text
    from lightdose.files.units import format_time
    from lightdose.files.writing import together

    kept = list(inputs)
    written = [fixture for fixture in fixtures if fixture.name in targets]
    with together():
        for fixture in written:
            programme = programmes[fixture.name]
            channels = [c.name for c in fixture.type.channels]
            text = schedule_text(programme, channels, dialect or ask.csv_dialect, fixture.type.lit_at_zero)
            ask.save(targets[fixture.name], text, kept, f", {text.count(chr(10)) - 1} rows")
    for fixture in written:
        programme, target = programmes[fixture.name], targets[fixture.name]
        lit_at_zero = fixture.type.lit_at_zero
        for channel, gap_h in gaps_lit_at_zero(programme, lit_at_zero).items():
            end, start = map(format_time, gap_h)
            ask.say(
                f"{target.name}: {channel!r} gives light at level 0 too, and no row can switch it off within "
                f"a programme: in this file it also glows from {end} to {start}. "
                f"If all channels of {fixture.name!r} run within one 24 h, it stays off."
            )
