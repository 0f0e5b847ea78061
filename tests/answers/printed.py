"""Answers as people see them, for tests of words."""

from __future__ import annotations

from lightdose.answers.blocks import Answer
from lightdose.present.text import Window, lines_of


def piped(answer: Answer, *, everything: bool = False) -> list[str]:
    """The lines of a pipe."""
    return list(lines_of(answer.blocks, Window(everything=everything)))


def on_terminal(answer: Answer, width: int, *, everything: bool = False) -> list[str]:
    """The lines of a terminal so many columns wide, without styles."""
    return list(lines_of(answer.blocks, Window(width, wraps=True, everything=everything)))


def as_one(lines: list[str]) -> str:
    """All words, one blank between any two: where lines break does not count."""
    return " ".join(" ".join(lines).split())
