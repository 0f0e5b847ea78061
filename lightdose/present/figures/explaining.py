"""What changes would do: plausible ones, more light, another colour."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from lightdose.answers.colour import (
    APPROXIMATE,
    CLIPPED,
    DEFAULT_CURVE,
    colour_finding,
    colour_sentences,
    look_words,
    looks_sentence,
    rounded,
)
from lightdose.answers.photosynthesis import (
    coral_sentence,
    ek_words,
    hours_span,
    percent_span,
    return_finding,
)
from lightdose.answers.words import DLI_UNIT_TYPESET, PPFD_UNIT_TYPESET, count, number, percent
from lightdose.errors import literal
from lightdose.model.changes import (
    CaseRow,
    CaseSpan,
    ColourOrIntensity,
    CoralReturn,
    DiminishingReturn,
    Sensitivity,
    case_rows,
)
from lightdose.model.comparison import LooksAndGets
from lightdose.present.figures.canvas import (
    AXIS_IN,
    LINE_IN,
    NAMES_IN,
    NARROW_LEFT_IN,
    NARROW_RIGHT_IN,
    ROWS_WIDTH_IN,
    Drawing,
    Panel,
    Sheet,
    drawn,
    row_name,
    row_sheet,
)
from lightdose.present.figures.fitting import fit
from lightdose.present.figures.style import (
    BAND_FILL,
    INK,
    QUIET_INK,
    SMALL_PT,
    TEXT_PT,
    TONES,
    fitted,
    text_width_in,
)

WORDS_IN, ROW_IN = 1.9, 0.30
ROWS_AT_MOST: Final = 18
SITES_LEAD: Final = (
    "Bar: the middle site. Line: from the site that changes least to the one that changes most. "
)
LEAD: Final = (
    "Right: how many corals get farther from usual. Sizes of the changes: our choice, unless marked yours."
)


def tornado_drawings(sensitivity: Sensitivity, sites: Sequence[str] = ()) -> list[Drawing]:
    """One figure over all sites, and one for each site that is named."""
    names = [s.name for s in sensitivity.analysis.setup.sites]
    shown = [(case_rows(sensitivity.outcomes), "")]
    shown += [(case_rows(sensitivity.outcomes, names.index(site)), site) for site in sites]
    return [_draw(rows, site) for rows, site in shown if rows]


@drawn
def _draw(rows: Sequence[CaseRow], site: str) -> Drawing:
    shown, left_out = rows[:ROWS_AT_MOST], len(rows) - ROWS_AT_MOST
    at = f" at {literal(site)}" if site else ""
    case, ratio = shown[0].farthest
    whose = "" if site else " at the site that changes most"
    farthest = f"{literal(case)}: {ratio:.2f} times{whose}"
    title = f"What moves the daily dose{at} most: {literal(shown[0].name)} ({farthest})"
    lead = LEAD if site else SITES_LEAD + LEAD
    lead += f" {count(left_out, 'smaller row')} left out." if left_out > 0 else ""
    sheet, panel = row_sheet(
        title,
        lead,
        [row_name(row.name) for row in shown],
        "daily dose, times the dose before the change",
        words_in=WORDS_IN,
        row_in=ROW_IN,
        gap_in=0.1,
    )
    panel.axes.set_xlim(*_limits(shown))
    for place, row in enumerate(shown):
        _draw_row(panel, place, row)
    panel.axes.axvline(1, color=INK, linewidth=1.2, zorder=4)
    name = "".join(c if c.isalnum() or c in "-_" else "-" for c in f"-{site}") if site else ""
    return sheet.drawing(f"sensitivity{name}", _description(title, shown))


def _extremes(row: CaseRow) -> list[tuple[int, CaseSpan, float]]:
    """The cases that reach farthest to the left (-1) and to the right (1) of no change, and where to."""
    falling, rising = min(row.spans, key=lambda s: s.low), max(row.spans, key=lambda s: s.high)
    ends = ((-1, falling, falling.low), (1, rising, rising.high))
    return [(side, span, ratio) for side, span, ratio in ends if side * (ratio - 1) > 1e-9]


def _limits(rows: Sequence[CaseRow]) -> tuple[float, float]:
    """Ends of the scale with room for the words at the ends of the bars."""
    ends = [end for row in rows for end in _extremes(row)]
    ratios = [1.0, *(ratio for _, _, ratio in ends)]
    low, high = min(ratios), max(ratios)
    left, right = (
        0.15 + max((text_width_in(span.end, SMALL_PT) for at, span, _ in ends if at == side), default=0.0)
        for side in (-1, 1)
    )
    room = ROWS_WIDTH_IN - NAMES_IN - WORDS_IN - left - right
    per_in = max(high - low, 0.02) / max(room, 1.0)
    return low - left * per_in, high + right * per_in


def _draw_row(panel: Panel, number: int, row: CaseRow) -> None:
    for span in sorted(row.spans, key=lambda s: -abs(s.middle - 1)):
        less = span.middle < 1
        fill, edge = (BAND_FILL, TONES["blue"]) if less else ("white", TONES["amber"])
        style = {"edgecolor": edge, "linewidth": 1.2, "hatch": None if less else "////", "zorder": 2}
        panel.bar(number, 1, span.middle, 0.56, fill, **style)
        if span.high - span.low > 1e-9:
            panel.span(number, span.low, span.high)
    for side, span, ratio in _extremes(row):
        panel.note(
            ratio, number, span.end, (4 * side, 0), ha="right" if side < 0 else "left", color=QUIET_INK
        )
    if row.worse:
        panel.beside(number, f"{count(row.worse, 'coral')} farther off", weight="bold")


def _description(title: str, rows: Sequence[CaseRow]) -> str:
    spans = []
    for row in rows[:3]:
        low, high = min(s.low for s in row.spans), max(s.high for s in row.spans)
        spans.append(f"{literal(row.name)} {low:.2f} to {high:.2f}")
    return f"{title}. Dose times that before, over all sites shown: {'; '.join(spans)}."


SPAN_WORDS_IN, SPAN_ROW_IN = 2.6, 0.5
EVERY_MIX: Final = "usable share,\nevery mix at equal photons"
QUIET_MIX: Final = "usable share,\nmixes without a warning"
DASHED: Final = (0, (3, 2))

MOST_PLACES: Final = 12
LOOKS_WORDS_IN, LOOKS_ROW_IN, LOOKS_BAR = 2.1, 0.62, 0.36
TITLE_NAME_IN: Final = 2.5

MOST_CORALS, MOST_NARROW = 6, 3
LEFT_IN, WIDE_IN, HIGH_IN, COLUMN_GAP_IN, ROW_GAP_IN = 0.75, 3.85, 1.55, 0.75, 0.9
HEAD_LINES_IN: Final = 2 * LINE_IN


@drawn
def colour_drawing(record: ColourOrIntensity) -> Drawing:
    """Bars of what colour at equal photons, and output and hours, can reach, over today's value."""
    hours = "-".join(f"{h:g}" for h in record.hours_range)
    lead = (
        f"At {fitted(record.place, 3, TEXT_PT)}, over today's value. Index: at today's peak of "
        f"{number(record.peak_ppfd_umol_m2_s)} {PPFD_UNIT_TYPESET}; line: nine published curves. It is "
        "not growth. Dose: 25-100 % of output in today's mix for 4-12 h, our choice."
    )
    sheet, panel = row_sheet(
        colour_finding(record),
        lead,
        [f"dose,\n25-100 % of output for {hours} h", EVERY_MIX, QUIET_MIX],
        "times today's value (dashed: today)",
        words_in=SPAN_WORDS_IN,
        row_in=SPAN_ROW_IN,
        gap_in=0.1,
    )
    low, high = record.dose_range
    _draw_span(panel, 0, record.dose_over_today, f"{number(low)}-{number(high)} {DLI_UNIT_TYPESET}")
    ends = [*record.dose_over_today, 1.0]
    for row, mixes in enumerate((record.all_mixes, record.without_warnings), start=1):
        reached = {key: record.index_over_today(mixes, key) for key in mixes.spans or ()}
        known = {key: span for key, span in reached.items() if span is not None}
        if DEFAULT_CURVE not in known or mixes.spans is None:
            panel.beside(row, "no such mix")
            continue
        low, high = mixes.spans[DEFAULT_CURVE]
        _draw_span(panel, row, known[DEFAULT_CURVE], f"index {low:.2f}-{high:.2f}")
        panel.span(row, min(span[0] for span in known.values()), max(span[1] for span in known.values()))
        ends += [end for span in known.values() for end in span]
    panel.axes.axvline(1, color=INK, linewidth=1.0, linestyle=DASHED)
    panel.log_axis("x", 0.8 * min(ends), 1.25 * max(ends))
    return sheet.drawing("colour-or-dose", f"{sheet.title}. {' '.join(colour_sentences(record)[1:5])}")


def _draw_span(panel: Panel, row: int, ends: tuple[float, float], words: str) -> None:
    low, high = ends
    panel.bar(row, low, high, 0.5, BAND_FILL, edgecolor=TONES["blue"], linewidth=1.0)
    panel.beside(row, f"{number(high / low, 3)} times: {words}")


@drawn
def looks_drawing(places: Sequence[tuple[str, LooksAndGets]]) -> Drawing:
    """Two bars a place: lux as it is, and lux of white light with the same photons, in their own colours.

    The first ``MOST_PLACES`` are drawn.
    """
    places = places[:MOST_PLACES]
    first_name, first = places[0]
    title = f"{fitted(first_name, TITLE_NAME_IN, TEXT_PT)}: {looks_sentence(first, PPFD_UNIT_TYPESET)}"
    clipped = f"; {CLIPPED}" if any(look.appearance.swatch.clipped for _, look in places) else ""
    lead = (
        "Illuminance at the time of the peak. Upper bar: this light. Lower bar: white light "
        f"({first.white.name}) with the same photons. {APPROXIMATE}{clipped}."
    )
    names = [f"{row_name(name)}\n{rounded(look.ppfd_umol_m2_s)} {PPFD_UNIT_TYPESET}" for name, look in places]
    sheet, panel = row_sheet(
        title.removesuffix("."),
        lead,
        names,
        "illuminance [lx]",
        words_in=LOOKS_WORDS_IN,
        row_in=LOOKS_ROW_IN,
    )
    panel.axes.set_xlim(0, 1.02 * max(max(look.lux, look.white.lux) for _, look in places))
    panel.axes.locator_params(axis="x", nbins=6)
    panel.axes.xaxis.set_major_formatter("{x:,.0f}")
    for row, (_, look) in enumerate(places):
        for middle, lux, swatch, words in (
            (row - LOOKS_BAR / 2, look.lux, look.appearance.swatch, look_words(look)),
            (row + LOOKS_BAR / 2, look.white.lux, look.white.appearance.swatch, "white"),
        ):
            thick = LOOKS_BAR / 2 if fit().narrow else LOOKS_BAR
            middle = row + (middle - row) * thick / LOOKS_BAR
            panel.bar(middle, 0, lux, thick, swatch.srgb, edgecolor=TONES["white"], linewidth=0.8)
            if fit().narrow:
                continue
            panel.beside(middle, fitted(f"{rounded(lux)} lx, {words}", LOOKS_WORDS_IN - 0.25, SMALL_PT))
        if fit().narrow:
            panel.beside(row, f"{rounded(look.lux)} lx, white {rounded(look.white.lux)} lx")
    words = " ".join(f"{literal(n)}: {looks_sentence(look, PPFD_UNIT_TYPESET)}" for n, look in places)
    return sheet.drawing("looks-and-gets", words)


def diminishing_drawing(record: DiminishingReturn, sites: Sequence[str] = ()) -> Drawing | None:
    """Hours at Pmax against output, a panel a coral; None where no coral has light and an Ek.

    Those at ``sites`` where any are named, else some from the brightest to the dimmest.
    """
    pool = [c for c in record.corals if c.site in sites] or list(record.corals)
    if not pool:
        return None
    last, most = len(pool) - 1, (MOST_NARROW if fit().narrow else MOST_CORALS) - 1
    return _draw_returns(
        record, pool if last <= most else [pool[round(i * last / most)] for i in range(most + 1)]
    )


@drawn
def _draw_returns(record: DiminishingReturn, shown: Sequence[CoralReturn]) -> Drawing:
    narrow = fit().narrow
    columns = 1 if narrow else min(2, len(shown))
    rows = -(-len(shown) // columns)
    gap = ROW_GAP_IN - (0.2 if narrow else 0.0)
    wide = fit().map_in - NARROW_LEFT_IN - NARROW_RIGHT_IN if narrow else WIDE_IN
    step = HIGH_IN + gap
    lead = _return_lead(record, shown)
    width = fit().map_in if narrow else ROWS_WIDTH_IN
    sheet = Sheet(return_finding(record), lead, width, rows * step - gap + AXIS_IN, gap - 0.3)
    top = 1.08 * max(float(c.hours_high.max()) for c in shown)
    for index, coral in enumerate(shown):
        row, column = divmod(index, columns)
        left = NARROW_LEFT_IN if narrow else LEFT_IN + column * (WIDE_IN + COLUMN_GAP_IN)
        panel = sheet.panel(
            left, sheet.top_in + row * step, wide, HIGH_IN, NARROW_RIGHT_IN if narrow else 0.0
        )
        _draw_coral(panel, record, coral, top)
        if index + columns >= len(shown):
            whose = "" if narrow else ", share of all"
            panel.axes.set_xlabel(f"overall output{whose} in today's mix [%]", fontsize=TEXT_PT)
        if column == 0:
            panel.axes.set_ylabel("hours at Pmax [h]", fontsize=TEXT_PT)
    words = " ".join(coral_sentence(c) for c in shown)
    return sheet.drawing("diminishing-return", f"{sheet.title}. {words}")


def _return_lead(record: DiminishingReturn, shown: Sequence[CoralReturn]) -> str:
    some = ""
    if len(shown) < len(record.corals):
        some = f"{len(shown)} of {count(len(record.corals), 'coral')}. "
    others = any(c.ek_model != "tanh" for c in shown)
    others_say = " (where it is of a fit of another curve, tanh gives a little more)" if others else ""
    return (
        f"{some}Hours at Pmax that the day's gross photosynthesis is worth by tanh, relative to Pmax. Band: "
        f"range of the onset of saturation, Ek{others_say}. Output: today's programme scaled; at 100 % the "
        "first channel runs at full. Not in it: respiration, growth, harm by strong light, acclimatisation."
    )


def _draw_coral(panel: Panel, record: DiminishingReturn, coral: CoralReturn, top: float) -> None:
    axes, output, today = panel.axes, 100 * record.output, 100 * record.today
    axes.fill_between(output, coral.hours_low, coral.hours_high, color=BAND_FILL, alpha=0.55, linewidth=0)
    for edge in (coral.hours_low, coral.hours_high):
        axes.plot(output, edge, color=TONES["blue"], linewidth=1.3)
    axes.axvline(today, color=INK, linewidth=1.0, linestyle=DASHED)
    axes.plot([today, today], coral.today_h, color=INK, linewidth=2.2, marker="_", markersize=7, zorder=5)
    axes.set(xlim=(0, 100), ylim=(0, top), xticks=range(0, 101, 25))
    axes.set_yticks([h for h in range(0, 25, 3 if top > 5 else 1) if h <= top])
    panel.grid()
    # Beside the line of today, on the side with more room, near the floor where the curves leave it free.
    right = today < 55
    style: dict[str, Any] = {"ha": "left" if right else "right", "va": "bottom"}
    style["bbox"] = {"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 0.8}
    panel.note(today, 0.04 * top, f"today {percent(record.today)}", (5 if right else -5, 0), **style)
    _write_head(panel, coral)


def _write_head(panel: Panel, coral: CoralReturn) -> None:
    """Name, Ek and today's figures above a panel."""
    full = f"full: {hours_span(coral.full_h)} h"
    if fit().narrow:
        panel.head(coral.coral, f"today {hours_span(coral.today_h)} h, {full}")
        return
    room = panel.width_in - text_width_in(full, SMALL_PT) - 0.3
    panel.head(fitted(coral.coral, room, TEXT_PT, bold=True), full, HEAD_LINES_IN)
    words = f"today: {hours_span(coral.today_h)} h"
    if coral.above_saturation_h is not None and coral.beyond_saturation_fraction is not None:
        beyond = percent_span(coral.beyond_saturation_fraction)
        words += f"; above Ek {hours_span(coral.above_saturation_h)} h, {beyond} % of photons beyond it"
    ek = fitted(ek_words(coral, PPFD_UNIT_TYPESET), panel.width_in, SMALL_PT)
    for line, text in enumerate((words, ek)):
        style: dict[str, Any] = {"xycoords": "axes fraction", "va": "bottom"}
        panel.note(0, 1, text, (0, 72 * (0.03 + line * LINE_IN)), **style)
