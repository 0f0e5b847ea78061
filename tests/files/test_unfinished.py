"""What runs that were killed leave is finished or taken away by the next; what lives is let alone."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from hashlib import sha256
from pathlib import Path

import pytest

from lightdose.errors import OutputError
from lightdose.files.unfinished import clear_unfinished
from lightdose.files.writing import once_written, together, write_atomically

pytestmark = pytest.mark.skipif(os.name == "nt", reason="signals and locks of POSIX systems")

KILLED = """
import os, signal, sys
from pathlib import Path
from lightdose.files import unfinished
from lightdose.files.writing import together, write_atomically
folder, count = Path(sys.argv[1]), int(sys.argv[2])
take_place, done = unfinished._take_place, []
def counted(temporary, target):
    if len(done) == count:
        os.kill(os.getpid(), signal.SIGKILL)
    done.append(target)
    take_place(temporary, target)
unfinished._take_place = counted
with together():
    for name in "abc":
        write_atomically(folder / name, f"new {name}")
    if count < 0:
        os.kill(os.getpid(), signal.SIGKILL)
"""


def killed(folder: Path, count: int) -> None:
    """Three files over old ones, killed after so many took their places; -1 is before any was to."""
    for name in "abc":
        (folder / name).write_text(f"old {name}", encoding="utf-8")
    run = subprocess.run([sys.executable, "-c", KILLED, str(folder), str(count)], check=False)
    assert run.returncode == -9


def held(folder: Path) -> dict[str, str]:
    return {path.name: path.read_text(encoding="utf-8") for path in folder.iterdir()}


@pytest.mark.identity
@pytest.mark.parametrize("count", [-1, 0, 1, 2])
def test_killed_run_of_several_files_is_finished_or_gone_after_the_next(count: int, tmp_path: Path) -> None:
    """Killed before all were whole, all are old; later, all are new; no file of ours stays."""
    killed(tmp_path, count)
    assert any(name.startswith(".lightdose-") for name in held(tmp_path))
    write_atomically(tmp_path / "other", "x")
    word = "old" if count < 0 else "new"
    assert held(tmp_path) == {"other": "x", **{name: f"{word} {name}" for name in "abc"}}


@pytest.mark.identity
def test_file_that_its_keeper_changed_in_between_is_kept(tmp_path: Path) -> None:
    """Finishing what was killed writes over nothing that is younger."""
    killed(tmp_path, 1)
    (tmp_path / "c").write_text("mine", encoding="utf-8")
    write_atomically(tmp_path / "other", "x")
    assert held(tmp_path) == {"a": "new a", "b": "new b", "c": "mine", "other": "x"}


@pytest.mark.identity
def test_files_of_a_run_that_lives_are_let_alone(tmp_path: Path) -> None:
    """Another process in the same folder neither finishes nor removes what this one is writing."""
    code = "import sys; from pathlib import Path; from lightdose.files.unfinished import clear_unfinished\n"
    code += "clear_unfinished(Path(sys.argv[1]))"
    with together():
        write_atomically(tmp_path / "a", "new")
        before = sorted(held(tmp_path))
        subprocess.run([sys.executable, "-c", code, str(tmp_path)], check=True)
        assert sorted(held(tmp_path)) == before
        assert "a" not in before
    assert held(tmp_path) == {"a": "new"}


@pytest.mark.identity
def test_files_take_their_places_together_or_none_does(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where the second cannot take its place, the first comes back; nobody was told of either."""
    (tmp_path / "a").write_text("old", encoding="utf-8")
    replace, told = os.replace, []

    def refuse_b(source: Path, target: Path) -> None:
        if Path(target).name == "b":
            raise PermissionError(13, "Permission denied", str(source), None, str(target))
        replace(source, target)

    monkeypatch.setattr(os, "replace", refuse_b)

    def write() -> None:
        with together():
            for name in "abc":
                write_atomically(tmp_path / name, "new")
                once_written(lambda: told.append("told"))

    with pytest.raises(OutputError, match="b: was not written"):
        write()
    monkeypatch.undo()
    assert held(tmp_path) == {"a": "old"}
    assert told == []


@pytest.mark.identity
def test_trouble_within_leaves_no_file(tmp_path: Path) -> None:
    """What was written before it is gone; what is told once all is written is not told."""
    told: list[str] = []

    def write() -> None:
        with together():
            write_atomically(tmp_path / "deep" / "a", "new")
            once_written(lambda: told.append("a"))
            raise KeyError

    with pytest.raises(KeyError):
        write()
    assert list((tmp_path / "deep").iterdir()) == []
    assert told == []


@pytest.mark.identity
@pytest.mark.parametrize(
    "row",
    [["/etc/passwd", "b", ""], ["../x", "b", ""], ["TMP", "../b", ""], ["TMP", "/b", ""], [1, 2, 3], "x"],
)
def test_note_that_a_stranger_wrote_moves_nothing_elsewhere(row: object, tmp_path: Path) -> None:
    """A note names files of its own folder, by the names that we make; all else in it is passed over."""
    folder = tmp_path / "in"
    folder.mkdir()
    temporary = ".lightdose-0123456789ab-0.tmp"
    (folder / temporary).write_text("x", encoding="utf-8")
    rows = [[temporary if cell == "TMP" else cell for cell in row] if isinstance(row, list) else row]
    (folder / ".lightdose-0123456789ab.note").write_text(json.dumps(rows), encoding="utf-8")
    clear_unfinished(folder)
    assert list(tmp_path.rglob("*")) == [folder]


@pytest.mark.identity
def test_names_like_ours_that_are_no_plain_files_stay(tmp_path: Path) -> None:
    """A pipe, a link and a folder of such a name are not opened, followed or removed."""
    outside = tmp_path / "outside"
    outside.write_text("mine", encoding="utf-8")
    folder = tmp_path / "in"
    folder.mkdir()
    os.mkfifo(folder / ".lightdose-0123456789ab.tmp")
    (folder / ".lightdose-0123456789ac.tmp").symlink_to(outside)
    (folder / ".lightdose-0123456789ad.tmp").mkdir()
    note = json.dumps([[".lightdose-0123456789ac.tmp", "b", sha256(b"").hexdigest()]])
    (folder / "mine.note").write_text(note, encoding="utf-8")
    clear_unfinished(folder)
    assert outside.read_text(encoding="utf-8") == "mine"
    assert len(list(folder.iterdir())) == 4
