"""README.md holds what the program prints: sessions run, tables equal the code, every key stands."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import pytest
from readme import README, refreshed

from lightdose.files import places_csv, readings_csv
from lightdose.files.programme_rules import RESERVED_NAMES

TEXT = README.read_text(encoding="utf-8")


@pytest.mark.pinned
@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
def test_readme_shows_what_the_program_prints(tmp_path: Path) -> None:
    """The sessions of the README, run in order in an empty folder, and its tables print what stands there."""
    assert TEXT.count("\n$ lightdose ") >= 4
    assert refreshed(TEXT, tmp_path) == TEXT, "python tests/readme.py writes them anew"


@pytest.mark.identity
def test_readme_names_every_column_of_every_csv() -> None:
    """What the readers know as a column stands in the README in backticks, alone or in a list."""
    known = {*readings_csv.COLUMNS, *places_csv.SITE_COLUMNS, *places_csv.CORAL_COLUMNS, *RESERVED_NAMES}
    told = {word for span in re.findall(r"`([^`\n]+)`", TEXT) for word in re.split(r"[,\s]+", span)}
    assert known <= told


@pytest.mark.identity
def test_readme_names_two_commands_for_a_fresh_machine() -> None:
    """The two commands that `.ci/run` takes from the README are there."""
    for mark in ("<!-- the first command -->", "<!-- the test command -->"):
        assert re.search(re.escape(mark) + r"\n```sh\n\S.*\n```", TEXT), mark
