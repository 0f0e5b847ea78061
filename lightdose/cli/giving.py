"""Where an answer goes: JSON, CSV, figures, terminal or pipe, programmes as files, and the exit code."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import dropwhile
from pathlib import Path
from typing import TYPE_CHECKING

import click

from lightdose.cli.asking import Ask, is_terminal, say, wants_colour

if TYPE_CHECKING:
    from lightdose.answers.answer import Answer
    from lightdose.answers.blocks import Block
    from lightdose.files.writing import Dialect
    from lightdose.model.fixture import Fixture, Programme
    from lightdose.model.setup import Setup


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
    from lightdose.answers.answer import envelope

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
