"""Bytes to a document: encodings, limits, places."""

from __future__ import annotations

import pytest

from lightdose.errors import SetupError
from lightdose.files.toml_tables import LIMIT_BYTES, read_document

TEXT = 'title = "Grün"\n[tank]\nlength = "75 cm"\n'


@pytest.mark.identity
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_document_reads_the_same_in_every_accepted_encoding(encoding: str, end: str) -> None:
    """UTF-8 with and without its mark, UTF-16 with one, either line end: one content, one place."""
    document = read_document(TEXT.replace("\n", end).encode(encoding), "a.toml")
    assert document.data == {"title": "Grün", "tank": {"length": "75 cm"}}
    place = document.value_place(("tank", "length"))
    assert (str(place), place.text) == ("a.toml:3:10", 'length = "75 cm"')


@pytest.mark.identity
@pytest.mark.parametrize("encoding", ["utf-16-le", "utf-16-be"])
def test_utf16_of_both_byte_orders_is_read_by_its_mark(encoding: str) -> None:
    """The byte order mark decides."""
    data = ("\ufeff" + TEXT).encode(encoding)
    assert read_document(data, "a.toml").data["title"] == "Grün"


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("data", "place", "found"),
    [
        (TEXT.encode("cp1252"), "a.toml:1:12", "the file is not UTF-8: here stands the byte 0xfc (ü"),
        (b"a = 1\n" + b"\xff", "a.toml:2:1", "the file is not UTF-8: here stands the byte 0xff (ÿ"),
        (b"\xff\xfea", "a.toml", "the file begins as UTF-16 but does not go on so"),
        (TEXT.encode("utf-16-le"), "a.toml:1", "the file holds zero bytes: it is no plain text, or UTF-16"),
        (b"a = 1\nb = \0", "a.toml:2", "the file holds zero bytes: it is no plain text, or UTF-16"),
        (b" " * (LIMIT_BYTES + 1), "a.toml", "the file has 10.0 MB"),
    ],
    ids=["cp1252", "byte ff", "cut utf-16", "unmarked utf-16", "zero byte", "size"],
)
def test_other_bytes_are_named_with_their_place(data: bytes, place: str, found: str) -> None:
    """Encoding trouble, zero bytes and size are one problem each."""
    with pytest.raises(SetupError) as caught:
        read_document(data, "a.toml")
    (problem,) = caught.value.problems
    assert problem.found.startswith(found)
    assert str(problem.place) == place


@pytest.mark.identity
def test_empty_file_has_no_tables_and_no_line() -> None:
    """Nothing is nothing, not a crash."""
    document = read_document(b"", "a.toml")
    assert document.data == {}
    assert str(document.value_place(("tank",))) == "a.toml"


@pytest.mark.identity
def test_no_escape_byte_of_a_file_reaches_a_message() -> None:
    """A file cannot colour or clear the terminal through the line that a problem prints."""
    for data in (
        b"a = 1 # \x1b[2J\nb = left\n",
        b'a = "\x1b[31m"\n',
        b"a = \x1b[31m\n",
        b"\x1b = 08:00\n",
        b"a = \x9b\n",
    ):
        with pytest.raises(SetupError) as caught:
            read_document(data, "a.toml")
        assert all(c.isprintable() or c == "\n" for c in str(caught.value))


@pytest.mark.identity
def test_very_long_line_is_not_printed_under_its_problem() -> None:
    """The place says enough."""
    with pytest.raises(SetupError) as caught:
        read_document(b"a = [" + b"1, " * 5000 + b"08:00]", "a.toml")
    assert len(str(caught.value)) < 200
    assert caught.value.problems[0].place is not None
    assert caught.value.problems[0].place.column == 15006


@pytest.mark.identity
@pytest.mark.parametrize("start", ["", "[", "a = {", "a = [{ b = 1 }]\n"])
def test_key_of_many_parts_is_refused_before_it_is_parsed(start: str) -> None:
    """The parser's memory grows with the square of the parts: 50,000 of them would take gigabytes."""
    with pytest.raises(SetupError, match="a key of more than 30 parts"):
        read_document(f"{start}rows{'.a' * 50_000} = 1\n".encode(), "a.toml")


@pytest.mark.identity
def test_dots_in_values_and_remarks_are_no_keys() -> None:
    """Long texts with dots stay what they are."""
    dots = "a." * 40 + "a"
    document = read_document(f'# {dots}\nname = "{dots}"\n'.encode(), "a.toml")
    assert document.data == {"name": dots}
