"""Commands that are killed leave whole files; `python tests/misuse --kills 200` does it 200 times each."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from misuse.kills import KINDS, kill_and_look

pytestmark = pytest.mark.skipif(os.name == "nt", reason="SIGKILL")


@pytest.mark.identity
@pytest.mark.parametrize(
    "kind", [pytest.param(k, marks=pytest.mark.slow) if k == "report" else k for k in KINDS]
)
def test_killed_command_leaves_whole_files_and_nothing_unfinished(kind: str, tmp_path: Path) -> None:
    """At a random moment: the file of before is whole, and after the next run no temporary one is there."""
    assert kill_and_look(kind, tmp_path / "tank", 1, 7)["kills"] == 1


@pytest.mark.slow
@pytest.mark.identity
@pytest.mark.parametrize("kind", KINDS)
def test_two_hundred_kills_of_each_command(kind: str, tmp_path: Path) -> None:
    """The same at 200 random moments."""
    assert kill_and_look(kind, tmp_path / "tank", 200, 8)["kills"] == 200
