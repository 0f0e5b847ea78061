"""`lightdose groups`: the coral groups and what their numbers stand on."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from lightdose.cli.asking import Ask
from lightdose.cli.frame import answers

if TYPE_CHECKING:
    from lightdose.answers.answer import Answer


@answers(setup=None, csv="groups.csv", folds=False)
@click.argument("setup", metavar="[SETUP]", required=False, type=click.Path())
@click.option("--groups", "groups_file", metavar="FILE", help="Add the groups of this my-groups.toml.")
def command(_: Ask, setup: str | None, groups_file: str | None) -> Answer:
    """List coral groups and genera with their usual light, grade and sources.

    \b
    Example:
      lightdose groups
      lightdose groups my-tank/setup.toml

    With SETUP, the setup's own groups are listed too; --groups adds those of one file.
    """
    from dataclasses import replace
    from pathlib import Path

    from lightdose.answers.library import groups_answer
    from lightdose.files.groups_file import default_groups, read_own_groups, with_own_groups
    from lightdose.files.setup_file import read_setup

    read = None if setup is None else read_setup(setup)
    groups, sources = (dict(read.groups), dict(read.group_sources)) if read else default_groups()
    if groups_file is not None:
        groups = with_own_groups(groups, read_own_groups(Path(groups_file), groups_file, groups))
    answer = groups_answer(groups, sources, read.title if read else None)
    return replace(answer, setups=(read,) if read else ())
