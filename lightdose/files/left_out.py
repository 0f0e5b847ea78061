"""Lines of a delimited text that are no rows of its table: each is named, so that no row is lost unseen.

Comments start with ``#``. In a table whose first column holds names, ``#12 hammer`` is a name: there a
comment has a space after its mark, or is one cell. What stands above the header is a title or an instrument's
own words; what could be a row there comes of sorting a sheet together with its header, and is refused.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import Final, Literal

from lightdose.errors import literal
from lightdose.model.record import dataclass

NAME_COLUMNS: Final = frozenset(("site", "coral", "group", "genus", "meter", "unit", "name", "note"))
"""Columns that hold names or words."""

SHOWN: Final = 3
"""Lines of a kind that are shown with their text; the rest is counted. Our choice."""

_SHOWN_LETTERS: Final = 40
_MARKED_NAME: Final = re.compile(r"[ \f]*#[^\s#]")

Kind = Literal["above", "comment", "head"]
"""A line above the table, a comment beside rows or like one, a comment in the head of a file."""


@dataclass(frozen=True)
class LeftOut:
    """One line that is no row, by its number in the file."""

    line: int
    text: str
    kind: Kind


def left_out_words(lines: Sequence[LeftOut]) -> list[str]:
    """What was left out, for the user to check; the comments in the head of a file go without saying."""
    above = [found for found in lines if found.kind == "above"]
    comments = [found for found in lines if found.kind == "comment"]
    words = []
    if above:
        words.append(f"{_counted(len(above), 'line')} above left out ({_listed(above)})")
    if comments:
        words.append(f"{_counted(len(comments), 'comment')} left out ({_listed(comments)})")
    return words


def starts_with_names(header: Sequence[str] | None) -> bool:
    """Whether the first column of a table holds names."""
    return header is not None and header[0].casefold() in NAME_COLUMNS


def has_marked_name(line: str) -> bool:
    """Whether a line starts with ``#`` and, without a space, what may be the rest of a name."""
    return _MARKED_NAME.match(line) is not None


def several_filled(cells: Iterable[str]) -> bool:
    """Whether two cells or more hold something: a title has one."""
    return sum(map(bool, cells)) > 1


def _listed(lines: Sequence[LeftOut]) -> str:
    shown = [f'line {found.line}: "{_short(found.text)}"' for found in lines[:SHOWN]]
    more = [f"and {len(lines) - SHOWN} more"] if len(lines) > SHOWN else []
    return ", ".join(shown + more)


def _short(text: str) -> str:
    text = literal(" ".join(text.split()))
    return text if len(text) <= _SHOWN_LETTERS else f"{text[: _SHOWN_LETTERS - 3].rstrip()}..."


def _counted(number: int, one: str) -> str:
    return f"{number} {one}{'' if number == 1 else 's'}"
