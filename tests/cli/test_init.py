"""`lightdose init`: a complete example that `check` and `dose` accept unchanged."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from lightdose.cli import cli
from lightdose.cli.init import example_folder
from lightdose.files.setup_file import read_setup

WRITTEN = [
    "fixtures/demo-panel.toml",
    "readings.csv",
    "schedules/left.csv",
    "schedules/right.csv",
    "schemas/calibration.schema.json",
    "schemas/fixture.schema.json",
    "schemas/groups.schema.json",
    "schemas/setup.schema.json",
    "setup.toml",
]


@pytest.fixture(autouse=True)
def _in_an_empty_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


@pytest.mark.pinned
def test_init_writes_every_file_and_names_it_with_its_size(tmp_path: Path) -> None:
    """One line a file on stdout, the next commands on stderr."""
    done = CliRunner().invoke(cli, ["init", "my tank"])
    assert done.exit_code == 0
    lines = done.stdout.splitlines()
    assert [line.split(", ")[0] for line in lines] == [str(Path("my tank") / n) for n in WRITTEN]
    assert all(line.endswith((" kB", " bytes", " B")) for line in lines)
    assert done.stderr.splitlines() == [
        'next: lightdose check "my tank/setup.toml"',
        'then: lightdose dose "my tank/setup.toml"',
    ]
    for name in WRITTEN:
        assert (tmp_path / "my tank" / name).read_bytes() == (example_folder() / name).read_bytes()


@pytest.mark.identity
def test_written_example_passes_check_and_reads_as_the_shipped_one(tmp_path: Path) -> None:
    """Nothing has to be edited before the first run."""
    CliRunner().invoke(cli, ["init", "tank"])
    done = CliRunner().invoke(cli, ["check", "tank/setup.toml"])
    assert (done.exit_code, done.stdout.splitlines()[-1]) == (0, "no problems")
    here, shipped = read_setup(tmp_path / "tank"), read_setup(example_folder())
    assert [c.name for c in here.corals] == [c.name for c in shipped.corals]
    assert list(here.inputs_sha256.values()) == list(shipped.inputs_sha256.values())


@pytest.mark.identity
def test_init_twice_refuses_and_changes_nothing(tmp_path: Path) -> None:
    """A keeper's edits survive; what stands in the way is named."""
    CliRunner().invoke(cli, ["init", "tank"])
    edited = tmp_path / "tank" / "setup.toml"
    edited.write_text("mine", encoding="utf-8")
    (tmp_path / "tank" / "schedules" / "left.csv").unlink()
    done = CliRunner().invoke(cli, ["init", "tank"])
    assert done.exit_code == 2
    assert "are there already; nothing was written" in done.stderr
    assert edited.read_text(encoding="utf-8") == "mine"
    assert not (tmp_path / "tank" / "schedules" / "left.csv").exists()


@pytest.mark.identity
def test_init_beside_other_files_leaves_them(tmp_path: Path) -> None:
    """A folder with other files is fine."""
    (tmp_path / "notes.txt").write_text("n", encoding="utf-8")
    assert CliRunner().invoke(cli, ["init", "."]).exit_code == 0
    assert (tmp_path / "setup.toml").is_file()
    assert (tmp_path / "notes.txt").read_text(encoding="utf-8") == "n"


@pytest.mark.identity
def test_init_into_a_file_is_a_sentence(tmp_path: Path) -> None:
    """The folder's name is taken by a file."""
    (tmp_path / "tank").write_text("x", encoding="utf-8")
    done = CliRunner().invoke(cli, ["init", "tank"])
    assert done.exit_code == 2
    assert "tank is a file, not a folder" in done.stderr


@pytest.mark.identity
def test_example_says_that_it_is_invented_and_how_to_stay_safe() -> None:
    """Invented data is marked in every file; the setup tells of light near eyes and of electricity."""
    for name in (n for n in WRITTEN if not n.startswith("schemas/")):
        head = (example_folder() / name).read_text(encoding="utf-8")[:300].lower()
        assert "invented" in head, name
    setup = (example_folder() / "setup.toml").read_text(encoding="utf-8")
    for word in ("look into", "Unplug", "residual-current"):
        assert word in setup
