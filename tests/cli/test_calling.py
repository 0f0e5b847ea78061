"""A newcomer who calls lightdose by its path is told how to call it by its name."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from lightdose.cli.completion import how_to_call


def environment(home: Path) -> Path:
    """A folder of programs as venv makes it; gives the path of lightdose in it."""
    home.mkdir(parents=True)
    for name in ("lightdose", "activate", "activate.fish", "activate.csh", "activate.bat", "Activate.ps1"):
        (home / name).touch()
    return home / "lightdose"


@pytest.mark.identity
@pytest.mark.parametrize(
    ("shell", "typed"),
    [
        ("/bin/bash", "source .venv/bin/activate"),
        ("/usr/bin/zsh", "source .venv/bin/activate"),
        ("/usr/bin/fish", "source .venv/bin/activate.fish"),
        ("/bin/tcsh", "source .venv/bin/activate.csh"),
    ],
)
def test_program_of_an_environment_off_the_path_names_the_script_of_the_shell(
    shell: str, typed: str, tmp_path: Path
) -> None:
    """The line can be typed in the working folder as it stands."""
    program = environment(tmp_path / ".venv" / "bin")
    told = how_to_call(str(program), str(tmp_path), {"PATH": "/usr/bin", "SHELL": shell}, windows=False)
    assert f"`{typed}`" in told


@pytest.mark.identity
@pytest.mark.parametrize(
    ("more", "typed"),
    [({}, '& "my tanks/bin/Activate.ps1"'), ({"PROMPT": "$P$G"}, '"my tanks/bin/activate.bat"')],
)
def test_windows_shells_get_their_own_script_in_quotes_where_needed(
    more: dict[str, str], typed: str, tmp_path: Path
) -> None:
    """PowerShell needs & before a name in quotes, cmd does not."""
    program = environment(tmp_path / "my tanks" / "bin")
    told = how_to_call(str(program), str(tmp_path), {"PATH": "/usr/bin"} | more, windows=True)
    assert f"`{typed}`".replace("/", os.sep) in told


@pytest.mark.identity
def test_program_on_the_path_or_outside_an_environment_is_told_nothing(tmp_path: Path) -> None:
    """An activated environment, pipx and `python -m lightdose` need no hint."""
    program = environment(tmp_path / ".venv" / "bin")
    on_path = {"PATH": f"/usr/bin{os.pathsep}{program.parent}"}
    assert how_to_call(str(program), str(tmp_path), on_path, windows=False) == ""
    module = tmp_path / "lightdose" / "__main__.py"
    assert how_to_call(str(module), str(tmp_path), {"PATH": "/usr/bin"}, windows=False) == ""


@pytest.mark.identity
@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
@pytest.mark.parametrize(("more", "count"), [([], 1), (["--quiet"], 0)])
def test_hint_is_printed_once_on_a_terminal_and_not_with_quiet(
    more: list[str], count: int, tmp_path: Path
) -> None:
    """`init` called by the path of an environment ends with the hint; --quiet leaves it out."""
    import pty

    program = environment(tmp_path / ".venv" / "bin")
    program.write_text("from lightdose.cli import main\nmain()\n", encoding="utf-8")
    leader, follower = pty.openpty()
    done = subprocess.run(
        [sys.executable, str(program), "init", "tank", *more],
        cwd=tmp_path, env={**os.environ, "SHELL": "/bin/bash"}, stdout=subprocess.PIPE, stderr=follower,
        check=True,
    )  # fmt: skip
    os.close(follower)
    seen = b""
    while True:
        try:
            chunk = os.read(leader, 65536)
        except OSError:
            break
        if not chunk:
            break
        seen += chunk
    os.close(leader)
    assert seen.count(b"source .venv/bin/activate") == count
    assert b"activate" not in done.stdout
