"""Photon spectra: of the mix at chosen sites, and of several lights on one scale."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from lightdose.answers.words import SPECTRAL_UNIT_TYPESET, count, literal, percent
from lightdose.model.light import SiteSpectrum
from lightdose.model.record import FloatArray
from lightdose.model.results import Analysis
from lightdose.model.setup import LengthUnit
from lightdose.model.spectrum import GRID_NM, SpectralDistribution
from lightdose.present.figures.canvas import (
    BANDS_IN,
    HEAD_IN,
    LINE_IN,
    PANEL_IN,
    STACK_RIGHT_IN,
    Drawing,
    Panel,
    drawn,
    stacked_sheet,
)
from lightdose.present.figures.day import ChannelLine, channel_lines, place_name
from lightdose.present.figures.lettering import fitted, shortened
from lightdose.present.figures.style import RULE, SMALL_PT, TOTAL_STROKE, spectrum_strokes
from lightdose.quantities import GRID_END_NM, GRID_START_NM

WAVELENGTH: Final = "wavelength [nm]"
PHOTONS: Final = f"photons [{SPECTRAL_UNIT_TYPESET}]"
MIX_LEAD: Final = (
    "Photons per nanometre at the brightest time, planar, in the water. Bands by their edges in nm."
)
OVERLAY_LEAD: Final = "Share of the photons of 300-800 nm in each nanometre; every area is 100 %."
OVERLAY_IN: Final = 2.6
LABEL_IN: Final = STACK_RIGHT_IN - 0.7
LONGEST_LABEL: Final = 34
NAMED_IN_TITLE: Final = 3
SEEN_SHARE: Final = 1e-3
"""The wavelength axis starts where a spectrum first exceeds this share of its peak, or of all photons."""

DRAWN_SHARE: Final = 0.003
"""A line below this share of the scale lies on the axis, would hide it and tell nothing."""


def start_nm(totals: Sequence[FloatArray]) -> int:
    """300 nm where more than a thousandth of the photons on the grid lies below 350 nm, else 350 nm."""
    short = sum(float(total[: 350 - GRID_START_NM].sum()) for total in totals)
    return 300 if short > SEEN_SHARE * sum(float(total.sum()) for total in totals) else 350


@drawn
def spectrum_drawing(analysis: Analysis, spectra: Sequence[SiteSpectrum], unit: LengthUnit) -> Drawing:
    """Photon spectrum of the mix at the time of the peak, one panel a site on one scale."""
    receivers = [spectrum.receiver for spectrum in spectra]
    title = _colour_title(analysis, receivers)
    heights = [PANEL_IN] * len(spectra)
    sheet, panels = stacked_sheet(
        title, MIX_LEAD, heights, WAVELENGTH, PHOTONS, above_in=HEAD_IN + BANDS_IN, grid="y"
    )
    top = max([float(spectrum.total.max()) for spectrum in spectra], default=0.0) or 1.0
    start = start_nm([spectrum.total for spectrum in spectra])
    lines = channel_lines(analysis, receivers)
    for panel, spectrum in zip(panels, spectra, strict=True):
        panel.wavelength_axis(start, GRID_END_NM, top)
        panel.band_edges(start)
        _draw_mix(panel, analysis, spectrum, lines)
        words = _colour_words(analysis, spectrum.receiver)
        panel.head(place_name(analysis, spectrum.receiver, unit), words, BANDS_IN)
    words = "; ".join(f"{literal(s.name)}: {_colour_words(analysis, s.receiver)}" for s in spectra)
    return sheet.drawing("spectra", f"{title}. {words}.")


def _draw_mix(panel: Panel, analysis: Analysis, spectrum: SiteSpectrum, lines: Sequence[ChannelLine]) -> None:
    left, least = panel.axes.get_xlim()[0], DRAWN_SHARE * panel.axes.get_ylim()[1]
    cells, total = left < GRID_NM, spectrum.total
    panel.axes.fill_between(GRID_NM[cells], total[cells], color=RULE, alpha=0.55, linewidth=0)
    panel.line(GRID_NM[cells], total[cells], TOTAL_STROKE)
    entries = [("total", "of DLI", TOTAL_STROKE)]
    for line in lines:
        values = line.of(spectrum.by_channel)[cells]
        if values.max() > 0:
            panel.line(GRID_NM[cells], np.where(values > least, values, np.nan), line.stroke)
            entries.append((line.label, _share(analysis, spectrum.receiver, line), line.stroke))
    if total.max() > 0:
        panel.key(entries)


def _colour_words(analysis: Analysis, receiver: int) -> str:
    if not analysis.dose.dli[receiver] > 0:
        return "no light of 400-700 nm"
    shares = analysis.band_fraction(receiver)
    parts = ", ".join(f"{percent(shares[k])} {k}" for k in ("blue", "green", "red"))
    return f"{parts} over the day"


def _share(analysis: Analysis, receiver: int, line: ChannelLine) -> str:
    dli = float(analysis.dose.dli[receiver])
    part = float(line.of(analysis.dose.dli_by_channel[receiver]))
    if not dli > 0:
        return "-"
    return "< 1 %" if 0 < part < 0.005 * dli else percent(part / dli)


def _colour_title(analysis: Analysis, receivers: Sequence[int]) -> str:
    lit = [r for r in receivers if analysis.dose.dli[r] > 0]
    if not lit:
        return f"No light at {count(len(receivers), 'site')}"
    shares = [analysis.band_fraction(r) for r in lit]
    leading = max(("blue", "green", "red"), key=lambda k: shares[0][k])
    values = sorted(s[leading] for s in shares)
    low, high = percent(values[0]), percent(values[-1])
    span = low if low == high else f"{low.removesuffix(' %')} to {high}"
    return f"{leading.capitalize()} gives {span} of the photons of 400-700 nm"


@drawn
def overlay_drawing(curves: Sequence[SpectralDistribution]) -> Drawing:
    """Share of photons per nanometre against wavelength, one line a spectrum; every area is 100 %."""
    peaks_nm = [float(c.wavelength_nm[int(c.values.argmax())]) for c in curves]
    labels = [fitted(shortened(c.name, LONGEST_LABEL), LABEL_IN, SMALL_PT) for c in curves]
    named = [f"{label} {peak:.0f} nm" for label, peak in zip(labels, peaks_nm, strict=True)]
    if len(curves) <= NAMED_IN_TITLE:
        title = f"Most photons at: {', '.join(named)}"
    else:
        title = f"{len(curves)} lights, most photons at {min(peaks_nm):.0f} to {max(peaks_nm):.0f} nm"
    heights = [max(OVERLAY_IN, len(curves) * LINE_IN)]
    sheet, (panel,) = stacked_sheet(title, OVERLAY_LEAD, heights, WAVELENGTH, "photons [% per nm]")
    start = min(_first_seen_nm(curve) for curve in curves)
    panel.wavelength_axis(start, GRID_END_NM, 100 * max(float(curve.values.max()) for curve in curves))
    panel.band_edges(start)
    strokes = spectrum_strokes(curves)
    for curve, stroke in zip(curves, strokes, strict=True):
        panel.line(curve.wavelength_nm, 100 * curve.values, stroke, label=curve.name, clip_on=True)
    panel.key([(label, "", stroke) for label, stroke in zip(labels, strokes, strict=True)])
    return sheet.drawing("spectra-compared", f"{title}. {OVERLAY_LEAD} {'; '.join(named)}.")


def _first_seen_nm(curve: SpectralDistribution) -> int:
    """The 50 nm mark below the shortest wavelength that shows, 350 nm at most."""
    seen = curve.wavelength_nm[curve.values > SEEN_SHARE * curve.values.max()]
    return min(350, 50 * int(seen[0] // 50))
