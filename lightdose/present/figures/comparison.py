"""The figures of `compare`: both days, both spectra, doses on their ranges, the split as bars."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import numpy as np

from lightdose.answers.compare import largest_changes_first, photon_words, photons_sentence
from lightdose.answers.looks import APPROXIMATE, rounded
from lightdose.errors import Problem, SetupError
from lightdose.model.comparison import Comparison, SiteComparison
from lightdose.model.light import SiteDay, SiteSpectrum
from lightdose.model.record import FloatArray
from lightdose.model.spectrum import GRID_NM
from lightdose.present.figures.canvas import Drawing, drawn, fitted
from lightdose.present.figures.comparison_bars import dose_drawings, split_drawings
from lightdose.present.figures.day import (
    band_edges,
    finish_panels,
    label_ends,
    panel_title,
    plot_line,
    stacked_panels,
)
from lightdose.present.figures.looks import looks_drawing
from lightdose.present.figures.style import DASHES, SMALL_PT, TEXT_PT, TONES, Stroke
from lightdose.present.labels import (
    DLI_UNIT_TYPESET,
    PPFD_UNIT_TYPESET,
    SPECTRAL_UNIT_TYPESET,
    hours,
    literal,
    number,
)
from lightdose.quantities import GRID_START_NM

if TYPE_CHECKING:
    from matplotlib.axes import Axes

NAME_IN: Final = 2.2
TITLE_NAME_IN: Final = 4.0
STROKE_A: Final = Stroke(TONES["white"], DASHES[1], 2.0)
STROKE_B: Final = Stroke(TONES["total"], "solid", 2.0)
"""A in grey dashes, B in black: told apart in print and by every eye."""

Pair = tuple[Sequence[SiteDay], Sequence[SiteDay]]
SpectrumPair = tuple[Sequence[SiteSpectrum], Sequence[SiteSpectrum]]


def shown_sites(comparison: Comparison, names: Sequence[str] = ()) -> list[SiteComparison]:
    """The sites of days and spectra: the named ones, else of the largest, a middle and the least change.

    Sites with corals come first in that choice.

    Raises
    ------
    SetupError
        If a name is no site of both.
    """
    by_name = {s.site: s for s in comparison.sites}
    problems = []
    for name in names:
        if name not in by_name:
            near = difflib.get_close_matches(name, list(by_name), 1)
            cure = f"did you mean {near[0]!r}?" if near else ""
            allowed = ", ".join(map(repr, list(by_name)[:20]))
            problems.append(Problem(f"there is no site {name!r} in both setups", allowed, cure))
    if problems:
        raise SetupError(*problems)
    if names:
        return [by_name[name] for name in dict.fromkeys(names)]
    stocked = {v.site for v in (*comparison.before.verdicts, *comparison.after.verdicts)}
    pool = tuple(s for s in comparison.sites if s.site in stocked) or comparison.sites
    ordered = largest_changes_first(pool)
    chosen = dict.fromkeys((0, len(ordered) // 2, len(ordered) - 1)) if ordered else ()
    return [ordered[i] for i in chosen]


def comparison_drawings(
    comparison: Comparison, shown: Sequence[SiteComparison], days: Pair, spectra: SpectrumPair
) -> list[Drawing]:
    """Every figure; those of days, spectra and looks only where a site stands in both."""
    drawings = [*dose_drawings(comparison), *split_drawings(comparison)]
    if shown:
        drawings.append(drawn(lambda: _draw_days(comparison, shown, days)))
        drawings.append(drawn(lambda: _draw_spectra(comparison, shown, spectra)))
    looks = [
        (f"{site.site}, {label}", look)
        for site in shown
        for label, look in (("A", site.before.looks), ("B", site.after.looks))
        if look is not None
    ]
    if looks:
        drawings.append(looks_drawing(looks))
    return drawings


def _names(comparison: Comparison) -> str:
    a, b = (fitted(name, TITLE_NAME_IN, TEXT_PT) for name in comparison.names)
    return f"A, grey dashes: {a}. B, black: {b}."


def _draw_days(comparison: Comparison, shown: Sequence[SiteComparison], days: Pair) -> Drawing:
    title = photons_sentence(comparison).removesuffix(".")
    lead = f"PPFD (400-700 nm) through the day, planar, in the water. {_names(comparison)}"
    figure, panels = stacked_panels(title, lead, len(shown))
    totals = [[day.by_channel.sum(axis=0) for day in side] for side in days]
    top = max((float(t.max(initial=0.0)) for side in totals for t in side), default=0.0) or 1.0
    for row, (axes, site) in enumerate(zip(panels, shown, strict=True)):
        axes.set_xlim(0, 24)
        axes.set_ylim(0, 1.08 * top)
        axes.set_xticks(range(0, 25, 3), [f"{h:02d}:00" for h in range(0, 25, 3)])
        labels = []
        for label, stroke, side, total in zip("AB", (STROKE_A, STROKE_B), days, totals, strict=True):
            place = site.before if label == "A" else site.after
            time, values = side[row].time_h, total[row]
            if not values.max(initial=0.0) > 0:
                continue
            plot_line(axes, time, values, stroke)
            last = int(np.flatnonzero(values >= 0.9 * values.max())[-1])
            dose = f"{number(place.dli_mol_m2_d)} {DLI_UNIT_TYPESET}"
            words = f"{label}: {dose}, lit {hours(place.photoperiod_h)} h"
            labels.append((words, stroke, float(time[last]), float(values[last])))
        label_ends(axes, labels)
        panel_title(axes, fitted(site.site, NAME_IN, TEXT_PT, bold=True), photon_words(site))
    finish_panels(panels, "time of day [hh:mm]", f"PPFD [{PPFD_UNIT_TYPESET}]", "both")
    return Drawing("comparison-days", title, _described(title, shown), figure)


def _draw_spectra(comparison: Comparison, shown: Sequence[SiteComparison], spectra: SpectrumPair) -> Drawing:
    title = "Photons by wavelength at the brightest time: " + _colour_title(shown)
    lead = f"Planar, in the water; bands by their edges in nm. {_names(comparison)} {APPROXIMATE}."
    figure, panels = stacked_panels(title, lead, len(shown), above_in=0.18)
    totals = [[s.by_channel.sum(axis=0) for s in side] for side in spectra]
    top = max((float(t.max()) for side in totals for t in side), default=0.0) or 1.0
    start = _start_nm(totals)
    cells = slice(start - GRID_START_NM, None)
    for row, (axes, site) in enumerate(zip(panels, shown, strict=True)):
        for stroke, side in zip((STROKE_A, STROKE_B), totals, strict=True):
            if side[row].max() > 0:
                plot_line(axes, GRID_NM[cells], side[row][cells], stroke)
        axes.set_xlim(start, 800)
        axes.set_ylim(0, 1.08 * top)
        axes.set_xticks(range(start, 801, 50))
        band_edges(axes, start)
        _draw_swatches(axes, site)
        panel_title(axes, fitted(site.site, NAME_IN, TEXT_PT, bold=True), _bands(site), 0.18)
    finish_panels(panels, "wavelength [nm]", f"photons [{SPECTRAL_UNIT_TYPESET}]", "y")
    return Drawing("comparison-spectra", title, _described(title, shown), figure)


def _start_nm(totals: Sequence[Sequence[FloatArray]]) -> int:
    """300 nm where more than a thousandth of the photons lies below 350 nm."""
    short = sum(float(t[:50].sum()) for side in totals for t in side)
    return 300 if short > 1e-3 * sum(float(t.sum()) for side in totals for t in side) else 350


def _draw_swatches(axes: Axes, site: SiteComparison) -> None:
    """The colours of both as a screen can about show them, in the right margin."""
    from matplotlib.patches import Rectangle

    for row, (label, stroke, place) in enumerate((("A", STROKE_A, site.before), ("B", STROKE_B, site.after))):
        middle = 0.82 - 0.34 * row
        axes.plot(
            [1.02, 1.07],
            [middle, middle],
            color=stroke.colour,
            linestyle=stroke.dash,
            linewidth=stroke.width_pt,
            transform=axes.transAxes,
            clip_on=False,
        )
        words, colour = f"{label}: no light", "white"
        if place.looks is not None:
            x, y = place.looks.appearance.chromaticity_xy
            colour = place.looks.appearance.swatch.srgb
            words = f"{label}: {rounded(place.lux_at_peak)} lx\nx {x:.3f}, y {y:.3f}"
        box = Rectangle((1.085, middle - 0.11), 0.055, 0.22, transform=axes.transAxes, clip_on=False)
        box.set(facecolor=colour, edgecolor=TONES["white"], linewidth=0.8)
        axes.add_patch(box)
        axes.text(1.155, middle, words, transform=axes.transAxes, fontsize=SMALL_PT, va="center")


def _bands(site: SiteComparison) -> str:
    parts = []
    for label, place in (("A", site.before), ("B", site.after)):
        if place.dli_mol_m2_d > 0:
            shares = [place.band_dose_mol_m2_d[k] / place.dli_mol_m2_d for k in ("blue", "green", "red")]
            parts.append(f"{label} {'/'.join(f'{100 * share:.0f}' for share in shares)}")
    return f"blue/green/red over the day: {', '.join(parts)} %" if parts else "no light of 400-700 nm"


def _colour_title(shown: Sequence[SiteComparison]) -> str:
    spans = [s.split.ln_colour for s in shown if s.split.ln_colour is not None]
    if not spans:
        return "no light under both"
    ratios = [float(np.exp(s.default)) for s in spans]
    low, high = (f"{x:.2f}" for x in (min(ratios), max(ratios)))
    span = low if low == high else f"{low} to {high}"
    return f"absorption index of B {span} times that of A, not growth"


def _described(title: str, shown: Sequence[SiteComparison]) -> str:
    words = "; ".join(f"{literal(s.site)}: {photon_words(s)}" for s in shown)
    return f"{literal(title)}. {words}."
