"""Atomic writes and output names."""

from __future__ import annotations

import errno
import os
import stat
import sys
from pathlib import Path

import pytest

from lightdose.errors import OutputError
from lightdose.files.writing import format_size, output_target, write_atomically

posix = pytest.mark.skipif(sys.platform == "win32", reason="file modes and links of POSIX systems")


def left_in(folder: Path) -> list[str]:
    return sorted(entry.name for entry in folder.iterdir())


@pytest.mark.pinned
def test_written_file_is_named_with_its_size(tmp_path):
    """The content arrives byte for byte and the description holds name and size."""
    target = tmp_path / "out.csv"
    said = write_atomically(target, "a\r\nµ\n" * 2000)
    assert target.read_bytes() == "a\r\nµ\n".encode() * 2000
    assert said == f"{target}, 12.0 kB"
    assert left_in(tmp_path) == ["out.csv"]


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("n_bytes", "shown"),
    [(0, "0 bytes"), (999, "999 bytes"), (12_400, "12.4 kB"), (999_949, "999.9 kB"), (999_950, "1.0 MB")],
)
def test_size_is_shown_for_people(n_bytes, shown):
    """Powers of ten, and no "1000.0 kB"."""
    assert format_size(n_bytes) == shown


@pytest.mark.identity
def test_missing_folders_are_made(tmp_path):
    """A result in a new folder needs no mkdir; umlauts and spaces are names like any other."""
    target = tmp_path / "neu & alt" / "Lösung 1" / "out.csv"
    write_atomically(target, b"x")
    assert target.read_bytes() == b"x"


@pytest.mark.identity
@posix
def test_new_file_gets_the_usual_mode_and_an_old_one_keeps_its_own(tmp_path):
    """A temporary file's private mode does not leak into the result."""
    mask = os.umask(0o027)
    try:
        write_atomically(tmp_path / "new.csv", b"x")
    finally:
        os.umask(mask)
    assert stat.S_IMODE((tmp_path / "new.csv").stat().st_mode) == 0o640
    (tmp_path / "new.csv").chmod(0o604)
    write_atomically(tmp_path / "new.csv", b"y")
    assert stat.S_IMODE((tmp_path / "new.csv").stat().st_mode) == 0o604


@pytest.mark.identity
@pytest.mark.parametrize("stop", [KeyboardInterrupt(), OSError(errno.ENOSPC, "no space"), SystemExit(3)])
@pytest.mark.parametrize("step", ["fsync", "replace"])
def test_interrupted_write_leaves_the_old_file(tmp_path, monkeypatch, stop, step):
    """Whatever stops it, the old content stays and no temporary file is left."""
    target = tmp_path / "out.csv"
    target.write_bytes(b"old")

    def interrupt(*_):
        raise stop

    monkeypatch.setattr(os, step, interrupt)
    with pytest.raises((KeyboardInterrupt, SystemExit, OutputError)):
        write_atomically(target, b"new")
    assert target.read_bytes() == b"old"
    assert left_in(tmp_path) == ["out.csv"]


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("cause", "says"),
    [
        (OSError(errno.ENOSPC, "No space left on device"), "the disk is full"),
        (PermissionError(errno.EACCES, "Permission denied"), "open in another program"),
        (OSError(errno.EROFS, "Read-only file system"), "write-protected"),
        (OSError(errno.ENAMETOOLONG, "File name too long"), "name is too long"),
        (OSError(errno.EIO, "Input/output failure"), "input/output failure"),
    ],
)
def test_refused_write_gets_a_sentence(tmp_path, monkeypatch, cause, says):
    """A locked file or a full disk is told in words, with the name of the file."""

    def refuse(*_):
        raise cause

    monkeypatch.setattr(os, "replace", refuse)
    with pytest.raises(OutputError) as caught:
        write_atomically(tmp_path / "out.csv", b"new")
    assert says in str(caught.value)
    assert str(caught.value).startswith(str(tmp_path / "out.csv"))
    assert left_in(tmp_path) == []


@pytest.mark.identity
def test_input_is_never_overwritten(tmp_path):
    """An input is recognised by any of its names."""
    source = tmp_path / "daily.csv"
    source.write_bytes(b"keep")
    (tmp_path / "sub").mkdir()
    with pytest.raises(OutputError, match="is an input of this run"):
        write_atomically(tmp_path / "sub" / ".." / "daily.csv", b"new", inputs=[tmp_path / "x", source])
    assert source.read_bytes() == b"keep"


@pytest.mark.identity
@posix
def test_link_to_an_input_is_no_way_round(tmp_path):
    """A link to an input is the input; a link to something else stays a link."""
    source, link = tmp_path / "daily.csv", tmp_path / "link.csv"
    source.write_bytes(b"keep")
    link.symlink_to(source)
    with pytest.raises(OutputError, match="is an input of this run"):
        write_atomically(link, b"new", inputs=[source])
    write_atomically(link, b"new")
    assert link.is_symlink()
    assert source.read_bytes() == b"new"


@pytest.mark.pinned
@posix
def test_write_protected_file_is_left_as_it_is(tmp_path):
    """A rename could replace a protected file; the protection counts all the same."""
    target = tmp_path / "out.csv"
    target.write_bytes(b"old")
    target.chmod(0o444)
    with pytest.raises(OutputError, match="is write-protected"):
        write_atomically(target, b"new")
    assert target.read_bytes() == b"old"


@pytest.mark.pinned
def test_folder_and_path_through_a_file_are_refused(tmp_path):
    """A folder cannot be a file, and a file cannot hold one."""
    with pytest.raises(OutputError, match="is a folder"):
        write_atomically(tmp_path, b"x")
    (tmp_path / "file.csv").write_bytes(b"x")
    with pytest.raises(OutputError, match="is a file, not a folder"):
        write_atomically(tmp_path / "file.csv" / "out.csv", b"x")


@pytest.mark.identity
@posix
def test_device_is_written_through():
    """A device such as /dev/null is not replaced by a file."""
    write_atomically(Path("/dev/null"), b"x")
    assert stat.S_ISCHR(os.stat("/dev/null").st_mode)
    assert output_target("/dev/null", "out.csv") == Path("/dev/null")


@pytest.mark.pinned
def test_name_without_suffix_is_a_folder(tmp_path, monkeypatch):
    """-o takes an existing folder, a name without suffix, or a file."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "week.1").mkdir()
    assert output_target("week.1", "dose.csv") == Path("week.1/dose.csv")
    assert output_target("results", "dose.csv") == Path("results/dose.csv")
    assert output_target(".", "dose.csv") == Path("dose.csv")
    assert output_target("new.d/", "dose.csv") == Path("new.d/dose.csv")
    assert output_target("mine.csv", "dose.csv") == Path("mine.csv")
