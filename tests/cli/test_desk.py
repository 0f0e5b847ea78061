"""`lightdose desk` as a command: its address, its end, and what it refuses."""

from __future__ import annotations

import re
import shutil
import signal
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from click.testing import CliRunner

from lightdose.cli import cli

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "first-tank"


@contextmanager
def opened(*words: str) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """The command as a process, and the address that it printed."""
    process = subprocess.Popen(
        [sys.executable, "-m", "lightdose", "desk", *words, "--no-browser"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        assert process.stdout is not None
        line = process.stdout.readline()
        found = re.search(r"http://127\.0\.0\.1:\d+/\?key=\S+", line)
        assert found, line
        yield process, found[0]
    finally:
        process.kill()
        process.communicate()


@pytest.mark.identity
@pytest.mark.skipif(sys.platform == "win32", reason="Ctrl-C is another matter there")
def test_desk_prints_its_address_and_ends_with_ctrl_c(tmp_path: Path) -> None:
    """The printed address opens the page, the bare one does not; Ctrl-C ends it quietly with 0."""
    shutil.copytree(EXAMPLE, tmp_path / "tank")
    with opened(str(tmp_path / "tank")) as (process, address):
        opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
        with opener.open(address, timeout=20) as page:
            assert b"<title>Desk</title>" in page.read()
        with pytest.raises(urllib.error.HTTPError, match="403"):
            urllib.request.urlopen(address.partition("?")[0], timeout=20)
        time.sleep(1)
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=20)
    assert process.returncode == 0
    assert "Your files change only when you save; notes go into the diary at once." in err
    assert "Traceback" not in out + err
    assert err.endswith("The desk is closed.\n")
    assert sorted(p.name for p in (tmp_path / "tank").iterdir()) == sorted(p.name for p in EXAMPLE.iterdir())


@pytest.mark.identity
def test_second_desk_on_a_folder_ends_with_a_sentence(tmp_path: Path) -> None:
    """Exit 2 and the address of the first, without its key."""
    shutil.copytree(EXAMPLE, tmp_path / "tank")
    with opened(str(tmp_path / "tank" / "setup.toml")) as (_, address):
        result = CliRunner().invoke(cli, ["desk", str(tmp_path / "tank"), "--no-browser"])
    assert result.exit_code == 2
    assert f"is open on this folder already: {address.partition('?')[0]}" in result.output
    assert "key=" not in result.output


@pytest.mark.identity
@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("setup.toml@2026-03-14", "not a kept state"),
        ("readings.csv", "is no setup"),
        ("a/b/notes.txt", "is no setup"),
    ],
)
def test_what_is_no_setup_of_today_is_refused(name: str, words: str) -> None:
    """A kept state or a file of another kind is no tank to change."""
    result = CliRunner().invoke(cli, ["desk", name, "--no-browser"])
    assert result.exit_code == 2
    assert words in result.output
