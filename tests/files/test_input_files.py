"""Files that are not there, or are no files, are named at the key that names them."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest

from lightdose.errors import Problem, SetupError
from lightdose.files.input_files import InputFiles, UnreadSetupError
from lightdose.files.setup_file import read_setup

WriteSetup = Callable[..., Path]


def only_problem(path: str | Path) -> Problem:
    with pytest.raises(SetupError) as caught:
        read_setup(path)
    (problem,) = caught.value.problems
    return problem


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("named", "found", "cure"),
    [
        ("dayly.csv", 'no file "dayly.csv"', "did you mean daily.csv?"),
        ("nowhere/daily.csv", 'no file "nowhere/daily.csv": its folder is not there', ""),
        ("folder", '"folder" is a folder', ""),
        ("daily.csv/x.csv", '"daily.csv/x.csv" leads through a file as if it were a folder', ""),
        ("loop.csv", '"loop.csv" cannot be opened: its links lead round in a circle', ""),
        ("dangling.csv", '"dangling.csv" is a link that leads nowhere', ""),
        ("n" * 300, f'"{"n" * 57}..." cannot be opened: its name is too long', ""),
        ("/dev/null", '"/dev/null" is not a plain file', ""),
        ("", '"" cannot be the name of a file', ""),
        ("a\\u0000b", '"a\\x00b" cannot be the name of a file', ""),
    ],
    ids=[
        "typo",
        "no folder",
        "folder",
        "through a file",
        "loop",
        "dangling",
        "long",
        "device",
        "empty",
        "zero",
    ],
)
def test_file_that_cannot_be_used_is_named_at_its_key(
    write_setup: WriteSetup, named: str, found: str, cure: str
) -> None:
    """Every way in which a name leads to no file is a sentence with the place of the key."""
    path = write_setup()
    (path.parent / "folder").mkdir()
    (path.parent / "loop.csv").symlink_to("loop.csv")
    (path.parent / "dangling.csv").symlink_to("gone.csv")
    path.write_text(path.read_text().replace("daily.csv", named))
    problem = only_problem(path)
    assert (problem.found, problem.cure) == (found, cure)
    assert str(problem.place) == f"{path}:11:12"


@pytest.mark.pinned
@pytest.mark.skipif(os.sep != "/", reason="backslashes are folder marks here")
def test_backslashes_in_a_name_get_the_forward_form(write_setup: WriteSetup) -> None:
    """A setup written on another system names files with backslashes."""
    path = write_setup()
    (path.parent / "sub").mkdir()
    (path.parent / "daily.csv").rename(path.parent / "sub" / "daily.csv")
    path.write_text(path.read_text().replace('"daily.csv"', "'sub\\daily.csv'"))
    assert only_problem(path).cure == 'write "sub/daily.csv"'


@pytest.mark.pinned
def test_setup_that_is_not_there_is_a_sentence(tmp_path: Path) -> None:
    """The first file of all, and a folder without a setup."""
    missing = only_problem(tmp_path / "setup.toml")
    assert missing.found.startswith("no file")
    assert missing.allowed.startswith("a file that is there; looked at ")
    assert only_problem(tmp_path).found.endswith("is a folder")


@pytest.mark.identity
@pytest.mark.parametrize(
    ("named", "cure"),
    [
        ("setpu.toml", "did you mean {}/setup.toml?"),
        ("reef-tnak", "did you mean {}/reef-tank/setup.toml?"),
        ("reef-tnak/setup.toml", "did you mean {}/reef-tank/setup.toml?"),
        ("rep", ""),
        ("panl.html", None),
        ("pictures-of-tank", None),
    ],
)
def test_wrong_path_of_a_setup_suggests_setups_alone(
    write_setup: WriteSetup, tmp_path: Path, named: str, cure: str | None
) -> None:
    """Neither pages, nor fixture files, nor folders without a setup."""
    path = write_setup()
    (tmp_path / "rep.html").write_text("<p>lightdose-setup/1</p>")
    (tmp_path / "reef-tank").mkdir()
    (tmp_path / "reef-tank" / "setup.toml").write_text(path.read_text())
    (tmp_path / "pictures-of-tanks").mkdir()
    told = only_problem(tmp_path / named).cure
    assert not any(other in told for other in ("html", "panel", "pictures"))
    assert cure is None or told == cure.format(tmp_path)


@pytest.mark.identity
def test_names_are_seen_from_the_file_that_names_them(
    write_setup: WriteSetup, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Run from another folder; the spectrum stands beside the fixture file, not beside the setup."""
    path = write_setup()
    (tmp_path / "deep").mkdir()
    fixture = (tmp_path / "panel.toml").read_text()
    (tmp_path / "deep" / "panel.toml").write_text(
        fixture.replace("{ peak_nm = 445, fwhm_nm = 20 }", '{ file = "blue.csv" }')
    )
    (tmp_path / "deep" / "blue.csv").write_text("wavelength_nm,relative_power\n430,0\n445,1\n460,0\n")
    path.write_text(path.read_text().replace("panel.toml", "deep/panel.toml"))
    (tmp_path / "elsewhere").mkdir()
    monkeypatch.chdir(tmp_path / "elsewhere")
    setup = read_setup("../setup.toml")
    assert str(tmp_path / "deep" / "blue.csv") in setup.inputs_sha256
    assert setup.path == "../setup.toml"


@pytest.mark.identity
def test_messages_name_files_as_the_keeper_does(
    write_setup: WriteSetup, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A relative setup gives relative places, which editors and terminals can open."""
    write_setup(schedule="time,blue,white\n08:00,0,0\n09:00,x,0\n")
    monkeypatch.chdir(tmp_path)
    assert str(only_problem("setup.toml").place) == "daily.csv:3:7"
    monkeypatch.chdir(tmp_path.parent)
    assert str(only_problem(f"{tmp_path.name}/setup.toml").place) == f"{tmp_path.name}/daily.csv:3:7"


@pytest.mark.identity
def test_what_was_understood_survives_problems(write_setup: WriteSetup) -> None:
    """`check` echoes what could be read even where something could not."""
    with pytest.raises(UnreadSetupError) as caught:
        read_setup(write_setup("[meter.m]\n"))
    assert any(sentence.startswith("tank ") for sentence in caught.value.understood)
    assert any("programme 08:00 to 18:00" in sentence for sentence in caught.value.understood)


@pytest.mark.identity
@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="permissions do not bind this user")
def test_file_without_permission_is_a_sentence(write_setup: WriteSetup) -> None:
    """Rights are named as such."""
    path = write_setup()
    (path.parent / "daily.csv").chmod(0)
    assert "permissions" in only_problem(path).found


@pytest.mark.identity
def test_without_problems_nothing_is_raised() -> None:
    """Finishing an empty run is silent."""
    files = InputFiles()
    files.finish()
    assert files.problems == []
