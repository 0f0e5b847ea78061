"""The LightdoseError family and the wording of its messages.

A problem names the place, what was found, what is allowed and how to mend it. Only ``cli`` prints them.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace
from typing import Final

from lightdose.frozen import dataclass

LONGEST_WORD: Final = 600
"""Characters without a blank that a message shows in full: paths are shorter; our choice."""

LONGEST_LINE: Final = 2000
"""Characters of a line of a message that are shown; our choice."""

_LONG_WORD: Final = re.compile(rf"\S{{{LONGEST_WORD + 1},}}")
_JOINERS: Final = "\u200c\u200d"
"""Invisible, but letters of some scripts and many emoji are made with them."""
_STEERING: Final = frozenset(("Cc", "Cf", "Cs", "Zl", "Zp"))
"""Unicode categories of control and format characters, half surrogates, line and paragraph ends."""


def literal(text: str) -> str:
    """A name on one line: what steers a terminal or turns the reading direction stands as an escape."""
    if text.isprintable():
        return text
    return "".join(c.encode("unicode_escape").decode("ascii") if _steers(c) else c for c in text)


def _steers(letter: str) -> bool:
    from unicodedata import category

    return not letter.isprintable() and letter not in _JOINERS and category(letter) in _STEERING


def shown(text: str) -> str:
    """Words of a message: nothing in them steers a terminal, and neither a word nor the line is endless."""
    words = _LONG_WORD.sub(lambda word: f"{word[0][:200]}...", literal(text))
    return words if len(words) <= LONGEST_LINE else f"{words[: LONGEST_LINE - 3]}..."


def beyond(value: float, limit: float) -> str:
    """A number in as few digits as show that it lies on its side of a limit: 8.02 where 8 is allowed."""
    whole = [f"{value:.0f}"] if 10 <= value < 1e6 else []
    texts = [*whole, *(f"{value:.{digits}g}" for digits in range(2, 17)), repr(value)]
    return next((t for t in texts if (float(t) - limit) * (value - limit) > 0), texts[-1])


def _under(line: str) -> str:
    """A line of a file under a message, every letter in its column."""
    return "".join(" " if _steers(c) and c != "\t" else c for c in line.rstrip())


@dataclass(frozen=True)
class Place:
    """A position in a file; line and column count from 1, 0 means unknown."""

    file: str
    line: int = 0
    column: int = 0
    text: str = ""

    def __str__(self) -> str:
        parts = [literal(self.file)]
        if self.line:
            parts.append(str(self.line))
            if self.column:
                parts.append(str(self.column))
        return ":".join(parts)


@dataclass(frozen=True)
class Problem:
    """One thing that stands in the way, in words for the person who must mend it.

    ``found`` is a sentence fragment without a full stop; ``allowed`` and ``cure`` are optional second lines.
    ``stands_for`` is how many problems a line counts that is the last of a long list.
    """

    found: str
    allowed: str = ""
    cure: str = ""
    place: Place | None = None
    stands_for: int = 1

    def at(self, place: Place) -> Problem:
        """The same problem with its place, unless it already has one."""
        return self if self.place is not None else replace(self, place=place)

    def __str__(self) -> str:
        found = shown(self.found)
        lines = [f"{self.place}: {found}" if self.place and self.place.file else found]
        if self.place and self.place.text:
            lines.append(f"    {_under(self.place.text)}")
            if self.place.column:
                lead = "".join("\t" if c == "\t" else " " for c in self.place.text[: self.place.column - 1])
                lines.append(f"    {lead}^")
        if self.allowed:
            lines.append(f"    allowed: {shown(self.allowed)}")
        if self.cure:
            lines.append(f"    mend it: {shown(self.cure)}")
        return "\n".join(lines)


def _order(problem: Problem) -> tuple[str, int, int]:
    place = problem.place
    return (place.file, place.line, place.column) if place else ("", 0, 0)


def first_few(problems: Iterable[Problem], most: int) -> list[Problem]:
    """The first problems in file order, and how many more there are."""
    ordered = sorted(problems, key=_order)
    shown = ordered[:most]
    if len(ordered) > most:
        rest = len(ordered) - most
        shown.append(Problem(f"and {rest} more problems", place=shown[-1].place, stands_for=rest))
    return shown


class LightdoseError(Exception):
    """Input, usage or a task that cannot be done as asked; carries every problem that was found."""

    def __init__(self, *problems: Problem | str) -> None:
        self.problems: tuple[Problem, ...] = tuple(
            sorted((Problem(p) if isinstance(p, str) else p for p in problems), key=_order)
        )
        super().__init__(self.describe())

    def describe(self) -> str:
        """All problems in file order, counted at the end when there are several."""
        text = "\n".join(str(p) for p in self.problems)
        if len(self.problems) > 1:
            text += f"\n{sum(p.stands_for for p in self.problems)} problems"
        return text


class SetupError(LightdoseError):
    """A setup, fixture, group, site or coral that cannot be used as written."""


class SpectrumError(LightdoseError):
    """A spectrum or spectral table that cannot be used as written."""


class ScheduleError(LightdoseError):
    """A schedule that cannot be used as written."""


class ReadingsError(LightdoseError):
    """Meter readings that cannot be used as written."""


class InfeasibleError(LightdoseError):
    """A target that no allowed programme can reach."""


class OutputError(LightdoseError):
    """A result that cannot be written where it was asked for."""
