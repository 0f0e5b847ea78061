"""Two setups beside one another: doses on their ranges, changes as bars that multiply, days and spectra."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, TypeVar

from lightdose.answers.colour import APPROXIMATE, rounded
from lightdose.answers.compare import (
    largest_changes_first,
    photons_sentence,
    state_change,
    worst_changes_first,
)
from lightdose.answers.photon_change import SAME, cell_factor, change_sentence, photon_words
from lightdose.answers.words import DLI_UNIT_TYPESET, count, hours, number, range_text
from lightdose.errors import literal
from lightdose.model.comparison import Comparison, CoralComparison, PlaceChange, SiteComparison, Split
from lightdose.model.light import SiteDay, SiteSpectrum
from lightdose.model.spectrum import GRID_NM
from lightdose.present.figures.canvas import (
    AXIS_IN,
    BANDS_IN,
    HEAD_IN,
    MARGIN_IN,
    MOST_FIGURES,
    NAMES_IN,
    NARROW_ROW_IN,
    PANEL_IN,
    ROW_IN,
    ROWS_WIDTH_IN,
    WORDS_IN,
    Drawing,
    Panel,
    Sheet,
    drawn,
    pages,
    row_name,
    row_sheet,
    stacked_sheet,
)
from lightdose.present.figures.day import CLOCK, DOSE, PHOTONS, PPFD, WAVELENGTH, start_nm
from lightdose.present.figures.explaining import looks_drawing
from lightdose.present.figures.fitting import fit
from lightdose.present.figures.scales import EndLabel, dose_limits
from lightdose.present.figures.style import (
    BAND_FILL,
    DASHES,
    INK,
    QUIET_INK,
    SMALL_PT,
    TEXT_PT,
    TONES,
    Stroke,
    fitted,
)
from lightdose.quantities import GRID_END_NM

ROWS_PER_FIGURE, ROWS_NARROW = 50, 12
NAME_IN: Final = 2.2
TITLE_NAME_IN: Final = 4.0
STROKE_A: Final = Stroke(TONES["white"], DASHES[1], 2.0)
STROKE_B: Final = Stroke(TONES["total"], "solid", 2.0)
"""A in grey dashes, B in black: told apart in print and by every eye."""

DOSE_LEAD: Final = (
    "Dark bar: usual dose of the coral's group; light bar: from floor to ceiling. Ring: A, disc: B; the line "
    "leads from A to B. Each dose may be off by its 95 % range, which tables name."
)
SPLIT_LEAD: Final = (
    "Each bar starts at 1, no change; to the right is more. Photons = brightness x hours, exactly."
)
COLOUR_LEAD: Final = " Colour by usable share over nine published curves (line: their span) is not growth."
DAYS_LEAD: Final = "PPFD (400-700 nm) through the day, planar, in the water."
SPECTRA_LEAD: Final = "Planar, in the water; bands by their edges in nm."

PHOTONS_PART, COLOUR_PART = "photons", "colour, not growth"
PARTS: Final = (PHOTONS_PART, "brightness", "hours", COLOUR_PART)
FACTOR_STEPS: Final = (
    (0.8, 0.9, 1, 1.1, 1.2),
    (0.6, 0.8, 1, 1.25, 1.5),
    (0.5, 0.7, 1, 1.4, 2),
    (0.25, 0.5, 1, 2, 4),
    (0.1, 0.3, 1, 3, 10),
    (0.01, 0.1, 1, 10, 100),
    (1e-6, 1e-4, 1e-2, 1, 1e2, 1e4, 1e6),
    (1,),
)

_T = TypeVar("_T")
_Days = tuple[Sequence[SiteDay], Sequence[SiteDay]]
_Spectra = tuple[Sequence[SiteSpectrum], Sequence[SiteSpectrum]]
_Rows = Sequence[tuple[str, PlaceChange]]


def comparison_drawings(
    comparison: Comparison, shown: Sequence[SiteComparison], days: _Days, spectra: _Spectra
) -> list[Drawing]:
    """Every figure; those of days, spectra and looks only where a site stands in both."""
    drawings = [*dose_drawings(comparison), *split_drawings(comparison)]
    if shown:
        drawings.append(_draw_days(comparison, shown, days))
        drawings.append(_draw_spectra(comparison, shown, spectra))
    looks = [
        (f"{site.site}, {label}", place.looks)
        for site in shown
        for label, place in (("A", site.before), ("B", site.after))
        if place.looks is not None
    ]
    return [*drawings, looks_drawing(looks)] if looks else drawings


def dose_drawings(comparison: Comparison) -> list[Drawing]:
    """Each coral's dose under both, on as many figures as they need."""
    ranked = worst_changes_first(comparison.corals)
    changed = sum(c.changes_verdict for c in ranked)
    title = (
        f"Daily dose of each coral under A and B: {changed} of {count(len(ranked), 'coral')} "
        f"{'changes' if changed == 1 else 'change'} verdict{_left_out(ranked)}"
    )
    doses = [place.dli_mol_m2_d for c in ranked for place in (c.before, c.after)]
    limits = dose_limits([c.verdict_after for c in ranked], doses)
    return [_draw_doses(f"comparison-doses{end}", title, page, limits) for end, page in _pages(ranked)]


def split_drawings(comparison: Comparison) -> list[Drawing]:
    """The split of each coral, or of each site where no coral stands in both; none if nothing changes."""
    rows: list[tuple[str, PlaceChange]] = [(c.coral, c) for c in worst_changes_first(comparison.corals)]
    rows = rows or [(s.site, s) for s in largest_changes_first(comparison.sites)]
    parts = [part for part in PARTS if any(_changes(change, part) for _, change in rows)]
    title = photons_sentence(comparison).removesuffix(".") + _left_out(rows)
    shared = _pages(rows) if parts else []
    return [_draw_split(f"comparison-split{end}", title, page, parts) for end, page in shared]


def _pages(rows: Sequence[_T]) -> list[tuple[str, Sequence[_T]]]:
    """Rows on as many figures as they need; in a page the first ones alone, its tables hold all."""
    return [("", rows[:ROWS_NARROW])] if fit().narrow and rows else pages(rows, ROWS_PER_FIGURE)


def _left_out(rows: Sequence[object]) -> str:
    """That some rows are left out, in words."""
    shown = ROWS_NARROW if fit().narrow else MOST_FIGURES * ROWS_PER_FIGURE
    return f" (the {shown} that change most of {len(rows):,} are drawn)" if shown < len(rows) else ""


@drawn
def _draw_doses(
    name: str, title: str, corals: Sequence[CoralComparison], limits: tuple[float, float]
) -> Drawing:
    sheet, panel = row_sheet(title, DOSE_LEAD, [row_name(c.coral) for c in corals], DOSE)
    panel.log_axis("x", *limits)
    for row, coral in enumerate(corals):
        before, after = coral.before.dli_mol_m2_d, coral.after.dli_mol_m2_d
        panel.range_bar(row, coral.verdict_after)
        panel.span(row, panel.held(before), panel.held(after))
        panel.mark(panel.held(before), row, "o", "white")
        panel.mark(panel.held(after), row, "o", INK)
        band = coral.verdict_after.band_dli
        usual = f" (usual {range_text(*band)})" if band else ""
        words = f"{number(before)} → {number(after)}: {state_change(coral)}{usual}"
        weight = "bold" if coral.changes_verdict else "normal"
        panel.beside(row, fitted(words, WORDS_IN - 0.35, SMALL_PT), 12, weight=weight)
    return sheet.drawing(name, _described(title, [(c.coral, c) for c in corals]))


@drawn
def _draw_split(name: str, title: str, rows: _Rows, parts: Sequence[str]) -> Drawing:
    same = [part.partition(",")[0] for part in PARTS[1:] if part not in parts]
    lead = SPLIT_LEAD + (COLOUR_LEAD if COLOUR_PART in parts else "")
    lead += f" The same for all, so not drawn: {', '.join(same)}." if same else ""
    narrow = fit().narrow
    width, left = (fit().map_in, MARGIN_IN) if narrow else (ROWS_WIDTH_IN, NAMES_IN)
    height = len(rows) * (NARROW_ROW_IN if narrow else ROW_IN)
    sheet = Sheet(title, lead, width, height + AXIS_IN, 0.25)
    shown = list(dict.fromkeys([PHOTONS_PART, *parts]))[: 1 if narrow else None]
    step = (width - left) / (1 if narrow else max(len(shown), 2))
    limits = _split_limits([change.split for _, change in rows])
    for column, part in enumerate(shown):
        panel = sheet.panel(left + column * step, sheet.top_in, step - 0.25, height)
        panel.log_axis("x", *limits, FACTOR_STEPS)
        panel.name_rows([row_name(place) for place, _ in rows])
        panel.axes.tick_params(labelleft=column == 0 and not narrow)
        panel.axes.axvline(1, color=INK, linewidth=0.8)
        weight = "bold" if part == PHOTONS_PART else "normal"
        panel.axes.set_title(part, fontsize=TEXT_PT, color=INK, loc="left", weight=weight)
        panel.axes.set_xlabel("B over A, times", fontsize=SMALL_PT)
        for row, (_, change) in enumerate(rows):
            _draw_factor(panel, row, change, part)
    return sheet.drawing(name, _described(title, rows))


def _draw_factor(panel: Panel, row: int, change: PlaceChange, part: str) -> None:
    ln, colour = _ln(change.split, part), change.split.ln_colour
    leading = part == PHOTONS_PART
    ink = INK if leading else QUIET_INK
    ground = {"facecolor": "white", "edgecolor": "none", "pad": 0.6}
    if ln is None:
        if leading:
            panel.note(1.0, row, photon_words(change), (4, 0), color=ink, bbox=ground)
        return
    end = ratio = math.exp(ln)
    panel.bar(row, 1.0, ratio, 0.5, TONES["total"] if leading else BAND_FILL)
    if part == COLOUR_PART and colour is not None:
        end = math.exp(colour.high)
        panel.span(row, math.exp(colour.low), end)
    panel.note(max(1.0, end), row, cell_factor(ratio), (4, 0), color=ink, bbox=ground)


def _ln(split: Split, part: str) -> float | None:
    """ln of a part's factor, None where there is none."""
    colour = split.ln_colour.default if split.ln_colour else None
    return dict(zip(PARTS, (split.ln_dli, split.ln_intensity, split.ln_time, colour), strict=True))[part]


def _changes(change: PlaceChange, part: str) -> bool:
    """Whether a part's factor is another than 1 as it is written, or one side alone is dark."""
    ln = _ln(change.split, part)
    if ln is None:
        return part == PHOTONS_PART and change.size > SAME
    return abs(math.expm1(ln)) >= SAME


def _split_limits(splits: Sequence[Split]) -> tuple[float, float]:
    logs = [0.0, *(ln for split in splits for part in PARTS if (ln := _ln(split, part)) is not None)]
    logs += [
        end for split in splits if split.ln_colour for end in (split.ln_colour.low, split.ln_colour.high)
    ]
    low, high = min(logs), max(logs)
    span = max(high - low, math.log(1.25))
    return math.exp(low - 0.1 * span), math.exp(max(high, low + 0.3 * span) + 0.45 * span)


def _names(comparison: Comparison) -> str:
    a, b = (fitted(name, TITLE_NAME_IN, TEXT_PT) for name in comparison.names)
    return f"A, grey dashes: {a}. B, black: {b}."


@drawn
def _draw_days(comparison: Comparison, shown: Sequence[SiteComparison], days: _Days) -> Drawing:
    title = photons_sentence(comparison).removesuffix(".")
    lead = f"{DAYS_LEAD} {_names(comparison)}"
    heights, keys = [PANEL_IN] * len(shown), [4] * len(shown)
    sheet, panels = stacked_sheet(title, lead, heights, CLOCK, PPFD, keys=keys)
    top = max((float(day.total.max(initial=0.0)) for side in days for day in side), default=0.0) or 1.0
    for panel, site, a, b in zip(panels, shown, *days, strict=True):
        panel.day_axis(top)
        sides = (("A", STROKE_A, site.before, a), ("B", STROKE_B, site.after, b))
        labels = []
        for label, stroke, place, day in sides:
            if not day.total.max(initial=0.0) > 0:
                continue
            panel.line(day.time_h, day.total, stroke)
            dose = f"{number(place.dli_mol_m2_d)} {DLI_UNIT_TYPESET}"
            words = f"{label}: {dose}, lit {hours(place.photoperiod_h)} h"
            labels.append(EndLabel.after_plateau(words, day.time_h, day.total, stroke.colour))
        panel.label_ends(labels)
        panel.head(fitted(site.site, NAME_IN, TEXT_PT, bold=True), photon_words(site))
    return sheet.drawing("comparison-days", _described(title, [(s.site, s) for s in shown]))


@drawn
def _draw_spectra(comparison: Comparison, shown: Sequence[SiteComparison], spectra: _Spectra) -> Drawing:
    title = f"Photons by wavelength at the brightest time: {_colour_title(shown)}"
    lead = f"{SPECTRA_LEAD} {_names(comparison)} {APPROXIMATE}."
    heights = [PANEL_IN] * len(shown)
    sheet, panels = stacked_sheet(
        title,
        lead,
        heights,
        WAVELENGTH,
        PHOTONS,
        above_in=HEAD_IN + BANDS_IN,
        grid="y",
        keys=[4] * len(shown),
    )
    totals = [spectrum.total for side in spectra for spectrum in side]
    top, start = max((float(total.max()) for total in totals), default=0.0) or 1.0, start_nm(totals)
    cells = start < GRID_NM
    for panel, site, a, b in zip(panels, shown, *spectra, strict=True):
        panel.wavelength_axis(start, GRID_END_NM, top)
        panel.band_edges(start)
        for stroke, total in ((STROKE_A, a.total), (STROKE_B, b.total)):
            if total.max() > 0:
                panel.line(GRID_NM[cells], total[cells], stroke)
        _draw_swatches(panel, site)
        panel.head(fitted(site.site, NAME_IN, TEXT_PT, bold=True), _bands(site), BANDS_IN)
    return sheet.drawing("comparison-spectra", _described(title, [(s.site, s) for s in shown]))


def _draw_swatches(panel: Panel, site: SiteComparison) -> None:
    """The colours of both as a screen can about show them, in the right margin."""
    from matplotlib.patches import Rectangle

    beside = panel.axes.transAxes
    for row, (label, stroke, place) in enumerate((("A", STROKE_A, site.before), ("B", STROKE_B, site.after))):
        middle = 0.82 - 0.34 * row
        words, colour = f"{label}: no light", "white"
        if place.looks is not None:
            x, y = place.looks.appearance.chromaticity_xy
            colour = place.looks.appearance.swatch.srgb
            words = f"{label}: {rounded(place.lux_at_peak)} lx\nx {x:.3f}, y {y:.3f}"
        if fit().narrow:
            middle = panel.below(row)
            panel.line((-0.1, -0.02), (middle, middle), stroke, transform=beside)
            box = Rectangle((0.0, middle - 0.05), 0.06, 0.1, transform=beside, clip_on=False)
            box.set(facecolor=colour, edgecolor=TONES["white"], linewidth=0.8)
            panel.axes.add_patch(box)
            words = words.replace("\n", ", ")
            panel.axes.text(0.09, middle, words, transform=beside, fontsize=SMALL_PT, va="center", color=INK)
            continue
        panel.line((1.02, 1.07), (middle, middle), stroke, transform=beside)
        box = Rectangle((1.085, middle - 0.11), 0.055, 0.22, transform=beside, clip_on=False)
        box.set(facecolor=colour, edgecolor=TONES["white"], linewidth=0.8)
        panel.axes.add_patch(box)
        panel.axes.text(1.155, middle, words, transform=beside, fontsize=SMALL_PT, va="center", color=INK)


def _bands(site: SiteComparison) -> str:
    parts = []
    for label, place in (("A", site.before), ("B", site.after)):
        if place.dli_mol_m2_d > 0:
            shares = [place.band_dose_mol_m2_d[k] / place.dli_mol_m2_d for k in ("blue", "green", "red")]
            parts.append(f"{label} {'/'.join(f'{100 * share:.0f}' for share in shares)}")
    return f"blue/green/red over the day: {', '.join(parts)} %" if parts else "no light of 400-700 nm"


def _colour_title(shown: Sequence[SiteComparison]) -> str:
    ratios = [math.exp(s.split.ln_colour.default) for s in shown if s.split.ln_colour is not None]
    if not ratios:
        return "no light under both"
    low, high = (f"{x:.2f}" for x in (min(ratios), max(ratios)))
    span = low if low == high else f"{low} to {high}"
    return f"usable share of B {span} times that of A, not growth"


def _described(title: str, rows: _Rows) -> str:
    """The title, and how the first few places change."""
    shown = "; ".join(f"{literal(name)}: {change_sentence(change)}" for name, change in rows[:6])
    more = f"; and {len(rows) - 6} more" if len(rows) > 6 else ""
    return f"{literal(title)}. {shown}{more}." if rows else f"{literal(title)}."
