"""README.md holds what the program prints: sessions run, tables equal the code, every key stands."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import pytest
from readme import README, refreshed

TEXT = README.read_text(encoding="utf-8")


@pytest.mark.pinned
@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
def test_readme_shows_what_the_program_prints(tmp_path: Path) -> None:
    """The sessions of the README, run in order in an empty folder, and its tables print what stands there."""
    assert TEXT.count("\n$ lightdose ") >= 4
    assert refreshed(TEXT, tmp_path) == TEXT, "python tests/readme.py writes them anew"


@pytest.mark.identity
def test_readme_names_two_commands_for_a_fresh_machine() -> None:
    """The two commands that `.ci/run` takes from the README are there."""
    for mark in ("<!-- the first command -->", "<!-- the test command -->"):
        assert re.search(re.escape(mark) + r"\n```sh\n\S.*\n```", TEXT), mark
