"""`lightdose guide`: topics, a page, and the manual as one page."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from lightdose.cli import cli
from lightdose.guide import TOPICS


@pytest.mark.identity
def test_bare_command_lists_every_topic_on_a_line_of_its_own() -> None:
    """One line each on stdout; what to do next goes to stderr, and --quiet leaves it out."""
    done = CliRunner().invoke(cli, ["guide"])
    assert done.exit_code == 0
    assert [line.split()[0] for line in done.stdout.splitlines()] == list(TOPICS)
    assert done.stderr == "next: lightdose guide start\n"
    assert CliRunner().invoke(cli, ["guide", "--quiet"]).stderr == ""


@pytest.mark.identity
@pytest.mark.parametrize("topic", TOPICS)
def test_page_in_a_pipe_is_plain_text(topic: str) -> None:
    """Its title under a rule, no markup of tables or comments, no escape byte, no message."""
    done = CliRunner().invoke(cli, ["guide", topic])
    assert done.exit_code == 0
    title, rule, *_ = done.stdout.splitlines()
    assert rule == "=" * len(title)
    assert not any(mark in done.stdout for mark in ("<!--", "|---|", "\x1b"))
    assert done.stderr == ""


@pytest.mark.identity
@pytest.mark.parametrize("columns", [60, 200])
def test_page_is_as_wide_as_the_window_up_to_a_hundred(columns: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Running text uses the width and never more."""
    monkeypatch.setenv("COLUMNS", str(columns))
    lines = CliRunner().invoke(cli, ["guide", "limits"]).stdout.splitlines()
    widest = max(len(line) for line in lines if not line.startswith("    "))
    assert min(columns, 100) - 12 < widest <= min(columns, 100)


@pytest.mark.pinned
def test_mistyped_topic_and_a_command_are_told_what_to_type() -> None:
    """Exit code 2 with the near page, or the help of the command."""
    typo = CliRunner().invoke(cli, ["guide", "shedule"])
    assert typo.exit_code == 2
    assert "mend it: did you mean schedule?" in typo.stderr
    command = CliRunner().invoke(cli, ["guide", "dose"])
    assert command.exit_code == 2
    assert "`lightdose dose --help`" in command.stderr
    assert CliRunner().invoke(cli, ["guide", "groups"]).exit_code == 0


@pytest.mark.identity
def test_whole_manual_is_written_as_one_file_twice_alike(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A folder gets guide.html, which the message names; a topic and another ending are refused."""
    monkeypatch.chdir(tmp_path)
    done = CliRunner().invoke(cli, ["guide", "--html", "manual"])
    assert done.exit_code == 0
    assert done.stdout == ""
    assert done.stderr.startswith(f"wrote {Path('manual', 'guide.html')}, ")
    assert CliRunner().invoke(cli, ["guide", "--html", "again.html", "--quiet"]).stderr == ""
    first, second = (Path(p).read_bytes() for p in ("manual/guide.html", "again.html"))
    assert first == second
    assert len(first) < 500_000
    for words in (["start", "--html", "x.html"], ["--html", "x.toml"]):
        refused = CliRunner().invoke(cli, ["guide", *words])
        assert refused.exit_code == 2
        assert not Path(words[-1]).exists()


@pytest.mark.identity
@pytest.mark.parametrize("encoding", ["cp1252", "ascii", "utf-8"])
def test_page_prints_alike_under_every_encoding(encoding: str) -> None:
    """No letter of the guide is lacking anywhere."""
    command = [sys.executable, "-m", "lightdose", "guide", "quantities"]
    done = subprocess.run(
        command, env={**os.environ, "PYTHONIOENCODING": encoding}, capture_output=True, check=True
    )
    assert done.stdout.isascii()
    assert b"DLI" in done.stdout
