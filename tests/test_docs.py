"""README and DEVELOPERS.md hold what the program does: examples run, tables equal the code, keys stand."""

from __future__ import annotations

import os
import re
import shlex
import sys
from pathlib import Path

import pytest

from lightdose.cli import SUMMARIES
from lightdose.quantities import BANDS, QUANTITIES

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
COLUMNS = 100


def sessions() -> list[tuple[str, str]]:
    """Commands of the README's ```console blocks in order, each with the output printed below it."""
    found: list[tuple[str, str]] = []
    for block in re.findall(r"^```console\n(.*?)^```", README, flags=re.S | re.M):
        for part in re.split(r"^\$ ", block, flags=re.M)[1:]:
            command, _, output = part.partition("\n")
            found.append((command, output))
    return found


def on_a_terminal(command: str, folder: Path) -> str:
    """What a person sees: the command on a pseudo-terminal of 100 columns, without colour."""
    import pty

    words = shlex.split(command)
    assert words[0] == "lightdose", command
    pid, fd = pty.fork()
    if pid == 0:
        os.chdir(folder)
        os.environ.update(
            COLUMNS=str(COLUMNS), LINES="60", NO_COLOR="1", TERM="xterm", PYTHONIOENCODING="utf-8"
        )
        os.execv(sys.executable, [sys.executable, "-m", "lightdose", *words[1:]])
    seen = b""
    while True:
        try:
            chunk = os.read(fd, 65536)
        except OSError:
            break
        if not chunk:
            break
        seen += chunk
    os.close(fd)
    os.waitpid(pid, 0)
    return seen.decode("utf-8").replace("\r\n", "\n")


def tidy(text: str) -> list[str]:
    return [line.rstrip() for line in text.strip("\n").splitlines()]


@pytest.mark.pinned
@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
def test_readme_session_prints_what_it_shows(tmp_path: Path) -> None:
    """The commands of the first session run in order in an empty folder and print what stands below them."""
    assert len(sessions()) >= 4
    for command, shown in sessions():
        printed = tidy(on_a_terminal(command, tmp_path))
        expected = tidy(shown)
        if "..." in expected:
            cut = expected.index("...")
            tail = expected[cut + 1 :]
            assert printed[:cut] == expected[:cut], command
            assert printed[len(printed) - len(tail) :] == tail, command
        else:
            assert printed == expected, command


@pytest.mark.identity
def test_readme_tables_equal_the_code() -> None:
    """The tables of quantities and bands in the README are those of quantities.py."""
    for q in QUANTITIES:
        assert f"| {q.symbol} | {q.unit} | {q.definition} | {q.source} |" in README, q.key
    for b in BANDS:
        assert f"| {b.name} | {b.low_nm:g}-{b.high_nm:g} nm | {b.source} |" in README, b.key


@pytest.mark.identity
@pytest.mark.parametrize("name", SUMMARIES)
def test_every_command_is_documented(name: str) -> None:
    """Each command stands in the README with its summary."""
    assert f"| `lightdose {name}" in README
    assert SUMMARIES[name].rstrip(".") in README


@pytest.mark.identity
def test_readme_names_two_commands_for_a_fresh_machine() -> None:
    """The two commands that `.ci/run` takes from the README are there."""
    for mark in ("<!-- the first command -->", "<!-- the test command -->"):
        assert re.search(re.escape(mark) + r"\n```sh\n\S.*\n```", README), mark
