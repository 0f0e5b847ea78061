"""Answers as people see them, for tests of words."""

from __future__ import annotations

from collections.abc import Iterable

from lightdose.answers.answer import Answer
from lightdose.answers.blocks import Block
from lightdose.present.text import Window, lines_of


def piped(said: Answer | Iterable[Block], *, everything: bool = False) -> list[str]:
    """The lines of a pipe."""
    return list(lines_of(_blocks(said), Window(everything=everything)))


def on_terminal(
    said: Answer | Iterable[Block], width: int, *, everything: bool = False, styled: bool = False
) -> list[str]:
    """The lines of a terminal so many columns wide."""
    window = Window(width, wraps=True, styled=styled, everything=everything)
    return list(lines_of(_blocks(said), window))


def _blocks(said: Answer | Iterable[Block]) -> Iterable[Block]:
    return said.blocks if isinstance(said, Answer) else said


def as_one(lines: list[str]) -> str:
    """All words, one blank between any two: where lines break does not count."""
    return " ".join(" ".join(lines).split())
