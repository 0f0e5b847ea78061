"""What places get beside how they look: lux of their light and of white light with the same photons."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from lightdose.answers.looks import APPROXIMATE, CLIPPED, look_words, looks_sentence, rounded
from lightdose.model.comparison import LooksAndGets
from lightdose.present.figures.canvas import (
    Drawing,
    drawn,
    fitted,
    head_height,
    new_figure,
    panel,
    quiet_grid,
    write_head,
)
from lightdose.present.figures.dose_marks import write_beside
from lightdose.present.figures.style import SMALL_PT, TEXT_PT, TONES
from lightdose.present.labels import PPFD_UNIT_TYPESET, literal

if TYPE_CHECKING:
    from matplotlib.axes import Axes

WIDTH_IN: Final = 9.0
NAMES_IN: Final = 2.5
WORDS_IN: Final = 2.1
ROW_IN: Final = 0.62
AXIS_IN: Final = 0.55
TITLE_NAME_IN: Final = 2.5
MOST_PLACES: Final = 12
BAR: Final = 0.36


def looks_drawing(places: Sequence[tuple[str, LooksAndGets]]) -> Drawing:
    """Two bars a place: lux as it is, and lux of white light with the same photons, in their own colours.

    The first ``MOST_PLACES`` are drawn.
    """
    return drawn(lambda: _draw(places[:MOST_PLACES]))


def _draw(places: Sequence[tuple[str, LooksAndGets]]) -> Drawing:
    first = places[0][1]
    name = fitted(places[0][0], TITLE_NAME_IN, TEXT_PT)
    title = f"{name}: {looks_sentence(first, PPFD_UNIT_TYPESET)}".removesuffix(".")
    clipped = f"; {CLIPPED}" if any(look.appearance.swatch.clipped for _, look in places) else ""
    lead = (
        "Illuminance at the time of the peak. Upper bar: this light. Lower bar: white light "
        f"({first.white.name}) with the same photons. {APPROXIMATE}{clipped}."
    )
    head = head_height(title, lead, WIDTH_IN)
    height = len(places) * ROW_IN
    figure = new_figure(WIDTH_IN, head + height + AXIS_IN)
    write_head(figure, title, lead)
    axes = panel(figure, NAMES_IN, head, WIDTH_IN - NAMES_IN - WORDS_IN, height)
    axes.set_ylim(len(places) - 0.5, -0.5)
    axes.set_xlim(0, 1.02 * max(max(look.lux, look.white.lux) for _, look in places))
    axes.set_yticks(range(len(places)), [_name(name, look) for name, look in places])
    axes.locator_params(axis="x", nbins=6)
    axes.xaxis.set_major_formatter("{x:,.0f}")
    quiet_grid(axes, "x")
    axes.tick_params(axis="y", length=0, labelsize=TEXT_PT, pad=8)
    axes.set_xlabel("illuminance [lx]", fontsize=TEXT_PT)
    for row, (_, look) in enumerate(places):
        _draw_place(axes, row, look)
    words = " ".join(f"{literal(n)}: {looks_sentence(look, PPFD_UNIT_TYPESET)}" for n, look in places)
    return Drawing("looks-and-gets", title, words, figure)


def _name(name: str, look: LooksAndGets) -> str:
    gets = f"{rounded(look.ppfd_umol_m2_s)} {PPFD_UNIT_TYPESET}"
    return f"{fitted(name, NAMES_IN - 0.3, TEXT_PT)}\n{gets}"


def _draw_place(axes: Axes, row: int, look: LooksAndGets) -> None:
    bars = (
        (-BAR / 2, look.lux, look.appearance.swatch.srgb, f"{rounded(look.lux)} lx, {look_words(look)}"),
        (BAR / 2, look.white.lux, look.white.appearance.swatch.srgb, f"{rounded(look.white.lux)} lx, white"),
    )
    for offset, lux, colour, words in bars:
        axes.barh(row + offset, lux, height=BAR, color=colour, edgecolor=TONES["white"], linewidth=0.8)
        write_beside(axes, row + offset, fitted(words, WORDS_IN - 0.25, SMALL_PT), 8)
