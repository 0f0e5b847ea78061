"""Every option that takes a length reads it alike: with any unit, or as a bare number of centimetres."""

from __future__ import annotations

import json
from pathlib import Path

import click
import pytest
from cli.small_tanks import write_tank
from click.testing import CliRunner, Result

from lightdose.cli import cli
from lightdose.cli.asking import VARIATIONS

WAYS = ("20 cm", "20", "20cm", "200mm", "0,2 m")
INCHES = ("10 in", "10in", '10"', "25.4", "25.4 cm")
ESTIMATE = ("estimate", "--reading=9000", "--unit=lux", "--where=air", "--white=little", "--hours=10")

COMMANDS: dict[tuple[str, str], tuple[str, ...]] = {
    ("dose", "--fixture-height"): ("dose", "tank", "--fixture-height=?"),
    ("map", "--depth"): ("map", "tank", "--depth=?", "--cell=20 cm"),
    ("map", "--from-front"): ("map", "tank", "--from-front=?", "--cell=20 cm"),
    ("map", "--from-left"): ("map", "tank", "--from-left=?", "--cell=20 cm"),
    ("map", "--cell"): ("map", "tank", "--depth=10 cm", "--cell=?"),
    ("place", "--grid"): ("place", "tank", "--all", "--grid=?", "--depth=10 cm"),
    ("place", "--depth"): ("place", "tank", "--all", "--grid=20 cm", "--depth=?"),
    ("place", "--beside"): ("place", "tank", "--not-beside=blue tip=hammer", "--beside=?"),
    ("place", "--apart"): ("place", "tank", "--apart=?"),
    ("sensitivity", "--growth"): ("sensitivity", "tank", "--months=3", "--growth=?"),
    ("estimate", "--depth"): (*ESTIMATE, "--depth=?"),
    ("estimate", "--lamp-height"): (*ESTIMATE, "--depth=10 cm", "--lamp-height=?"),
}
"""Command and option -> a run with a gap for the length."""

PLACES = {
    ("map", "--explain-at"): ("map", "tank", "--explain-at", "?", "?", "?"),
    ("meter", "--air"): ("meter", "tank", "182", "--air=?;?;?"),
}
"""Options that take three lengths."""


@pytest.fixture
def tank(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A small tank, in the working folder."""
    monkeypatch.chdir(tmp_path)
    folder = write_tank(tmp_path / "tank", height_cm=40)
    setup = tmp_path / "tank" / "setup.toml"
    text = setup.read_text(encoding="utf-8").replace(
        "[[coral]]\n", '[[coral]]\ndiameter = "4 cm"\nheight = "3 cm"\n', 1
    )
    setup.write_text(text, encoding="utf-8")
    return folder


def run(words: tuple[str, ...], length: str, *more: str) -> Result:
    return CliRunner().invoke(cli, [word.replace("?", length) for word in words] + list(more))


def commands() -> dict[str, click.Command]:
    context = click.Context(cli)
    found = {name: cli.get_command(context, name) for name in cli.list_commands(context)}
    return {name: command for name, command in found.items() if command is not None}


@pytest.mark.identity
def test_every_option_with_a_length_is_tried_here() -> None:
    """What says LENGTH stands above; the variation of a setup is one option of many commands."""
    varied = {f"--{name.replace('_', '-')}" for name in VARIATIONS}
    found = {
        ("dose" if option.opts[0] in varied else name, option.opts[0]): option
        for name, command in commands().items()
        for option in command.params
        if isinstance(option, click.Option) and option.metavar == "LENGTH"
    }
    assert set(found) == set(COMMANDS)
    assert {
        option.help for option in found.values() if "; bare numbers are cm." not in str(option.help)
    } == set()


@pytest.mark.identity
@pytest.mark.parametrize("words", [*COMMANDS.values(), *PLACES.values()], ids=" ".join)
@pytest.mark.parametrize("ways", [WAYS, INCHES], ids=["20 cm", "10 in"])
def test_length_is_the_same_in_every_unit(tank: Path, words: tuple[str, ...], ways: tuple[str, ...]) -> None:
    """One answer, to the last digit, however the length is written."""
    done = [run(words, way, "--json") for way in ways]
    assert [result.exit_code for result in done] == [0] * len(ways), done[0].output
    told = [json.loads(result.stdout) for result in done]
    assert all(one == told[0] for one in told)


@pytest.mark.identity
@pytest.mark.parametrize("words", COMMANDS.values(), ids=" ".join)
@pytest.mark.parametrize(
    ("length", "cure"), [("0.2", '"0.2 m" or "0.2 cm"'), ("250", '"250 mm" or "250 cm"')]
)
def test_bare_number_that_is_hardly_centimetres_is_asked_about(
    tank: Path, words: tuple[str, ...], length: str, cure: str
) -> None:
    """Metres or millimetres are more likely: exit code 2, and both ways to write it."""
    result = run(words, length)
    assert result.exit_code == 2
    assert f"mend it: write {cure}" in result.output
    assert f'"{length}" without a unit would be {length} cm' in result.output


@pytest.mark.identity
@pytest.mark.parametrize("words", PLACES.values(), ids=" ".join)
def test_place_that_is_hardly_centimetres_is_asked_about(tank: Path, words: tuple[str, ...]) -> None:
    """0.2 0.2 0.2 would be a corner; with a unit each, or beside a larger number, it is taken."""
    result = run(words, "0.2")
    assert result.exit_code == 2
    assert 'write "0.2 m", "0.2 m", "0.2 m" or "0.2 cm"' in result.output
    assert run(words, "0.2 cm").exit_code == 0
    assert run(words, "1").exit_code == 0
