"""The command line as a whole: help, typos, exit codes, pipes and encodings."""

from __future__ import annotations

import ast
import os
import subprocess
import sys
from importlib import import_module
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from lightdose.cli import SUMMARIES, cli

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "first-tank" / "setup.toml"


def run(*words: str, **env: str) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [sys.executable, "-m", "lightdose", *words],
        capture_output=True,
        env={**os.environ, **env},
        check=False,
    )


@pytest.mark.identity
def test_summaries_and_command_modules_agree() -> None:
    """Each command has a module, and its summary is the first sentence of its help."""
    folder = Path(cli_file()).parent
    modules = {p.stem for p in folder.glob("*.py")} - {"__init__", "options"}
    commands = {m for m in modules if "command" in top_level_names(folder / f"{m}.py")}
    assert commands == set(SUMMARIES)
    for name, summary in SUMMARIES.items():
        command = import_module(f"lightdose.cli.{name}").command
        assert isinstance(command, click.Command)
        assert summary in " ".join((command.help or "").split()), name


def cli_file() -> str:
    import lightdose.cli

    assert lightdose.cli.__file__
    return lightdose.cli.__file__


def top_level_names(path: Path) -> set[str]:
    return {
        n.name for n in ast.parse(path.read_text(encoding="utf-8")).body if isinstance(n, ast.FunctionDef)
    }


@pytest.mark.pinned
@pytest.mark.parametrize("words", [[], ["--help"], ["-h"]])
def test_help_shows_a_working_example_first(words: list[str]) -> None:
    """The bare command and its help start with an example, also once the command `map` is loaded."""
    import_module("lightdose.cli.map")
    result = CliRunner().invoke(cli, words)
    assert result.exit_code == 0, result.output
    assert result.output.index("lightdose init my-tank") < result.output.index("Options:")


@pytest.mark.identity
@pytest.mark.parametrize("name", SUMMARIES)
def test_command_help_shows_a_working_example_first(name: str) -> None:
    """`-h` of each command starts, below its usage, with an example that names the command."""
    result = CliRunner().invoke(cli, [name, "-h"])
    assert result.exit_code == 0, result.output
    _, example, *_ = result.output.split("\n\n")
    head, first, *_ = example.splitlines()
    assert head.strip() in ("Example:", "Examples:")
    assert first.startswith(f"    lightdose {name}")


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("words", "hint"),
    [(["dsoe"], "Did you mean 'dose'?"), (["dose", "x.toml", "--figurs"], "Did you mean '--figures'?")],
)
def test_typo_gets_the_close_match(words: list[str], hint: str) -> None:
    """A typo in a command or an option is met with the close name and exit code 2."""
    result = CliRunner().invoke(cli, words)
    assert result.exit_code == 2
    assert hint in result.output


@pytest.mark.identity
@pytest.mark.parametrize("encoding", ["cp1252", "ascii", "utf-8"])
def test_dose_ends_alike_under_every_encoding(encoding: str) -> None:
    """An encoding that lacks a letter neither ends the command nor adds an escape sequence."""
    done = run("dose", str(EXAMPLE), PYTHONIOENCODING=encoding)
    assert done.returncode == 0, done.stderr
    assert b"\x1b" not in done.stdout + done.stderr
    assert b"Traceback" not in done.stderr


@pytest.mark.identity
@pytest.mark.parametrize(("setup", "code"), [(EXAMPLE, 0), (EXAMPLE.with_name("missing.toml"), 2)])
def test_reader_that_leaves_early_changes_neither_files_nor_exit_code(
    setup: Path, code: int, tmp_path: Path
) -> None:
    """A pipe closed at once: no traceback, the exit code stays, the table is still written in full."""
    words = f'dose "{setup}" --csv "{tmp_path / "doses.csv"}"'
    command = f'set -o pipefail; "{sys.executable}" -m lightdose {words} 2>&1 | sleep 0'
    done = subprocess.run(["bash", "-c", command], capture_output=True, check=False)
    assert done.returncode == code
    assert done.stdout + done.stderr == b""
    assert (tmp_path / "doses.csv").exists() == (code == 0)


@pytest.mark.identity
def test_reader_of_one_line_gets_one_line_and_no_traceback() -> None:
    """`lightdose dose ... | head -1` prints one line and nothing on stderr."""
    command = f'set -o pipefail; "{sys.executable}" -m lightdose dose "{EXAMPLE}" --quiet | head -1'
    done = subprocess.run(["bash", "-c", command], capture_output=True, check=False)
    assert done.returncode == 0
    assert done.stdout.count(b"\n") == 1
    assert done.stderr == b""


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["dose", str(EXAMPLE), "--fixture-height", "250"], '--fixture-height: "250" without a unit would'),
        (["dose", str(EXAMPLE), "--all-channels", "46%"], '--all-channels: "46%": "46%" is not a number'),
        (
            ["map", str(EXAMPLE), "--all-channels", "left=-1"],
            '--all-channels: "left=-1": is outside 0 to 1000',
        ),
        (
            ["tune", str(EXAMPLE), *2 * ["--all-channels", "a=1"]],
            '--all-channels: "a=1": stands twice for one',
        ),
        (["spectrum", "blue-450", "--csv-dialect", "excel"], "'--csv-dialect': 'excel' is not one of"),
        (["dose"], "Missing argument 'SETUP...'."),
    ],
)
def test_wrong_usage_is_told_without_the_words_error_and_invalid(words: list[str], says: str) -> None:
    """The usage line, a blank line, then the option and what was found; exit code 2."""
    result = CliRunner().invoke(cli, words)
    assert result.exit_code == 2
    assert result.stderr.startswith("Usage: ")
    assert f"for help.\n\n{says}" in result.stderr
    assert not {"error", "invalid"} & set(result.stderr.lower().replace(":", " ").split())


@pytest.mark.identity
def test_unexpected_fault_prints_one_line_and_names_debug(monkeypatch: pytest.MonkeyPatch) -> None:
    """A fault of ours ends in exit code 1, a sentence and the way to report it; --debug shows the trace."""
    import lightdose.cli.asking

    def fail(self: object) -> None:
        raise ZeroDivisionError("made for this test")

    monkeypatch.setattr(lightdose.cli.asking.SetupRequest, "read", fail)
    result = CliRunner().invoke(cli, ["dose", "x.toml"])
    assert result.exit_code == 1
    assert "--debug" in result.output
    assert "Traceback" not in result.output
    assert "Traceback" in CliRunner().invoke(cli, ["dose", "x.toml", "--debug"]).output


@pytest.mark.identity
def test_interrupt_ends_in_130_without_a_trace(monkeypatch: pytest.MonkeyPatch) -> None:
    """Ctrl-C is an exit code, not a traceback."""
    import lightdose.cli.asking

    def interrupt(self: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(lightdose.cli.asking.SetupRequest, "read", interrupt)
    result = CliRunner().invoke(cli, ["dose", "x.toml"])
    assert result.exit_code == 130
    assert "Traceback" not in result.output
