"""How to call lightdose from now on, told to a newcomer who called it by the path of an environment."""

from __future__ import annotations

import os
from collections.abc import Mapping

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
