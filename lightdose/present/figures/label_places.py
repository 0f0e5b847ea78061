"""Places for labels on a drawing so that no two meet: the first free one of several is taken."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from lightdose.present.figures.canvas import text_width_in

LETTER_HEIGHT = 1.25
"""Height of a line of text in units of its size."""


@dataclass(frozen=True)
class Box:
    """A rectangle on the page. [inch]"""

    left: float
    low: float
    right: float
    high: float

    def meets(self, other: Box) -> bool:
        """Whether the two overlap."""
        return (
            self.left < other.right
            and other.left < self.right
            and self.low < other.high
            and other.low < self.high
        )

    def holds(self, other: Box) -> bool:
        """Whether ``other`` lies wholly inside."""
        return (
            self.left <= other.left
            and other.right <= self.right
            and self.low <= other.low
            and other.high <= self.high
        )


def box_around(x: float, y: float, width: float, height: float) -> Box:
    """A box by its middle. [inch]"""
    return Box(x - width / 2, y - height / 2, x + width / 2, y + height / 2)


def text_size_in(text: str, size_pt: float, pad_in: float = 0.02) -> tuple[float, float]:
    """Width and height of a line of text with some room around it. [inch]"""
    return text_width_in(text, size_pt) + 2 * pad_in, size_pt * LETTER_HEIGHT / 72 + pad_in


@dataclass
class LabelField:
    """An area with the boxes that are taken already. [inch]"""

    area: Box
    taken: list[Box] = field(default_factory=list)

    def take(self, box: Box) -> None:
        """Keep other labels off a box."""
        self.taken.append(box)

    def place(self, middles: Iterable[tuple[float, float]], size_in: tuple[float, float]) -> Box | None:
        """The first free place for a label of that size, by its possible middles; None if all are taken."""
        for x, y in middles:
            box = box_around(x, y, *size_in)
            if self.area.holds(box) and not any(box.meets(other) for other in self.taken):
                self.take(box)
                return box
        return None


def beside(x: float, y: float, size_in: tuple[float, float], gap_in: float) -> list[tuple[float, float]]:
    """Middles of labels around a mark, the most usual first: right, left, above, below, corners. [inch]"""
    across, up = size_in[0] / 2 + gap_in, size_in[1] / 2 + gap_in
    near = 0.7 * gap_in
    return [
        (x + across, y),
        (x - across, y),
        (x, y + up),
        (x, y - up),
        *((x + sx * (across - near), y + sy * (up - near)) for sx in (1, -1) for sy in (1, -1)),
        (x + across, y + 0.6 * up),
        (x + across, y - 0.6 * up),
        (x - across, y + 0.6 * up),
        (x - across, y - 0.6 * up),
    ]
