"""Whether all words of a figure are inside its canvas and apart from each other."""

from __future__ import annotations

import itertools

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text

from lightdose.present.figures.canvas import Drawing, drawing_settings
from lightdose.present.figures.fonts import as_drawn


def misplaced_words(drawing: Drawing) -> list[str]:
    """Words that leave the canvas or meet others; tick labels outside their axis are not drawn."""
    with drawing_settings(), as_drawn(drawing.figure):
        FigureCanvasAgg(drawing.figure)
        drawing.figure.draw_without_rendering()  # places all words, at half the cost of painting
        width, height = drawing.figure.bbox.width, drawing.figure.bbox.height
        hidden = _undrawn_ticks(drawing)
        found = drawing.figure.findobj(lambda a: isinstance(a, Text) and bool(a.get_text().strip()))
        texts = [t for t in found if isinstance(t, Text) and t.get_visible() and t not in hidden]
        # Text's own box: an annotation's would hold its leader line too.
        boxes = [(t.get_text(), Text.get_window_extent(t)) for t in texts]
    out = [w for w, b in boxes if b.x0 < 0 or b.y0 < 0 or b.x1 > width or b.y1 > height]
    for (a, box_a), (b, box_b) in itertools.combinations(boxes, 2):
        across = min(box_a.x1, box_b.x1) - max(box_a.x0, box_b.x0)
        along = min(box_a.y1, box_b.y1) - max(box_a.y0, box_b.y0)
        if across > 0.5 and along > 0.5:
            out.append(f"{a} | {b}")
    return out


def _undrawn_ticks(drawing: Drawing) -> set[Text]:
    hidden: set[Text] = set()
    for axes in drawing.figure.axes:
        for axis, limits in ((axes.xaxis, axes.get_xlim()), (axes.yaxis, axes.get_ylim())):
            low, high = sorted(limits)
            ticks = axis._update_ticks() if axes.axison else []  # type: ignore[attr-defined]
            shown = {id(tick) for tick in ticks}
            for tick in [*axis.majorTicks, *axis.minorTicks]:
                if id(tick) not in shown or not low <= tick.get_loc() <= high:
                    hidden |= {tick.label1, tick.label2}
    return hidden
