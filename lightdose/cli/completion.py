"""``lightdose completion``: the script that a shell needs to complete our commands."""

from __future__ import annotations

import click

from lightdose.cli.asking import debug_option, plain_command, quiet_option, say

INSTALL = {
    "bash": "lightdose completion bash > ~/.local/share/bash-completion/completions/lightdose",
    "zsh": "lightdose completion zsh > ~/.zfunc/_lightdose, with fpath+=~/.zfunc before compinit in ~/.zshrc",
    "fish": "lightdose completion fish > ~/.config/fish/completions/lightdose.fish",
    "powershell": "lightdose completion powershell >> $PROFILE",
}
"""Where the script goes, so that new shells read it."""


@plain_command
@click.argument("shell", type=click.Choice(list(INSTALL)))
@quiet_option
@debug_option
def command(shell: str, quiet: bool) -> None:
    """The script that lets TAB complete commands, options, files and names in a shell.

    \b
    Example:
      lightdose completion bash > lightdose-completion.bash

    \b
    Where it goes, once; then open a new shell:
      bash        ~/.local/share/bash-completion/completions/lightdose
      zsh         ~/.zfunc/_lightdose, with fpath+=~/.zfunc before compinit in ~/.zshrc
      fish        ~/.config/fish/completions/lightdose.fish
      powershell  at the end of $PROFILE

    TAB completes commands, options, their choices, files, and the sites, corals and meters of the setup on
    the line. The script calls the lightdose that is found first on the path.
    """
    from click.shell_completion import get_completion_class

    from lightdose.cli import COMPLETES, cli

    shell_class = get_completion_class(shell)
    assert shell_class is not None
    click.echo(shell_class(cli, {}, "lightdose", COMPLETES).source(), nl=False)
    say(f"next: {INSTALL[shell]}", quiet=quiet)
