"""Every example in every help runs, on copies of the shipped tank; every option says what it does."""

from __future__ import annotations

import re
import shlex
import shutil
from importlib import import_module
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from lightdose.cli import EXAMPLE, SUMMARIES, cli
from lightdose.cli.init import example_folder

FOLDERS = ("tank", "today", "planned", "shop", "customer", "other")
"""Other names that examples give to a tank; my-tank is written by the examples of `init`."""

SERVES = "desk"
"""Serves until somebody ends it: `tests/cli/test_desk.py` starts and ends it."""

DRAWN = ("report",)
"""Each line draws pages, a second a line: the first line in every run, all with `-m slow`."""


def examples(name: str) -> list[str]:
    """The lines below "Example:" in the help of a command."""
    text = import_module(f"lightdose.cli.{name}").command.help or ""
    blocks = re.findall(r"Examples?:\n((?: +\S.*\n?)+)", text)
    return [line.strip() for block in blocks for line in block.splitlines()]


@pytest.fixture
def tanks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with the tanks, schedules and spectra that the examples speak of."""
    monkeypatch.chdir(tmp_path)
    for folder in FOLDERS:
        shutil.copytree(example_folder(), tmp_path / folder)
    shop = tmp_path / "customer" / "setup.toml"
    shop.write_text(shop.read_text(encoding="utf-8").replace('"ridge"', '"rock top"'), encoding="utf-8")
    brighter = (example_folder() / "schedules" / "right.csv").read_text(encoding="utf-8")
    (tmp_path / "brighter.csv").write_text(brighter.replace("25,38,32", "28,42,35"), encoding="utf-8")
    lamp = "wavelength_nm,value\n" + "".join(f"{nm},{max(0, 50 - abs(nm - 450))}\n" for nm in range(400, 501))
    (tmp_path / "my-lamp.csv").write_text(lamp, encoding="utf-8")
    return tmp_path


@pytest.mark.identity
@pytest.mark.parametrize(
    ("name", "most"),
    [
        *((n, 1 if n in DRAWN else None) for n in SUMMARIES if n != SERVES),
        *(pytest.param(n, None, marks=pytest.mark.slow) for n in DRAWN),
    ],
)
def test_examples_in_the_help_run(name: str, most: int | None, tanks: Path) -> None:
    """In order, in one folder, each ends in exit code 0; a redirection is left to the shell."""
    lines = examples(name)[:most]
    assert lines
    if name != "init":
        shutil.copytree(example_folder(), tanks / "my-tank")
    for line in lines:
        words = shlex.split(line.split(" > ")[0])
        assert words[0] == "lightdose"
        done = CliRunner().invoke(cli, words[1:])
        assert done.exit_code == 0, f"{line}\n{done.output}"


@pytest.mark.identity
def test_example_of_the_bare_command_runs(tanks: Path) -> None:
    """What the very first help shows works in an empty folder."""
    for line in re.findall(r"^  (lightdose .+)$", EXAMPLE, re.MULTILINE):
        assert CliRunner().invoke(cli, shlex.split(line)[1:]).exit_code == 0


@pytest.mark.identity
@pytest.mark.parametrize("name", SUMMARIES)
def test_every_option_is_documented_in_the_help(name: str) -> None:
    """Each option that is taken stands in the help with a sentence, each argument in the usage line."""
    command = import_module(f"lightdose.cli.{name}").command
    shown = " ".join(CliRunner().invoke(cli, [name, "--help"]).output.split())
    for parameter in command.params:
        if isinstance(parameter, click.Option):
            assert (parameter.help or "").endswith((".", ")")), (name, parameter.opts)
            listed = [option in shown for option in parameter.opts]
            # What a command reads only to say why it refuses it is not listed.
            assert not any(listed) if parameter.hidden else all(listed), (name, parameter.opts)
        else:
            assert parameter.make_metavar(click.Context(command)).strip("[].") in shown, (
                name,
                parameter.name,
            )
