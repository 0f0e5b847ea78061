"""Light through the day and its spectrum, and each coral's dose on its range."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from lightdose.answers.verdicts import out_of_band, table_words, verdict_sentence, worst_first
from lightdose.answers.words import (
    DLI_UNIT_TYPESET,
    PPFD_UNIT_TYPESET,
    SPECTRAL_UNIT_TYPESET,
    clock,
    count,
    hours,
    length,
    number,
    percent,
    percent_words,
    range_text,
)
from lightdose.errors import literal
from lightdose.model.fixture import ChannelProgramme, Fixture
from lightdose.model.light import SiteDay, SiteSpectrum
from lightdose.model.record import FloatArray
from lightdose.model.results import Analysis, Verdict
from lightdose.model.setup import LengthUnit
from lightdose.model.spectrum import GRID_NM, SpectralDistribution
from lightdose.present.figures.canvas import (
    BANDS_IN,
    HEAD_IN,
    LINE_IN,
    MOST_FIGURES,
    PANEL_IN,
    STACK_RIGHT_IN,
    Drawing,
    Panel,
    drawn,
    pages,
    row_name,
    row_sheet,
    stacked_sheet,
)
from lightdose.present.figures.fitting import fit
from lightdose.present.figures.scales import dose_limits
from lightdose.present.figures.style import (
    DASHES,
    INK,
    RULE,
    SMALL_PT,
    TEXT_PT,
    TONES,
    TOTAL_STROKE,
    Stroke,
    channel_strokes,
    fitted,
    shortened,
    spectrum_strokes,
)
from lightdose.quantities import GRID_END_NM, GRID_START_NM

DOSE: Final = f"dose in a day [{DLI_UNIT_TYPESET}]"
CORALS_PER_FIGURE: Final = 60
LONG_LIST: Final = 25
"""Longer lists carry the scale above them too."""

LEAD: Final = (
    "Dark bar, and the range behind the words: usual dose of its group; light bar: from floor to ceiling. "
    "Mark: the stated value, a disc within, an open diamond outside, a full one far outside. Line: 95 % of "
    "what the inputs allow."
)


def dose_drawings(analysis: Analysis) -> list[Drawing]:
    """Corals, worst first, on as many figures as they need, up to ``MOST_FIGURES``; none without corals."""
    every = worst_first(analysis.verdicts)
    ranked = every[: MOST_FIGURES * CORALS_PER_FIGURE]
    shared = pages(ranked, CORALS_PER_FIGURE)
    shown = f"; the {len(ranked)} furthest off of {len(every):,}" if len(ranked) < len(every) else ""
    drawings = []
    for index, (end, page) in enumerate(shared, start=1):
        part = "" if len(shared) == 1 else f" ({index} of {len(shared)}{shown})"
        title = f"Daily dose of each coral{part}: {verdict_sentence(analysis.verdicts)}"
        drawings.append(_draw(f"doses{end}", title, page, ranked))
    return drawings


@drawn
def _draw(name: str, title: str, verdicts: Sequence[Verdict], every: Sequence[Verdict]) -> Drawing:
    scale_above = len(verdicts) > LONG_LIST
    names = [row_name(v.coral) for v in verdicts]
    sheet, panel = row_sheet(title, LEAD, names, DOSE, gap_in=0.2 if scale_above else 0.0)
    ends = [end for v in every if v.certainty for end in v.certainty.interval_dli]
    panel.log_axis("x", *dose_limits(every, [*ends, *(v.dli_mol_m2_d for v in every)]))
    panel.axes.tick_params(axis="x", top=scale_above, labeltop=scale_above)
    for row, verdict in enumerate(verdicts):
        _draw_coral(panel, row, verdict)
    return sheet.drawing(name, _description(title, verdicts))


def _draw_coral(panel: Panel, row: int, verdict: Verdict) -> None:
    panel.range_bar(row, verdict)
    if verdict.certainty is not None:
        panel.span(row, *map(panel.held, verdict.certainty.interval_dli))
    panel.dose_mark(row, verdict.dli_mol_m2_d, verdict.dli_state)
    weight = "bold" if verdict.dli_state in ("far_below", "far_above") else "normal"
    usual = f" ({range_text(*verdict.band_dli)})" if verdict.band_dli else ""
    panel.beside(row, number(verdict.dli_mol_m2_d), 46, ha="right", weight=weight)
    panel.beside(row, table_words(verdict) + usual, 54, weight=weight)


def _description(title: str, verdicts: Sequence[Verdict]) -> str:
    off = out_of_band(tuple(verdicts))
    if not off:
        return f"{literal(title)}."
    worst = off[0]
    assert worst.band_dli is not None
    return (
        f"{literal(title)}. Furthest off: {literal(worst.coral)} with {number(worst.dli_mol_m2_d)} "
        f"{DLI_UNIT_TYPESET}, usual {range_text(*worst.band_dli)}."
    )


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

UNSEEN_SHARE: Final = 0.06
"""A panel whose highest value is below this share of the others' has a scale of its own. Our choice."""

FINER: Final = "; scale of its own"
DRAWN_SHARE: Final = 0.003
"""A line below this share of the scale lies on the axis, would hide it and tell nothing."""


def _own_top(top: float, own: float) -> float:
    """The top of a panel's scale: that of all, or its own where nothing of it would be seen."""
    return own if 0 < own < UNSEEN_SHARE * top else top


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
    lines = channel_lines(analysis, receivers)
    sheet, panels = stacked_sheet(
        title,
        MIX_LEAD + (" Percent: of the daily dose." if fit().narrow else ""),
        heights,
        WAVELENGTH,
        PHOTONS,
        above_in=HEAD_IN + BANDS_IN,
        grid="y",
        keys=[len(lines) + 1] * len(heights),
    )
    top = max([float(spectrum.total.max()) for spectrum in spectra], default=0.0) or 1.0
    start = start_nm([spectrum.total for spectrum in spectra])
    for panel, spectrum in zip(panels, spectra, strict=True):
        own = _own_top(top, float(spectrum.total.max()))
        panel.wavelength_axis(start, GRID_END_NM, own)
        panel.band_edges(start)
        _draw_mix(panel, analysis, spectrum, lines)
        words = _colour_words(analysis, spectrum.receiver) + (FINER if own < top else "")
        panel.head(place_name(analysis, spectrum.receiver, unit), words, BANDS_IN)
    words = "; ".join(f"{literal(s.name)}: {_colour_words(analysis, s.receiver)}" for s in spectra)
    return sheet.drawing("spectra", f"{title}. {words}.")


def _draw_mix(panel: Panel, analysis: Analysis, spectrum: SiteSpectrum, lines: Sequence[ChannelLine]) -> None:
    left, least = panel.axes.get_xlim()[0], DRAWN_SHARE * panel.axes.get_ylim()[1]
    cells, total = left < GRID_NM, spectrum.total
    panel.axes.fill_between(GRID_NM[cells], total[cells], color=RULE, alpha=0.55, linewidth=0)
    panel.line(GRID_NM[cells], total[cells], TOTAL_STROKE)
    entries = [("total", "" if fit().narrow else "of DLI", TOTAL_STROKE)]
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


CLOCK: Final = "time of day [hh:mm]"
PPFD: Final = f"PPFD [{PPFD_UNIT_TYPESET}]"
LEVELS_LEAD: Final = (
    "Levels as set on the fixture, in percent, before its dimming curve, with the highest of each channel. "
    "Straight between the points."
)
DAY_LEAD: Final = (
    "PPFD (400-700 nm) through the day, planar, in the water. Black: total; the others: each channel{}."
)
INTERVAL_LEAD: Final = " Bar: 95 % of what the inputs allow at the peak."
MOST_FIXTURES: Final = 4
MOST_LINES: Final = 8


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
        lines = _added_by_name(analysis, strokes)
    dose = analysis.dose.dli_by_channel[list(receivers)].sum(axis=0) if receivers else np.zeros(len(keys))
    lines.sort(key=lambda line: -float(line.of(dose)))
    if len(lines) > MOST_LINES:
        rest = tuple(i for line in lines[MOST_LINES - 1 :] for i in line.channels)
        label = f"{len(lines) - MOST_LINES + 1} other channels"
        lines[MOST_LINES - 1 :] = [ChannelLine(label, Stroke(TONES["white"], DASHES[4]), rest)]
    return lines


def _added_by_name(analysis: Analysis, strokes: Sequence[Stroke]) -> list[ChannelLine]:
    """Channels of one name and one tone in several fixtures as one line."""
    channels = [c for f in analysis.setup.lit_fixtures for c in f.type.channels]
    members: dict[tuple[str, str], list[int]] = {}
    for i, (channel, stroke) in enumerate(zip(channels, strokes, strict=True)):
        members.setdefault((channel.name, stroke.colour), []).append(i)
    own = channel_strokes([channels[rows[0]] for rows in members.values()])
    several = "{} ×{}" if fit().narrow else "{} ({} fixtures)"
    return [
        ChannelLine(name if len(rows) == 1 else several.format(name, len(rows)), stroke, tuple(rows))
        for ((name, _), rows), stroke in zip(members.items(), own, strict=True)
    ]


@drawn
def day_drawing(analysis: Analysis, days: Sequence[SiteDay], unit: LengthUnit) -> Drawing:
    """PPFD through the day, each channel and the total, one panel a site on one scale."""
    receivers = [day.receiver for day in days]
    title = _range_title(analysis, receivers)
    lead = DAY_LEAD.format("" if fit().narrow else ", with its peak")
    lead += "" if analysis.uncertainty is None else INTERVAL_LEAD
    lines = channel_lines(analysis, receivers)
    keys = [0] * (len(days) - 1) + [len(lines) + 1]
    sheet, panels = stacked_sheet(title, lead, [PANEL_IN] * len(days), CLOCK, PPFD, keys=keys[-len(days) :])
    ends = [end for r in receivers for end in _peak_interval(analysis, r)]
    top = max([*ends, *(float(day.total.max(initial=0.0)) for day in days)], default=0.0) or 1.0
    for panel, day in zip(panels, days, strict=True):
        own = _own_top(top, max([*_peak_interval(analysis, day.receiver), float(day.total.max(initial=0.0))]))
        panel.day_axis(own)
        shown = [(line.label, line.of(day.by_channel), line.stroke) for line in lines]
        last = panel is panels[-1]
        _draw_by_height(panel, day.time_h, [*shown, ("total", day.total, TOTAL_STROKE)], last=last)
        _draw_peak_interval(panel, day, _peak_interval(analysis, day.receiver))
        words = _day_words(analysis, day.receiver) + (FINER if own < top else "")
        panel.head(place_name(analysis, day.receiver, unit), words)
    words = "; ".join(f"{literal(day.name)}: {_day_words(analysis, day.receiver)}" for day in days)
    return sheet.drawing("days", f"{title}. {words}.")


def _draw_by_height(
    panel: Panel, time_h: FloatArray, lines: Sequence[tuple[str, FloatArray, Stroke]], *, last: bool
) -> None:
    """The lines that give light, and beside the panel their names and peaks, the highest on top.

    A narrow figure names them once, below the last panel.
    """
    lit = sorted((line for line in lines if line[1].max(initial=0.0) > 0), key=lambda line: line[1].max())
    for _, values, stroke in lit:
        panel.line(time_h, values, stroke)
    if not fit().narrow:
        panel.key([(label, number(float(values.max())), stroke) for label, values, stroke in reversed(lit)])
    elif last:
        panel.key([(label, "", stroke) for label, _, stroke in reversed(lines)])


def _peak_interval(analysis: Analysis, receiver: int) -> tuple[float, ...]:
    """Both ends of the peak's 95 % interval; none where it is not known."""
    known = analysis.uncertainty
    return () if known is None else tuple(float(x) for x in known.peak_ppfd[receiver])


def _draw_peak_interval(panel: Panel, day: SiteDay, interval: tuple[float, ...]) -> None:
    """A bar at the time of the peak, with caps; midway through a plateau."""
    total = day.total
    if not interval or not total.max(initial=0.0) > 0:
        return
    at_peak = day.time_h[total >= total.max() * (1 - 1e-9)]
    middle = 0.5 * float(at_peak[0] + at_peak[-1])
    panel.axes.plot([middle, middle], interval, color=INK, linewidth=1.1, marker="_", markersize=7, zorder=6)


def place_name(analysis: Analysis, receiver: int, unit: LengthUnit) -> str:
    """A site and its depth above its panel."""
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


def _range_title(analysis: Analysis, receivers: Sequence[int]) -> str:
    doses = sorted(float(analysis.dose.dli[r]) for r in receivers)
    if not doses or doses[-1] == 0:
        return f"No light at {count(len(doses), 'site')}"
    if len(doses) == 1:
        return f"{number(doses[0])} {DLI_UNIT_TYPESET} in a day"
    return f"From {number(doses[0])} to {number(doses[-1])} {DLI_UNIT_TYPESET} in a day at {len(doses)} sites"


@drawn
def schedule_drawing(analysis: Analysis) -> Drawing:
    """Levels through the day, one panel a lit fixture."""
    fixtures = analysis.setup.lit_fixtures
    shown = [(fixture, _lit(fixture)) for fixture in fixtures[:MOST_FIXTURES]]
    title = "; ".join(f"{literal(fixture.name)} {_hours_words(lit)}" for fixture, lit in shown)
    rest = len(fixtures) - len(shown)
    lead = LEVELS_LEAD + (f" {count(rest, 'more fixture')} in the tables." if rest else "")
    heights = [PANEL_IN if fit().narrow else max(PANEL_IN, len(lit) * LINE_IN) for _, lit in shown]
    keys = [len(lit) for _, lit in shown]
    sheet, panels = stacked_sheet(title, lead, heights, CLOCK, "level [%]", keys=keys)
    top = 100 * max((_highest(channel) for _, lit in shown for channel in lit.values()), default=1.0)
    for panel, (fixture, lit) in zip(panels, shown, strict=True):
        panel.day_axis(top)
        strokes = dict(
            zip((c.name for c in fixture.type.channels), channel_strokes(fixture.type.channels), strict=True)
        )
        for name, channel in lit.items():
            for time_h, level in channel.on_one_day():
                panel.line(time_h, 100 * level, strokes[name])
        ranked = sorted(lit, key=lambda name: -_highest(lit[name]))
        panel.key([(name, f"{percent_words(_highest(lit[name]))} %", strokes[name]) for name in ranked])
        panel.head(fitted(fixture.name, 2.6, TEXT_PT, bold=True), _hours_words(lit))
    words = " ".join(_highest_words(fixture) for fixture, _ in shown)
    return sheet.drawing("schedule", f"{title}. {words}")


def _lit(fixture: Fixture) -> dict[str, ChannelProgramme]:
    """The channels that shine, in the order of the fixture's file."""
    programme = fixture.programme.channels
    names = [c.name for c in fixture.type.channels if c.name in programme]
    return {name: programme[name] for name in names if programme[name].level.max() > 0}


def _highest(channel: ChannelProgramme) -> float:
    return float(channel.level.max())


def _hours_words(lit: dict[str, ChannelProgramme]) -> str:
    if not lit:
        return "stays dark"
    start = min(float(channel.time_h[0]) for channel in lit.values())
    end = max(float(channel.time_h[-1]) for channel in lit.values())
    return f"runs {clock(start)} to {clock(end)}"


def _highest_words(fixture: Fixture) -> str:
    levels = [
        f"{literal(name)} up to {percent_words(_highest(channel))} %"
        for name, channel in fixture.programme.channels.items()
    ]
    return f"{literal(fixture.name)}: {', '.join(levels) or 'no programme'}."
