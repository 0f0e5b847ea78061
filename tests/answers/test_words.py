"""Words that answers share."""

from __future__ import annotations

import subprocess
import sys

import pytest

from lightdose.answers.words import as_typed


@pytest.mark.identity
@pytest.mark.skipif(sys.platform == "win32", reason="asks a POSIX shell")
@pytest.mark.parametrize(
    "name",
    [
        "tank/setup.toml",
        "my tank",
        "a$HOME b",
        "it's $(touch x)",
        "`id`",
        'say "hi" $1',
        "a\\b",
        "~",
        "#1;&|<>*?!x",
        "é\t",
    ],
)
def test_shell_gives_back_what_a_suggested_command_quotes(name: str) -> None:
    """Whatever a folder is called, the command that we print names it."""
    told = subprocess.run(["sh", "-c", f"printf %s {as_typed(name)}"], capture_output=True, check=True)
    assert told.stdout.decode() == name


@pytest.mark.pinned
def test_plain_paths_stay_plain_and_blanks_get_the_marks_that_every_shell_takes() -> None:
    """No quotation marks where none are needed, double ones where they do."""
    assert [as_typed(p) for p in ("a/b.toml", "my tank", "it's")] == ["a/b.toml", '"my tank"', '"it\'s"']
