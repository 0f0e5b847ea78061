"""The LightdoseError family and the wording of its messages.

A problem names the place, what was found, what is allowed and how to mend it. Only ``cli`` prints them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace


@dataclass(frozen=True, slots=True)
class Place:
    """A position in a file; line and column count from 1, 0 means unknown."""

    file: str
    line: int = 0
    column: int = 0
    text: str = ""

    def __str__(self) -> str:
        parts = [self.file]
        if self.line:
            parts.append(str(self.line))
            if self.column:
                parts.append(str(self.column))
        return ":".join(parts)


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that stands in the way, in words for the person who must mend it.

    ``found`` is a sentence fragment without a full stop; ``allowed`` and ``cure`` are optional second lines.
    """

    found: str
    allowed: str = ""
    cure: str = ""
    place: Place | None = None

    def at(self, place: Place) -> Problem:
        """The same problem with its place, unless it already has one."""
        return self if self.place is not None else replace(self, place=place)

    def __str__(self) -> str:
        lines = [f"{self.place}: {self.found}" if self.place else self.found]
        if self.place and self.place.text:
            lines.append(f"    {self.place.text.rstrip()}")
            if self.place.column:
                lead = "".join("\t" if c == "\t" else " " for c in self.place.text[: self.place.column - 1])
                lines.append(f"    {lead}^")
        if self.allowed:
            lines.append(f"    allowed: {self.allowed}")
        if self.cure:
            lines.append(f"    mend it: {self.cure}")
        return "\n".join(lines)


def _order(problem: Problem) -> tuple[str, int, int]:
    place = problem.place
    return (place.file, place.line, place.column) if place else ("", 0, 0)


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
            text += f"\n{len(self.problems)} problems"
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
