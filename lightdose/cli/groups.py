"""`lightdose groups`: the coral groups and what their numbers stand on."""

from __future__ import annotations

import click

from lightdose.cli.options import debug_option, is_terminal, json_option


@click.command()
@click.argument("setup", metavar="[SETUP]", required=False, type=click.Path())
@click.option("--groups", "groups_file", metavar="FILE", help="Add the groups of this my-groups.toml.")
@json_option
@debug_option
def command(setup: str | None, groups_file: str | None, as_json: bool) -> None:
    """List coral groups and genera with their usual light, grade and sources.

    \b
    Example:
      lightdose groups
      lightdose groups my-tank/setup.toml

    With SETUP, the setup's own groups are listed too; --groups adds those of one file.
    """
    from pathlib import Path

    from lightdose.files.groups_file import default_groups, read_own_groups, with_own_groups

    if setup is None:
        groups, sources = default_groups()
    else:
        from lightdose.files.setup_file import read_setup

        read = read_setup(setup)
        groups, sources = dict(read.groups), dict(read.group_sources)
    if groups_file is not None:
        groups = with_own_groups(groups, read_own_groups(Path(groups_file), groups_file, groups))
    if as_json:
        from lightdose.files.groups_json import groups_json
        from lightdose.files.results_json import dump

        click.echo(dump(groups_json(groups, sources)))
        return
    from lightdose.present.group_list import group_blocks, group_records

    if is_terminal():
        from shutil import get_terminal_size

        lines = group_blocks(groups, sources, max(40, min(get_terminal_size((80, 24)).columns, 100)))
    else:
        lines = group_records(groups, sources)
    for line in lines:
        click.echo(line)
