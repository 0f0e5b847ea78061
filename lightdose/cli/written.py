"""Writing what commands make: figures as SVG and PNG, tables as CSV."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

from lightdose.cli.asking import say

if TYPE_CHECKING:
    from lightdose.model.setup import Setup
    from lightdose.present.figures.canvas import Drawing


def inputs_of(*setups: Setup) -> list[Path]:
    """Every file that the setups were read from: no result may take its place."""
    return [Path(name) for setup in setups for name in setup.inputs_sha256]


def save_drawings(drawings: Sequence[Drawing], folder: str, inputs: Iterable[Path], quiet: bool) -> None:
    """Write every drawing as SVG and PNG, with a progress bar for a person who waits."""
    from lightdose.files.writing import write_atomically
    from lightdose.present.figures.canvas import render

    kept = list(inputs)
    forms: tuple[Literal["svg", "png"], ...] = ("svg", "png")
    tasks = [(drawing, form) for drawing in drawings for form in forms]
    written = []
    hidden = quiet or not sys.stderr.isatty()
    with click.progressbar(tasks, label="figures", file=sys.stderr, hidden=hidden) as bar:
        for drawing, form in bar:
            path = Path(folder) / f"{drawing.name}.{form}"
            written.append(write_atomically(path, render(drawing, form), inputs=kept))
    for sentence in written:
        say(f"wrote {sentence}", quiet=quiet)


def save_table(path: Path, text: str, schema: str, rows: int, inputs: Iterable[Path], quiet: bool) -> None:
    """Write a table as CSV, named with its rows, and its Table Schema beside it where it is a file."""
    from lightdose.files.writing import write_atomically

    kept = list(inputs)
    written = write_atomically(path, text, inputs=kept)
    say(f"wrote {written}, {rows} row{'' if rows == 1 else 's'}", quiet=quiet)
    if path.is_file():
        beside = write_atomically(path.with_suffix(".schema.json"), schema, inputs=kept)
        say(f"wrote {beside}", quiet=quiet)
