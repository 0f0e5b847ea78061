"""``lightdose init``: a complete invented example to start from."""

from __future__ import annotations

import os.path
from typing import TYPE_CHECKING

import click

from lightdose.cli.asking import debug_option, plain_command, quiet_option, say

if TYPE_CHECKING:
    from pathlib import Path


@plain_command
@click.argument("folder", metavar="DIR", type=click.Path())
@quiet_option
@debug_option
def command(folder: str, quiet: bool) -> None:
    """Write a complete invented example to start from.

    \b
    Example:
      lightdose init my-tank
      lightdose check my-tank/setup.toml

    DIR is made if it is not there. Files that are there already are never overwritten.
    """
    from pathlib import Path

    from lightdose.files.writing import together, write_atomically

    source, target = example_folder(), Path(folder)
    names = [path.relative_to(source) for path in sorted(source.rglob("*")) if path.is_file()]
    _refuse_what_is_there(target, [target / name for name in names])
    with together():
        written = [write_atomically(target / name, (source / name).read_bytes()) for name in names]
    for sentence in written:
        click.echo(sentence)
    from lightdose.answers.words import as_typed

    setup = as_typed(str(target / "setup.toml"))
    say(f"next: lightdose check {setup}", quiet=quiet)
    say(f"then: lightdose dose {setup}", quiet=quiet)


def example_folder() -> Path:
    """The example: ``lightdose/_first_tank`` in a wheel, ``examples/first-tank`` in a checkout."""
    from pathlib import Path

    package = Path(__file__).resolve().parents[1]
    installed = package / "_first_tank"
    return installed if installed.is_dir() else package.parent / "examples" / "first-tank"


def _refuse_what_is_there(target: Path, files: list[Path]) -> None:
    from lightdose.errors import OutputError, Problem

    if os.path.exists(target) and not os.path.isdir(target):
        raise OutputError(Problem(f"{target} is a file, not a folder", cure="name another folder"))
    there = [str(path) for path in files if os.path.lexists(path)]
    if there:
        raise OutputError(
            Problem(
                f"{', '.join(there)} {'are' if len(there) > 1 else 'is'} there already; nothing was written",
                "a folder without these files",
                "name another folder",
            )
        )
