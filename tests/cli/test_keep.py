"""`lightdose keep`: one line on what changed, a state back as it was, and kept states as setups."""

from __future__ import annotations

import datetime
import json
from pathlib import Path

import pytest
from cli.small_tanks import write_tank
from click.testing import CliRunner, Result
from workflows.test_diary import programme

from lightdose.cli import cli
from lightdose.cli.asking import VARIATIONS


def run(*words: object) -> Result:
    return CliRunner().invoke(cli, [str(word) for word in words])


@pytest.fixture
def tank(tmp_path: Path) -> Path:
    return write_tank(tmp_path / "tank")


@pytest.mark.identity
def test_keep_tells_what_changed_in_one_line(tank: Path) -> None:
    """The first state, then the programme and what it does to the corals, then nothing."""
    first = run("keep", tank / "setup.toml", "--date", "2025-01-01")
    assert first.stdout.startswith("Kept 2025-01-01, the first state: 3 files")
    programme(tank, 60)
    second = run("keep", tank / "setup.toml", "--date", "1.2.2025", "--why", "brighter")
    assert second.exit_code == 0, second.stderr
    assert len(second.stdout.strip().splitlines()) == 1
    assert "Kept 2025-02-01 (1 file" in second.stdout
    assert "2 of 2 corals get +" in second.stdout
    third = run("keep", tank / "setup.toml", "--date", "2025-03-01")
    assert "Nothing differs from the state of 2025-02-01" in third.stdout


@pytest.mark.identity
def test_doses_of_the_line_are_those_of_compare(tank: Path) -> None:
    """Keep's JSON and compare of both states give the same ratios."""
    run("keep", tank / "setup.toml", "--date", "2025-01-01")
    programme(tank, 60)
    kept = json.loads(run("keep", tank / "setup.toml", "--date", "2025-02-01", "--json").stdout)
    both = f"{tank}/setup.toml@2025-01-01", f"{tank}/setup.toml@2025-02-01"
    compared = json.loads(run("compare", *both, "--json").stdout)
    wanted = {c["coral"]: c["dli_ratio"] for c in compared["corals"]}
    assert {c["coral"]: c["ratio"] for c in kept["corals"]} == pytest.approx(wanted, rel=1e-12)


@pytest.mark.identity
def test_restore_writes_nothing_over_what_is_there(tank: Path, tmp_path: Path) -> None:
    """A broken setup of today is no hindrance; a second time into the same folder is refused."""
    run("keep", tank / "setup.toml", "--date", "2025-01-01")
    was = (tank / "setup.toml").read_bytes()
    (tank / "setup.toml").write_text("broken", encoding="utf-8")
    done = run("keep", tank / "setup.toml", "--restore", "2025-06-01", tmp_path / "back")
    assert done.exit_code == 0, done.stderr
    assert (tmp_path / "back" / "setup.toml").read_bytes() == was
    again = run("keep", tank / "setup.toml", "--restore", "2025-06-01", tmp_path / "back")
    assert again.exit_code == 2
    assert "nothing was written" in again.stderr


@pytest.mark.identity
@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--date", "2999-01-01"), "still to come"),
        (("--date", "3/4/2025"), "can be 2025-03-04 or 2025-04-03"),
        (("--all-channels", "50"), "as its files say"),
        (("--restore", "2025-01-01", "x", "--why", "y"), "leave out"),
    ],
)
def test_what_no_diary_takes_is_refused(tank: Path, words: tuple[str, ...], says: str) -> None:
    """Future days, doubtful ones, and variations that no file holds."""
    done = run("keep", tank / "setup.toml", *words)
    assert done.exit_code == 2
    assert says in done.stderr
    assert not (tank / "diary").exists()


@pytest.mark.identity
def test_kept_state_is_no_setup_to_keep(tank: Path) -> None:
    """keep, note and history speak of today's setup."""
    run("keep", tank / "setup.toml", "--date", "2025-01-01")
    for words in (("keep",), ("note", "x"), ("history",)):
        done = run(words[0], f"{tank}/setup.toml@2025-01-01", *words[1:])
        assert done.exit_code == 2
        assert "not a kept state" in done.stderr


@pytest.mark.identity
def test_many_setups_leave_diaries_alone(tank: Path) -> None:
    """A folder of tanks has each tank once, not every day of it."""
    run("keep", tank / "setup.toml", "--date", "2025-01-01")
    assert "1 setup" in run("check", tank.parent).stdout + run("check", tank.parent).stderr


@pytest.mark.identity
@pytest.mark.skipif(not hasattr(__import__("os"), "geteuid"), reason="rights of a folder")
def test_read_only_folder_is_told_and_history_still_reads(
    tank: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Reading a diary needs no lock; keeping into a folder that may not be written says so."""
    import os

    run("keep", tank / "setup.toml", "--date", "2025-01-01")
    real = os.open

    def refused(path: object, flags: int, *rest: int, **more: int) -> int:
        if flags & (os.O_WRONLY | os.O_RDWR):
            raise PermissionError(13, "Permission denied", str(path))
        return real(path, flags, *rest, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(os, "open", refused)
    programme_text = (tank / "day-1.csv").read_text(encoding="utf-8")
    done = run("keep", tank / "setup.toml")
    assert done.exit_code == 2
    assert "write-protected" in done.stderr
    assert run("history", tank / "setup.toml").exit_code == 0
    assert (tank / "day-1.csv").read_text(encoding="utf-8") == programme_text


@pytest.mark.identity
def test_state_of_today_is_dated_today(tank: Path) -> None:
    """Without --date the day is today's."""
    told = json.loads(run("keep", tank / "setup.toml", "--json").stdout)
    assert told["kept"]["date"] == datetime.date.today().isoformat()


@pytest.mark.identity
@pytest.mark.parametrize("words", [("keep",), ("note", "x"), ("history",)], ids=lambda words: words[0])
def test_help_of_the_diary_lists_no_variation(tank: Path, words: tuple[str, ...]) -> None:
    """What the diary refuses stands in none of its helps; who types it all the same is told why."""
    told = run(words[0], "--help").stdout
    for name in VARIATIONS:
        option = f"--{name.replace('_', '-')}"
        assert option not in told
        assert option in run("dose", "--help").stdout
        done = run(words[0], tank, *words[1:], option, "50")
        assert done.exit_code == 2
        assert f"{words[0]} takes the setup as its files say" in done.stderr
    assert not (tank / "diary").exists()
