"""What a TOML file may not hold, looked for before it is parsed: it would take long, or could not be told.

Nothing is loaded here but the standard library: TAB completion reads setups too.
"""

from __future__ import annotations

import os
import re
import stat
import tomllib
from pathlib import Path
from typing import Any, Final

LIMIT_BYTES: Final = 10_000_000
"""Largest TOML file that is read: 20,000 sites written by hand take about 3 MB."""

MOST_KEY_PARTS: Final = 30
"""a.b.c has three; our formats need four. Our choice."""

LONGEST_TEXT: Final = 500
"""Letters of a title, a name or any other text in a file, also in a cell of a table. Our choice."""

_KEY = r"(?:[\w-]+|\"[^\"\n]*\"|'[^'\n]*')"
_LONG_KEY: Final = re.compile(
    rf"(?:^|[{{,\[])[ \t]*{_KEY}(?:[ \t]*\.[ \t]*{_KEY}){{{MOST_KEY_PARTS}}}", re.MULTILINE
)
_LONG_WHOLE: Final = re.compile(r"0[xob][0-9A-Fa-f_]{1000}")


def beyond_reading(text: str) -> tuple[int, str, str] | None:
    """Line, what is found there and what is allowed, where a text is not to be parsed."""
    # tomllib's memory grows with the square of a key's parts; such a number is read, but cannot be shown.
    for form, found, allowed in (
        (
            _LONG_KEY,
            f"a key of more than {MOST_KEY_PARTS} parts with dots between them",
            "tables within tables as in the examples",
        ),
        (_LONG_WHOLE, "a whole number has more than 1,000 digits", "numbers as people write them"),
    ):
        if (match := form.search(text)) is not None:
            return text.count("\n", 0, match.end()) + 1, found, allowed
    return None


def may_hold_long_text(text: str) -> bool:
    """Whether a line, or what goes over several, has room for a text beyond ``LONGEST_TEXT``."""
    return '"""' in text or "'''" in text or max(map(len, text.split("\n"))) > LONGEST_TEXT


def tables_for_names(path: Path) -> dict[str, Any]:
    """The tables of a file for whoever only looks for names in it; empty where it cannot be read."""
    try:
        found = os.stat(path)
        if not stat.S_ISREG(found.st_mode) or found.st_size > LIMIT_BYTES:
            return {}
        text = path.read_text(encoding="utf-8-sig")
        return {} if beyond_reading(text) else tomllib.loads(text)
    except (OSError, ValueError, RecursionError):
        return {}
