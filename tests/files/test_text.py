"""Bytes to text."""

from __future__ import annotations

import pytest

from lightdose.errors import LightdoseError
from lightdose.files.text import DelimitedError, read_text

TEXT = "site;x_cm\nRückwand µ;1,5\n"


@pytest.mark.identity
@pytest.mark.parametrize(
    ("data", "encoding"),
    [
        (TEXT.encode(), "utf-8"),
        (b"\xef\xbb\xbf" + TEXT.encode(), "utf-8"),
        (b"\xff\xfe" + TEXT.encode("utf-16-le"), "UTF-16"),
        (b"\xfe\xff" + TEXT.encode("utf-16-be"), "UTF-16"),
        (TEXT.encode("cp1252"), "Windows-1252"),
    ],
    ids=["utf-8", "utf-8 with mark", "utf-16 little", "utf-16 big", "cp1252"],
)
def test_text_of_spreadsheets_is_decoded(tmp_path, data, encoding):
    """The encodings that spreadsheets write give the same text, without the mark."""
    path = tmp_path / "a.csv"
    path.write_bytes(data)
    assert read_text(path, limit_bytes=1000, label="a.csv") == (TEXT, encoding)


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "a.csv: is empty"),
        (b"a,b\n1,\x002\n", "a.csv:2: holds NUL bytes"),
        ("a,b\n1,2".encode("utf-16-le"), "a.csv:1: holds NUL bytes"),
        (b"\xff\xfe\x00\x00a\x00\x00\x00", "is UTF-32"),
        (b"a,b\n1,\x81\n", "a.csv:2: byte 0x81 cannot be read as UTF-8 or Windows-1252"),
        (b"\xef\xbb\xbfa\n\xff\n", "a.csv:2: byte 0xff cannot be read as UTF-8"),
        (b"\xff\xfea\x00\n", "cannot be read as UTF-16"),
        (b"a,b\n1,\x1b[31m2\n", "a.csv:2: holds the control character 0x1b"),
        (b"PK\x03\x04rest", "is a spreadsheet or zip file, not text"),
        (b"\xd0\xcf\x11\xe0rest", "is an old spreadsheet file"),
        (b"%PDF-1.7", "is a PDF"),
        (b"x" * 1001, "is larger than allowed\n    allowed: up to 1 kB"),
    ],
)
def test_what_is_no_text_is_named(tmp_path, data, says):
    """Each kind of trouble is one problem with its place."""
    path = tmp_path / "a.csv"
    path.write_bytes(data)
    with pytest.raises(DelimitedError) as caught:
        read_text(path, limit_bytes=1000, label="a.csv")
    assert len(caught.value.problems) == 1
    assert says in str(caught.value)


@pytest.mark.pinned
def test_missing_file_and_folder_are_named(tmp_path):
    """A typo in a name shows the near ones; a folder is called a folder."""
    (tmp_path / "schedule.csv").write_text("x")
    with pytest.raises(LightdoseError, match=r"similar name: schedule\.csv"):
        read_text(tmp_path / "shedule.csv", limit_bytes=1000, label="shedule.csv")
    with pytest.raises(LightdoseError, match="is a folder, not a file"):
        read_text(tmp_path, limit_bytes=1000, label="here")
