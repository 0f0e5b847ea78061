"""The figures of `dose`: spectrum and day at chosen sites, and every coral on its range."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from lightdose.errors import Problem, SetupError
from lightdose.model.light import SiteDay, SiteSpectrum
from lightdose.model.record import FloatArray
from lightdose.model.results import Analysis
from lightdose.model.setup import LengthUnit
from lightdose.model.spectrum import GRID_NM
from lightdose.present.figures.canvas import (
    LINE_IN,
    Drawing,
    drawn,
    fitted,
    head_height,
    new_figure,
    panel,
    quiet_grid,
    spread,
    write_head,
)
from lightdose.present.figures.style import (
    DASHES,
    INK,
    QUIET_INK,
    RULE,
    SMALL_PT,
    TEXT_PT,
    TONES,
    TOTAL_STROKE,
    Stroke,
    channel_strokes,
)
from lightdose.present.labels import (
    DLI_UNIT_TYPESET,
    PPFD_UNIT_TYPESET,
    SPECTRAL_UNIT_TYPESET,
    count,
    hours,
    length,
    literal,
    number,
    percent,
)
from lightdose.quantities import BANDS, GRID_START_NM

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

WIDTH_IN = 9.0
LEFT_IN = 0.85
KEY_IN = 2.6
PANEL_IN = 1.75
PANEL_GAP_IN = 0.5
AXIS_IN = 0.6
MOST_LINES = 8


@dataclass(frozen=True)
class ChannelLine:
    """A line of a figure: one channel, or the channels of one name in several fixtures, added."""

    label: str
    stroke: Stroke
    channels: tuple[int, ...]

    def of(self, by_channel: FloatArray) -> FloatArray:
        """The sum of its rows."""
        summed: FloatArray = by_channel[list(self.channels)].sum(axis=0)
        return summed


def shown_receivers(analysis: Analysis, names: Sequence[str] = ()) -> tuple[int, ...]:
    """The sites that figures show: the named ones, else the brightest, the middle and the dimmest.

    Sites with corals come first in that choice; without any, all sites compete.

    Raises
    ------
    SetupError
        If a name is no site of the setup.
    """
    sites = [s.name for s in analysis.setup.sites]
    problems = []
    for name in names:
        if name not in sites:
            near = difflib.get_close_matches(name, sites, 1)
            cure = f"did you mean {near[0]!r}?" if near else ""
            problems.append(Problem(f"there is no site {name!r}", ", ".join(map(repr, sites[:20])), cure))
    if problems:
        raise SetupError(*problems)
    if names:
        return tuple(dict.fromkeys(sites.index(name) for name in names))
    stocked = {v.site for v in analysis.verdicts}
    pool = [i for i, s in enumerate(sites) if s in stocked] or list(range(len(sites)))
    pool.sort(key=lambda i: -float(analysis.dose.dli[i]))
    return tuple(dict.fromkeys((pool[0], pool[len(pool) // 2], pool[-1]))) if pool else ()


def channel_lines(analysis: Analysis, receivers: Sequence[int]) -> list[ChannelLine]:
    """The lines to draw, brightest first; beyond ``MOST_LINES`` the rest is one line."""
    fixtures = analysis.setup.lit_fixtures
    keys = analysis.light_field.channels
    strokes = channel_strokes([c for f in fixtures for c in f.type.channels])
    single = len(fixtures) == 1
    if single or len(keys) <= MOST_LINES - 2:
        lines = [
            ChannelLine(k.channel if single else f"{k.fixture}: {k.channel}", stroke, (i,))
            for i, (k, stroke) in enumerate(zip(keys, strokes, strict=True))
        ]
    else:
        lines = _added_by_name(analysis)
    dose = analysis.dose.dli_by_channel[list(receivers)].sum(axis=0) if receivers else np.zeros(len(keys))
    lines.sort(key=lambda line: -float(line.of(dose[:, None])[0]))
    if len(lines) > MOST_LINES:
        rest = tuple(i for line in lines[MOST_LINES - 1 :] for i in line.channels)
        label = f"{len(lines) - MOST_LINES + 1} other channels"
        lines[MOST_LINES - 1 :] = [ChannelLine(label, Stroke(TONES["white"], DASHES[4]), rest)]
    return lines


def _added_by_name(analysis: Analysis) -> list[ChannelLine]:
    """Channels of one name and one tone in several fixtures as one line."""
    channels = [c for f in analysis.setup.lit_fixtures for c in f.type.channels]
    tones = [s.colour for s in channel_strokes(channels)]
    members: dict[tuple[str, str], list[int]] = {}
    for i, channel in enumerate(channels):
        members.setdefault((channel.name, tones[i]), []).append(i)
    strokes = channel_strokes([channels[found[0]] for found in members.values()])
    return [
        ChannelLine(name if len(found) == 1 else f"{name} ({len(found)} fixtures)", stroke, tuple(found))
        for ((name, _), found), stroke in zip(members.items(), strokes, strict=True)
    ]


def day_drawing(analysis: Analysis, days: Sequence[SiteDay], unit: LengthUnit) -> Drawing:
    """PPFD through the day, each channel and the total, one panel a site on one scale."""
    return drawn(lambda: _draw_days(analysis, days, unit))


def _draw_days(analysis: Analysis, days: Sequence[SiteDay], unit: LengthUnit) -> Drawing:
    receivers = [d.receiver for d in days]
    title = _range_title(analysis, receivers)
    lead = "PPFD (400-700 nm) through the day, planar, in the water. Black: total; the others: each channel."
    if analysis.uncertainty is not None:
        lead += " Bar: 95 % of what the inputs allow at the peak."
    figure, panels = stacked_panels(title, lead, len(days))
    peaks = [float(d.by_channel.sum(axis=0).max()) for d in days if d.time_h.size]
    top = max([*peaks, *(float(x) for r in receivers for x in _peak_interval(analysis, r))], default=0.0)
    top = top or 1.0
    lines = channel_lines(analysis, receivers)
    for axes, day in zip(panels, days, strict=True):
        labels = []
        for line in [*reversed(lines), None]:
            stroke = line.stroke if line else TOTAL_STROKE
            values = line.of(day.by_channel) if line else day.by_channel.sum(axis=0)
            if not values.max() > 0:
                continue
            plot_line(axes, day.time_h, values, stroke)
            last = int(np.flatnonzero(values >= 0.9 * values.max())[-1])
            label = line.label if line else "total"
            labels.append((label, stroke, float(day.time_h[last]), float(values[last])))
        _draw_peak_interval(axes, day, _peak_interval(analysis, day.receiver))
        axes.set_xlim(0, 24)
        axes.set_ylim(0, 1.08 * top)
        axes.set_xticks(range(0, 25, 3), [f"{h:02d}:00" for h in range(0, 25, 3)])
        label_ends(axes, labels)
        panel_title(axes, _place(analysis, day.receiver, unit), _day_words(analysis, day.receiver))
    finish_panels(panels, "time of day [hh:mm]", f"PPFD [{PPFD_UNIT_TYPESET}]", "both")
    words = "; ".join(f"{literal(d.name)}: {_day_words(analysis, d.receiver)}" for d in days)
    return Drawing("days", title, f"{title}. {words}.", figure)


def _peak_interval(analysis: Analysis, receiver: int) -> tuple[float, ...]:
    """Both ends of the peak's 95 % interval; none where it is not known."""
    known = analysis.uncertainty
    return () if known is None else tuple(float(x) for x in known.peak_ppfd[receiver])


def _draw_peak_interval(axes: Axes, day: SiteDay, interval: tuple[float, ...]) -> None:
    """A bar at the time of the peak, with caps; midway through a plateau."""
    total = day.by_channel.sum(axis=0)
    if not interval or not total.size or not total.max() > 0:
        return
    at_peak = day.time_h[total >= total.max() * (1 - 1e-9)]
    middle = 0.5 * float(at_peak[0] + at_peak[-1])
    axes.plot([middle, middle], interval, color=INK, linewidth=1.1, marker="_", markersize=7, zorder=6)


def spectrum_drawing(analysis: Analysis, spectra: Sequence[SiteSpectrum], unit: LengthUnit) -> Drawing:
    """Photon spectrum of the mix at the time of the peak, one panel a site on one scale."""
    return drawn(lambda: _draw_spectra(analysis, spectra, unit))


def _draw_spectra(analysis: Analysis, spectra: Sequence[SiteSpectrum], unit: LengthUnit) -> Drawing:
    receivers = [s.receiver for s in spectra]
    title = _colour_title(analysis, receivers)
    lead = "Photons per nanometre at the brightest time, planar, in the water. Bands by their edges in nm."
    figure, panels = stacked_panels(title, lead, len(spectra), above_in=0.18)
    top = max([float(s.by_channel.sum(axis=0).max()) for s in spectra], default=0.0) or 1.0
    start = 300 if any(s.by_channel[:, :50].sum() > 1e-3 * s.by_channel.sum() > 0 for s in spectra) else 350
    cells = slice(int(start - GRID_START_NM), None)
    lines = channel_lines(analysis, receivers)
    for axes, spectrum in zip(panels, spectra, strict=True):
        total = spectrum.by_channel.sum(axis=0)
        axes.fill_between(GRID_NM[cells], total[cells], color=RULE, alpha=0.55, linewidth=0)
        plot_line(axes, GRID_NM[cells], total[cells], TOTAL_STROKE)
        entries = [("total", "of DLI", TOTAL_STROKE)]
        for line in lines:
            values = line.of(spectrum.by_channel)
            if values.max() > 0:
                # A line that lies on the axis would hide it and tell nothing.
                shown = np.where(values > 0.003 * top, values, np.nan)
                plot_line(axes, GRID_NM[cells], shown[cells], line.stroke)
                entries.append((line.label, _share(analysis, spectrum.receiver, line), line.stroke))
        axes.set_xlim(start, 800)
        axes.set_ylim(0, 1.08 * top)
        axes.set_xticks(range(start, 801, 50))
        if total.max() > 0:
            line_key(axes, entries)
        band_edges(axes, start)
        panel_title(
            axes, _place(analysis, spectrum.receiver, unit), _colour_words(analysis, spectrum.receiver), 0.18
        )
    finish_panels(panels, "wavelength [nm]", f"photons [{SPECTRAL_UNIT_TYPESET}]", "y")
    words = "; ".join(f"{literal(s.name)}: {_colour_words(analysis, s.receiver)}" for s in spectra)
    return Drawing("spectra", title, f"{title}. {words}.", figure)


def stacked_panels(title: str, lead: str, n: int, above_in: float = 0.0) -> tuple[Figure, list[Axes]]:
    """A figure with its head and ``n`` panels below one another."""
    head = head_height(title, lead, WIDTH_IN) + 0.25 + above_in
    step = PANEL_IN + PANEL_GAP_IN + above_in
    figure = new_figure(WIDTH_IN, head + n * step - PANEL_GAP_IN - above_in + AXIS_IN)
    write_head(figure, title, lead)
    width = WIDTH_IN - LEFT_IN - KEY_IN
    return figure, [panel(figure, LEFT_IN, head + i * step, width, PANEL_IN) for i in range(n)]


def plot_line(axes: Axes, x: FloatArray, y: FloatArray, stroke: Stroke) -> None:
    """A line as its stroke says."""
    axes.plot(
        x,
        y,
        color=stroke.colour,
        linestyle=stroke.dash,
        linewidth=stroke.width_pt,
        solid_joinstyle="round",
        clip_on=False,
    )


def label_ends(axes: Axes, labels: Sequence[tuple[str, Stroke, float, float]]) -> None:
    """Names in the right margin, each tied by a hairline to the end of its line's plateau."""
    low, high = axes.get_ylim()
    per_inch = (high - low) / PANEL_IN
    places = spread([y for *_, y in labels], LINE_IN * per_inch, low, high)
    edge = axes.get_xlim()[1]
    inch_x = edge / (WIDTH_IN - LEFT_IN - KEY_IN)
    for (label, stroke, x, y), place in zip(labels, places, strict=True):
        axes.plot(
            [x, edge + 0.1 * inch_x],
            [y, place],
            color=stroke.colour,
            linewidth=0.5,
            alpha=0.55,
            clip_on=False,
            zorder=1,
        )
        axes.text(
            edge + 0.14 * inch_x,
            place,
            fitted(label, KEY_IN - 0.3, SMALL_PT),
            color=stroke.colour,
            fontsize=SMALL_PT,
            va="center",
        )


def line_key(axes: Axes, entries: Sequence[tuple[str, str, Stroke]]) -> None:
    """Names with a piece of their line and their share, from the panel's top down, in the right margin."""
    width = WIDTH_IN - LEFT_IN - KEY_IN
    style: dict[str, Any] = {"transform": axes.transAxes, "fontsize": SMALL_PT, "color": INK, "va": "center"}
    for i, (label, share, stroke) in enumerate(entries):
        y = 1 - (i + 0.5) * LINE_IN / PANEL_IN
        axes.plot(
            [1 + 0.12 / width, 1 + 0.5 / width],
            [y, y],
            color=stroke.colour,
            linestyle=stroke.dash,
            linewidth=stroke.width_pt,
            transform=axes.transAxes,
            clip_on=False,
        )
        axes.text(1 + 0.58 / width, y, fitted(label, KEY_IN - 1.15, SMALL_PT), **style)
        axes.text(1 + (KEY_IN - 0.15) / width, y, share, ha="right", **style)


def band_edges(axes: Axes, start_nm: float) -> None:
    """Thin lines at the edges of colour bands, with their names above the panel."""
    for band in BANDS:
        for edge in (band.low_nm, band.high_nm):
            if edge > start_nm:
                axes.axvline(edge, color=QUIET_INK, linewidth=0.6, linestyle=(0, (2, 2)), zorder=0)
        low = max(band.low_nm, start_nm)
        axes.annotate(
            f"{band.name} {band.low_nm:g}-{band.high_nm:g}",
            ((low + band.high_nm) / 2, 1),
            xycoords=("data", "axes fraction"),
            xytext=(0, 3),
            textcoords="offset points",
            ha="center",
            fontsize=SMALL_PT - 1,
            color=QUIET_INK,
        )


def panel_title(axes: Axes, name: str, words: str, above_in: float = 0.0) -> None:
    """A name above a panel, and beside it what it shows."""
    height = 1 + (0.07 + above_in) / PANEL_IN
    title = axes.text(0, height, name, transform=axes.transAxes, fontsize=TEXT_PT, weight="bold", color=INK)
    axes.annotate(
        words,
        (1, 0),
        xycoords=title,
        xytext=(8, 0),
        textcoords="offset points",
        fontsize=SMALL_PT,
        color=QUIET_INK,
        va="bottom",
    )


def finish_panels(panels: Sequence[Axes], x_label: str, y_label: str, rules: Literal["y", "both"]) -> None:
    """Rules, and labels of the axes; panels below one another share the time or wavelength under the last."""
    for axes in panels:
        quiet_grid(axes, rules)
        axes.tick_params(labelbottom=axes is panels[-1])
    if panels:
        panels[-1].set_xlabel(x_label, fontsize=TEXT_PT)
        for axes in panels:
            axes.set_ylabel(y_label, fontsize=SMALL_PT)


def _place(analysis: Analysis, receiver: int, unit: LengthUnit) -> str:
    point = analysis.light_field.receivers[receiver]
    return f"{fitted(point.name, 2.6, TEXT_PT, bold=True)}, {length(point.depth_m, unit)} {unit} deep"


def _day_words(analysis: Analysis, receiver: int) -> str:
    dose = analysis.dose
    if not dose.peak_ppfd[receiver] > 0:
        return "no light"
    return (
        f"{number(float(dose.dli[receiver]))} {DLI_UNIT_TYPESET}, "
        f"peak {number(float(dose.peak_ppfd[receiver]))} {PPFD_UNIT_TYPESET}, "
        f"lit {hours(float(dose.photoperiod_h[receiver]))} h"
    )


def _colour_words(analysis: Analysis, receiver: int) -> str:
    if not analysis.dose.dli[receiver] > 0:
        return "no light of 400-700 nm"
    shares = analysis.band_fraction(receiver)
    parts = ", ".join(f"{percent(shares[k])} {k}" for k in ("blue", "green", "red"))
    return f"{parts} over the day"


def _share(analysis: Analysis, receiver: int, line: ChannelLine) -> str:
    dli = float(analysis.dose.dli[receiver])
    part = float(line.of(analysis.dose.dli_by_channel[receiver][:, None])[0])
    if not dli > 0:
        return "-"
    return "< 1 %" if 0 < part < 0.005 * dli else percent(part / dli)


def _range_title(analysis: Analysis, receivers: Sequence[int]) -> str:
    doses = sorted(float(analysis.dose.dli[r]) for r in receivers)
    if not doses or doses[-1] == 0:
        return f"No light at {count(len(doses), 'site')}"
    if len(doses) == 1:
        return f"{number(doses[0])} {DLI_UNIT_TYPESET} in a day"
    return f"From {number(doses[0])} to {number(doses[-1])} {DLI_UNIT_TYPESET} in a day at {len(doses)} sites"


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
