"""Changes in TOML files: what is not changed stays, byte for byte."""

from __future__ import annotations

import random
import tomllib
from pathlib import Path
from typing import Any

import pytest
from desk.desk_tanks import EXAMPLES

from lightdose.desk.toml_edits import TomlText
from lightdose.errors import OutputError

SETUPS = sorted(p for p in EXAMPLES.glob("*/*.toml") if b"lightdose-setup/" in p.read_bytes())
COMMENTED = """# head
title = "t"   # of it
numbers = [1, 2,   3]

# ---- Corals ----

[[coral]]
name = "a"     # first
at = { x = "1 cm",  y = "2 cm" }

# between

[[coral]]
name = "b"
growth = { height = "1 cm" }

# ---- Rest ----

[electricity]
currency = "EUR" # ours
"""


def lines_apart(before: bytes, after: bytes) -> tuple[list[bytes], list[bytes]]:
    """Lines that only one of two files has, at the place where they differ."""
    old, new = before.splitlines(keepends=True), after.splitlines(keepends=True)
    first = next(
        (n for n, (a, b) in enumerate(zip(old, new, strict=False)) if a != b), min(len(old), len(new))
    )
    while old and new and len(old) > first and len(new) > first and old[-1] == new[-1]:
        old.pop(), new.pop()
    return old[first:], new[first:]


@pytest.mark.identity
@pytest.mark.parametrize("path", SETUPS, ids=lambda p: f"{p.parent.name}/{p.name}")
def test_fifty_random_edits_leave_all_other_bytes_as_they_are(path: Path) -> None:
    """Each of 50 seeded changes of values changes its own line and no other, in every example."""
    draw = random.Random(20)
    data = path.read_bytes()
    text = TomlText(data, path.name)
    tables = [k for k in ("coral", "site", "fixture", "rock") if text.get((k,))]
    for _ in range(50):
        kind = draw.choice(tables)
        index = draw.randrange(len(text.get((kind,))))
        keys = [k for k, v in text.get((kind, index)).items() if isinstance(v, str | float | int)]
        keys += ["at.x"] if "x" in (text.get((kind, index, "at")) or {}) else []
        key = tuple(draw.choice(keys).split("."))
        old = text.get((kind, index, *key))
        value: Any = f"{draw.randrange(1, 99)} cm" if isinstance(old, str) else not old
        if not isinstance(old, str | bool):
            value = round(draw.random(), 3)
        text.put((kind, index, *key), value)
        now = text.data
        gone, come = lines_apart(data, now)
        assert len(gone) == len(come) <= 1
        wanted = tomllib.loads(data.decode())
        home = wanted[kind][index]
        for step in key[:-1]:
            home = home[step]
        home[key[-1]] = value
        assert tomllib.loads(now.decode()) == wanted
        data = now


@pytest.mark.identity
def test_new_key_stands_before_the_comments_that_belong_to_what_follows() -> None:
    """A key that is added to a table comes behind its last key, not behind the next section's comment."""
    text = TomlText(COMMENTED.encode(), "t.toml")
    text.put(("coral", 1, "height"), "3 cm")
    expected = COMMENTED.replace(
        'growth = { height = "1 cm" }\n', 'growth = { height = "1 cm" }\nheight = "3 cm"\n'
    )
    assert text.data.decode() == expected


@pytest.mark.identity
def test_new_table_stands_behind_the_last_of_its_kind_and_comments_stay() -> None:
    """A new coral stands before the comment of the next section; taken out again, all is as before."""
    text = TomlText(COMMENTED.encode(), "t.toml")
    assert text.add_table("coral", {"name": 'ü "q"', "at": {"x": "1 cm"}}) == 2
    made = '\n[[coral]]\nname = "ü \\"q\\""\nat = { x = "1 cm" }\n'
    assert text.data.decode() == COMMENTED.replace("\n# ---- Rest", f"{made}\n# ---- Rest")
    text.drop_table("coral", 2)
    assert text.data.decode() == COMMENTED


@pytest.mark.identity
@pytest.mark.parametrize("index", [0, 1])
def test_dropped_table_leaves_the_comments_behind_it(index: int) -> None:
    """Whichever coral goes, every comment of the file stays, but for those on its own lines."""
    text = TomlText(COMMENTED.encode(), "t.toml")
    text.drop_table("coral", index)
    for comment in ("# head", "# of it", "# ---- Corals", "# between", "# ---- Rest", "# ours"):
        assert comment in text.data.decode()
    left = tomllib.loads(text.data.decode())
    assert [c["name"] for c in left["coral"]] == [["b"], ["a"]][index]


@pytest.mark.identity
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16-le", "utf-16-be"])
def test_marks_and_line_ends_of_a_file_stay(encoding: str) -> None:
    """Byte order marks, UTF-16 and CRLF come back as they were, on new lines too."""
    mark = {"utf-16-le": "\ufeff", "utf-16-be": "\ufeff"}.get(encoding, "")
    data = (mark + COMMENTED.replace("\n", "\r\n")).encode(encoding)
    text = TomlText(data, "t.toml")
    assert text.data == data
    text.put(("coral", 0, "height"), "2 cm")
    text.add_table("rock", {"name": "r"})
    decoded = text.data.decode("utf-8-sig" if encoding == "utf-8-sig" else encoding)
    assert "\n" not in decoded.replace("\r\n", "")


@pytest.mark.identity
def test_tables_that_others_part_are_left_to_the_file() -> None:
    """A file whose lines would move is refused with a cure, and stays as it is."""
    parted = "[[site]]\nx = 1\n\n[[coral]]\ny = 1\n\n[[site]]\nx = 2\n"
    with pytest.raises(OutputError, match="would move other lines"):
        TomlText(parted.encode(), "t.toml")
