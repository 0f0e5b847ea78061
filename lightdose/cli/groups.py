"""`lightdose groups`: the coral groups and what their numbers stand on."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from lightdose.cli.asking import Ask
from lightdose.cli.frame import answers

if TYPE_CHECKING:
    from lightdose.answers.answer import Answer


@answers(setup=None, csv="groups.csv", folds=False)
@click.argument("asked", metavar="[NAME|SETUP]", required=False)
@click.option("--groups", "groups_file", metavar="FILE", help="Add the groups of this my-groups.toml.")
def command(_: Ask, asked: str | None, groups_file: str | None) -> Answer:
    """List coral groups and genera with their usual light, grade and sources.

    \b
    Example:
      lightdose groups
      lightdose groups staghorn
      lightdose groups my-tank/setup.toml

    NAME is a group, a genus, an older name of one or what the trade calls it. With SETUP, a path, the setup's
    own groups are listed too; --groups adds those of one file.
    """
    import os
    from dataclasses import replace
    from pathlib import Path

    from lightdose.answers.library import groups_answer
    from lightdose.files.coral_names import CoralNames
    from lightdose.files.groups_file import default_groups, read_own_groups, with_own_groups
    from lightdose.files.setup_file import read_setup
    from lightdose.files.toml_tables import suggestion

    a_path = asked is not None and (
        os.path.exists(asked) or asked.endswith(".toml") or {"/", os.sep} & {*asked}
    )
    read = read_setup(asked) if asked is not None and a_path else None
    groups, sources = (dict(read.groups), dict(read.group_sources)) if read else default_groups()
    if groups_file is not None:
        groups = with_own_groups(groups, read_own_groups(Path(groups_file), groups_file, groups))
    names = CoralNames(groups)
    name = None if asked is None or a_path else names.find(asked) or names.one(asked, suggestion)
    answer = groups_answer(names.listed(), sources, read.title if read else None, name)
    return replace(answer, setups=(read,) if read else ())
