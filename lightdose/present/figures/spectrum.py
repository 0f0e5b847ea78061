"""The figure of `spectrum`: photon spectra of several lights on one scale."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from lightdose.model.spectrum import SpectralDistribution
from lightdose.present.figures.canvas import (
    LINE_IN,
    Drawing,
    drawn,
    fitted,
    head_height,
    new_figure,
    panel,
    quiet_grid,
    shortened,
    write_head,
)
from lightdose.present.figures.style import (
    DASHES,
    INK,
    QUIET_INK,
    SMALL_PT,
    TEXT_PT,
    TONES,
    Stroke,
    tone_of,
)
from lightdose.quantities import BANDS, GRID_END_NM

if TYPE_CHECKING:
    from matplotlib.axes import Axes

WIDTH_IN, LEFT_IN, KEY_IN, PANEL_IN, AXIS_IN, BANDS_IN = 8.8, 0.85, 2.35, 2.6, 0.6, 0.38
LABEL_IN = KEY_IN - 0.7
LONGEST_LABEL = 34
NAMED_IN_TITLE = 3
_SEEN_SHARE = 1e-3
"""The wavelength axis starts where a spectrum first exceeds this share of its peak."""


def overlay_drawing(curves: Sequence[SpectralDistribution]) -> Drawing:
    """Share of photons per nanometre against wavelength, one line a spectrum; every area is 100 %."""
    return drawn(lambda: _draw(curves))


def overlay_strokes(curves: Sequence[SpectralDistribution]) -> list[Stroke]:
    """The tone of each light, and a dash that no other of its tone has while they last."""
    strokes: list[Stroke] = []
    for tone in map(tone_of, curves):
        turn = sum(stroke.colour == TONES[tone] for stroke in strokes)
        strokes.append(Stroke(TONES[tone], DASHES[turn % len(DASHES)]))
    return strokes


def _draw(curves: Sequence[SpectralDistribution]) -> Drawing:
    peaks_nm = [float(c.wavelength_nm[int(c.values.argmax())]) for c in curves]
    labels = [fitted(shortened(c.name, LONGEST_LABEL), LABEL_IN, SMALL_PT) for c in curves]
    named = [f"{label} {peak:.0f} nm" for label, peak in zip(labels, peaks_nm, strict=True)]
    if len(curves) <= NAMED_IN_TITLE:
        title = f"Most photons at: {', '.join(named)}"
    else:
        title = f"{len(curves)} lights, most photons at {min(peaks_nm):.0f} to {max(peaks_nm):.0f} nm"
    lead = "Share of the photons of 300-800 nm in each nanometre; every area is 100 %."
    top = head_height(title, lead, WIDTH_IN) + BANDS_IN
    height = max(PANEL_IN, len(curves) * LINE_IN)
    width = WIDTH_IN - LEFT_IN - KEY_IN
    figure = new_figure(WIDTH_IN, top + height + AXIS_IN)
    write_head(figure, title, lead)
    axes = panel(figure, LEFT_IN, top, width, height)
    for row, (curve, stroke) in enumerate(zip(curves, overlay_strokes(curves), strict=True)):
        _plot(axes, curve, stroke)
        _key(axes, labels[row], stroke, row, width, height)
    start_nm = min(_first_seen_nm(curve) for curve in curves)
    axes.set_xlim(start_nm, GRID_END_NM)
    axes.set_xticks(range(int(start_nm), GRID_END_NM + 1, 50))
    axes.set_ylim(0, 105 * max(float(curve.values.max()) for curve in curves))
    _band_edges(axes, start_nm)
    quiet_grid(axes)
    axes.set_xlabel("wavelength [nm]", fontsize=TEXT_PT)
    axes.set_ylabel("photons [% per nm]", fontsize=TEXT_PT)
    return Drawing("spectra-compared", title, f"{title}. {lead} {'; '.join(named)}.", figure)


def _plot(axes: Axes, curve: SpectralDistribution, stroke: Stroke) -> None:
    axes.plot(
        curve.wavelength_nm,
        100 * curve.values,
        color=stroke.colour,
        linestyle=stroke.dash,
        linewidth=stroke.width_pt,
        label=curve.name,
    )


def _key(axes: Axes, label: str, stroke: Stroke, row: int, width_in: float, height_in: float) -> None:
    """A name with a piece of its line, from the panel's top down, in the right margin."""
    y = 1 - (row + 0.5) * LINE_IN / height_in
    axes.plot(
        [1 + 0.12 / width_in, 1 + 0.5 / width_in],
        [y, y],
        color=stroke.colour,
        linestyle=stroke.dash,
        linewidth=stroke.width_pt,
        transform=axes.transAxes,
        clip_on=False,
    )
    axes.text(
        1 + 0.58 / width_in,
        y,
        label,
        transform=axes.transAxes,
        fontsize=SMALL_PT,
        color=INK,
        va="center",
    )


def _first_seen_nm(curve: SpectralDistribution) -> float:
    """The 50 nm mark below the shortest wavelength that shows, 350 nm at most."""
    seen = curve.wavelength_nm[curve.values > _SEEN_SHARE * curve.values.max()]
    return float(min(350.0, 50 * (seen[0] // 50)))


def _band_edges(axes: Axes, start_nm: float) -> None:
    """The colour bands with their edges, above the panel."""
    for band in BANDS:
        low_nm = max(band.low_nm, start_nm)
        for edge_nm in (band.low_nm, band.high_nm):
            if edge_nm > start_nm:
                axes.axvline(edge_nm, color=QUIET_INK, linewidth=0.6, linestyle=(0, (2, 2)), zorder=0)
        axes.annotate(
            f"{band.name}\n{band.low_nm:g}-{band.high_nm:g}",
            ((low_nm + band.high_nm) / 2, 1),
            xycoords=("data", "axes fraction"),
            xytext=(0, 3),
            textcoords="offset points",
            ha="center",
            fontsize=SMALL_PT - 1,
            color=QUIET_INK,
            linespacing=1.0,
        )
