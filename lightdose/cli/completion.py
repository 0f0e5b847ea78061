"""``lightdose completion``: what TAB completes, the script a shell needs, and how to call lightdose.

Only the standard library reads here, for TAB must answer at once: no numpy, no checks, no messages. What
cannot be read completes to nothing.
"""

from __future__ import annotations

import copy
import os
import re
import shlex
from collections.abc import Iterable, Mapping
from typing import Any

import click
from click.shell_completion import (
    BashComplete,
    CompletionItem,
    PowerShellComplete,
    add_completion_class,
    split_arg_string,
)

from lightdose.cli.asking import debug_option, plain_command, quiet_option, say

FIRST_COMMANDS = ("init", "check", "dose")
"""Commands of a first session; later ones need no such hint."""


def how_to_call(program: str, folder: str, environ: Mapping[str, str], *, windows: bool) -> str:
    """A sentence on how to call the program next time; empty where a shell finds it by its name.

    Parameters
    ----------
    program : the path by which it was called
    folder : the working folder
    environ : for PATH and the shell
    windows : whether this is Windows
    """
    home = os.path.dirname(os.path.abspath(program))
    known = environ.get("PATH", "").split(os.pathsep)
    if os.path.normcase(home) in {os.path.normcase(os.path.abspath(place)) for place in known if place}:
        return ""
    shown = os.path.relpath(home, folder) if home.startswith(os.path.join(folder, "")) else home
    script = _activation(environ, windows)
    if not os.path.isfile(os.path.join(home, script)):
        return ""
    path = os.path.join(shown, script)
    typed = f'"{path}"' if " " in path else path
    if not windows:
        typed = f"source {typed}"
    elif " " in path and script.endswith(".ps1"):
        typed = f"& {typed}"
    return f"next time: `{typed}` once in each window, then `lightdose ...`"


def _activation(environ: Mapping[str, str], windows: bool) -> str:
    """The script of an environment that the shell in use can run."""
    if windows:
        return "activate.bat" if "PROMPT" in environ else "Activate.ps1"
    shell = os.path.basename(environ.get("SHELL", ""))
    return {"fish": "activate.fish", "csh": "activate.csh", "tcsh": "activate.csh"}.get(shell, "activate")


FOLDERS = ("DIR",)
FILES = ("FILE", "FILE...", "PATH", "DIR|FILE")
NAMES = {
    "SITE": "site", "CORAL": "coral", "--site": "site", "--meter": "meter", "KEY": "group",
    "CORAL=SITE": "coral", "CORAL=CORAL": "coral", "CORAL=DOSE": "coral", "HERE=THERE": "site",
    "coral": "coral", "topic": "topic", "asked": "group",
}  # fmt: skip
"""What names stand under a metavar, an option, or an argument."""


def completes(command: click.Command) -> click.Command:
    """A copy of the command, each of its values completing to files or names where its help says so."""
    command = copy.copy(command)
    command.params = [copy.copy(parameter) for parameter in command.params]
    for parameter in command.params:
        if not isinstance(parameter.type, type(click.STRING) | click.Path):
            continue
        words = (parameter.metavar or "", parameter.opts[0], parameter.name or "")
        kind = next((NAMES[word] for word in words if word in NAMES), None)
        if kind is not None:
            parameter.type = _Name(kind)
        elif words[0] in FOLDERS + FILES:
            parameter.type = click.Path(file_okay=words[0] not in FOLDERS)
    return command


class _Name(click.ParamType[str]):
    """A name out of the setup that stands on the line."""

    def __init__(self, kind: str) -> None:
        self.name = kind

    def shell_complete(
        self, ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[CompletionItem[Any]]:
        first, equals, second = incomplete.rpartition("=")
        kind = "site" if equals and param.metavar == "CORAL=SITE" else self.name
        # A name of two lines would be two answers to the shell, and TAB never steers a terminal.
        known = [name for name in _named(kind, second) if isinstance(name, str) and name.isprintable()]
        items = [CompletionItem(first + equals + name) for name in known if name.startswith(second)]
        # A path may stand there as well: the shell looks for one where no name begins so.
        return [*items, CompletionItem(incomplete, type="file")] if param.name == "asked" else items


def _named(kind: str, typed: str) -> Iterable[str]:
    """The names of a kind in the first setup of the line; none where it cannot be read."""
    import tomllib
    from pathlib import Path

    if kind == "topic":
        from lightdose.guide import TOPICS

        return TOPICS
    if kind == "group":
        shipped = Path(__file__).parents[1] / "data"
        keys = list(tomllib.loads((shipped / "coral_groups.toml").read_text(encoding="utf-8"))["group"])
        if not typed:
            return keys
        names = tomllib.loads((shipped / "coral_names.toml").read_text(encoding="utf-8"))
        blocks = (*names["genera"], *names["synonyms"], names["plain"])
        return [*keys, *(name for block in blocks for name in block["names"])]
    # The line itself is searched: an option that still lacks its value leaves click's arguments empty.
    paths = [Path(word) for word in split_arg_string(os.environ.get("COMP_WORDS", ""))[2:]]
    setups = [
        p / "setup.toml" if os.path.isdir(p) else p for p in paths if p.suffix == ".toml" or os.path.isdir(p)
    ]
    if not setups:
        return ()
    from lightdose.files.toml_guard import tables_for_names

    data = tables_for_names(setups[0])
    try:
        if kind == "meter":
            return list(data.get("meter", {}))
        own = [table["name"] for table in data.get(kind, [])]
        racks = data.get("rack", []) if kind == "site" else []
        return own + [site for rack in racks for site in _rack(rack)]
    except (ValueError, LookupError, TypeError, AttributeError):
        return ()


def _rack(rack: dict[str, Any]) -> list[str]:
    """The sites of a rack, its rows named on letter by letter."""
    rows, name = min(rack["rows"], 26), rack["name"]
    named = rack.get("row_names") or [name[:-1] + chr(ord(name[-1]) + row) for row in range(rows)]
    return [f"{row}{column}" for row in named for column in range(1, min(rack["columns"], 100) + 1)]


@add_completion_class
class _Bash(BashComplete):
    """Names are escaped, twice: the script reads its lines without ``read -r``.

    Behind an opened quotation mark nothing can be escaped in one way that all of bash understands: there only
    names stand that need it not.
    """

    def format_completion(self, item: CompletionItem[Any]) -> str:
        value = str(item.value)
        if item.type != "plain" or shlex.quote(value) == value:
            return f"{item.type},{value}"
        if _quotation_is_open(os.environ.get("COMP_WORDS", "")):
            return f"plain,{value}" if re.fullmatch(r"[\w\- ./=:%+@,#]+", value) else "none,"
        escaped = "".join(c if c.isalnum() or c in "-_./=:%+@" else f"\\{c}" for c in value)
        return "plain," + escaped.replace("\\", "\\\\")


def _quotation_is_open(line: str) -> bool:
    """Whether the last word of a line stands behind a quotation mark."""
    mark, escaped = "", False
    for letter in line:
        if escaped:
            escaped = False
        elif letter == "\\" and mark != "'":
            escaped = True
        elif not mark and letter in "'\"":
            mark = letter
        elif letter == mark:
            mark = ""
    return bool(mark)


@add_completion_class
class _PowerShell(PowerShellComplete):
    """Names with other marks than those of a plain word are quoted; a path keeps its backslashes."""

    def get_completion_args(self) -> tuple[list[str], str]:
        os.environ["COMP_WORDS"] = os.environ["COMP_WORDS"].replace("\\", "\\\\")
        return super().get_completion_args()

    def format_completion(self, item: CompletionItem[Any]) -> str:
        value = str(item.value)
        if item.type == "plain" and not re.fullmatch(r"[\w./=:+-]+", value):
            # It takes the marks of print for its own single quotation mark too.
            item = CompletionItem("'" + re.sub("(['\u2018-\u201b])", r"\1\1", value) + "'", help=item.help)
        return super().format_completion(item)


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
