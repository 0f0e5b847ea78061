"""`lightdose desk`: the tank on a page, for people who never open a text file."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from lightdose.cli.asking import debug_option, plain_command

if TYPE_CHECKING:
    from pathlib import Path


@plain_command
@debug_option
@click.option("--no-browser", is_flag=True, help="Print the address and open no browser.")
@click.argument("setup", metavar="[SETUP]", type=click.Path(), default=".")
def command(setup: str, no_browser: bool) -> int:
    """The tank on a page in the browser: look, try, change, measure, save.

    \b
    Example:
      lightdose desk my-tank/setup.toml
      lightdose desk new-tank

    SETUP is a file or its folder; without one, this folder. Where no setup stands yet, eight questions make
    one. The page is served on this machine alone, to the browser that opens the address printed here; nothing
    goes over a network. Files change when you save, and keep their comments; what is not saved is offered
    again next time. Ctrl-C ends the desk, or 30 minutes without an open page.
    """
    from lightdose.desk.server import DeskServer

    server = DeskServer(_setup_file(setup))

    def ready() -> None:
        click.echo(f"The desk is open at {server.address}")
        how = "Ctrl-C ends it. Your files change only when you save; notes go into the diary at once."
        click.echo(how, err=True)

    server.run(opens=not no_browser, ready=ready)
    click.echo("The desk is closed.", err=True)
    return 0


def _setup_file(setup: str) -> Path:
    """The file that is opened: that of a folder, or one that a first save will write."""
    import os.path
    from pathlib import Path

    from lightdose.files.kept_setup import kept_words

    if kept_words(setup):
        raise click.UsageError("desk takes today's setup, not a kept state: leave out @ and the date")
    path = Path(setup)
    if os.path.isdir(path) or not path.suffix:
        return path / "setup.toml"
    if path.suffix.lower() != ".toml":
        raise click.UsageError(f"{setup} is no setup: name a setup.toml, or a folder")
    return path
