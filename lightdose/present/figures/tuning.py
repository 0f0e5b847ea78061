"""Another programme: each coral's dose and day before and after, and the light that another tank matches."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import numpy as np

from lightdose.answers.match import headline as match_headline
from lightdose.answers.match import look_sentence, unmatched_sentence
from lightdose.answers.tune import headline
from lightdose.answers.verdicts import SINGLE_VALUES, brief_words, interval_text
from lightdose.answers.words import (
    DLI_UNIT,
    DLI_UNIT_TYPESET,
    PPFD_UNIT_TYPESET,
    count,
    length,
    number,
)
from lightdose.errors import literal
from lightdose.model.light import SiteDay
from lightdose.model.match import BAND_WIDTH_NM, Match, PairMatch
from lightdose.model.plans import CoralChange, Tuning
from lightdose.model.setup import LengthUnit
from lightdose.present.figures.canvas import (
    PANEL_IN,
    WORDS_IN,
    Drawing,
    Panel,
    drawn,
    row_name,
    row_sheet,
    stacked_sheet,
)
from lightdose.present.figures.day import CLOCK, DOSE, PPFD, WAVELENGTH
from lightdose.present.figures.scales import EndLabel, dose_limits
from lightdose.present.figures.style import (
    BAND_FILL,
    INK,
    QUIET_INK,
    SMALL_PT,
    TEXT_PT,
    TONES,
    Stroke,
    fitted,
)
from lightdose.quantities import GRID_START_NM

MOST_ROWS: Final = 40
PAIRS_DRAWN: Final = 6
SHOWN_NM: Final = (380, 740)
TODAY: Final = Stroke(QUIET_INK, (0, (4, 2)), 1.4)
TUNED: Final = Stroke(TONES["blue"], "solid", 2.0)
DOSE_LEAD: Final = (
    "Dark bar: usual dose of its group. Light bar: from floor to ceiling. Tick: today; disc: tuned and "
    "within; diamond: tuned and outside. An undecided coral is drawn by its calculated dose."
)
BRACKETS: Final = " In brackets: 95 % of what the inputs allow."
DAY_LEAD: Final = "PPFD (400-700 nm) through the day, planar, in the water. Dashed: today; solid: tuned."
MATCH_LEAD: Final = (
    "Photons of the day in each 10 nm. Bars: there, with the written schedule. Black steps: here, what was "
    f"wanted. PPFD counts 400-700 nm. {SINGLE_VALUES}"
)


def tuning_drawings(
    tuning: Tuning,
    shown: Sequence[CoralChange],
    before: Sequence[SiteDay],
    after: Sequence[SiteDay],
    unit: LengthUnit,
) -> list[Drawing]:
    """The doses of all corals, and the day before and after of those shown where it changes."""
    doses = [_draw_doses(tuning)]
    return doses if tuning.unchanged else [*doses, _draw_days(shown, before, after, unit)]


@drawn
def _draw_doses(tuning: Tuning) -> Drawing:
    rows = sorted(tuning.corals, key=lambda c: -abs(c.rise if c.rise is not None else 1e9))[:MOST_ROWS]
    rest = len(tuning.corals) - len(rows)
    title = f"Doses before and after: {headline(tuning)[0].lower()}{headline(tuning)[1:]}"
    lead = DOSE_LEAD + (BRACKETS if any(c.after.certainty for c in rows) else "")
    lead += f" {count(rest, 'coral')} that change less are not drawn." if rest else ""
    sheet, panel = row_sheet(title, lead, [row_name(c.coral) for c in rows], DOSE)
    doses = [verdict.dli_mol_m2_d for c in rows for verdict in (c.before, c.after)]
    panel.log_axis("x", *dose_limits([c.after for c in rows], doses))
    for row, change in enumerate(rows):
        _draw_change(panel, row, change)
    first = rows[0]
    return sheet.drawing(
        "tuned-doses",
        f"{literal(title)} Most changed: {literal(first.coral)}, from "
        f"{number(first.before.dli_mol_m2_d)} to {number(first.after.dli_mol_m2_d)} {DLI_UNIT_TYPESET}.",
    )


def _draw_change(panel: Panel, row: int, change: CoralChange) -> None:
    before, after = change.before.dli_mol_m2_d, change.after.dli_mol_m2_d
    panel.range_bar(row, change.after)
    panel.span(row, panel.held(before), panel.held(after), 1.4)
    panel.mark(panel.held(before), row, "|", INK, markersize=11, markeredgewidth=1.6, zorder=4)
    certainty, verdict = change.after.certainty, change.after.dli_verdict
    state = change.after.dli_state if verdict == "undecided" else verdict
    panel.dose_mark(row, after, state)
    span = f" ({interval_text(certainty.interval_dli)})" if certainty else ""
    words = f"{number(before)} to {number(after)}{span}, {brief_words(change.after)}"
    weight = "normal" if verdict in ("within", "not_judged", "undecided") else "bold"
    panel.beside(row, fitted(words, WORDS_IN - 0.25, SMALL_PT), 10, weight=weight)


@drawn
def _draw_days(
    shown: Sequence[CoralChange], before: Sequence[SiteDay], after: Sequence[SiteDay], unit: LengthUnit
) -> Drawing:
    doses = [
        f"{literal(c.coral)} {number(c.before.dli_mol_m2_d)} to {number(c.after.dli_mol_m2_d)}" for c in shown
    ]
    title = f"The day before and after, doses in {DLI_UNIT_TYPESET}: {', '.join(doses)}"
    sheet, panels = stacked_sheet(title, DAY_LEAD, [PANEL_IN] * len(shown), CLOCK, PPFD, right_in=1.9)
    top = max(float(day.total.max()) for day in (*before, *after)) or 1.0
    for panel, change, *days in zip(panels, shown, before, after, strict=True):
        panel.day_axis(top)
        labels = []
        for name, day, stroke in zip(("today", "tuned"), days, (TODAY, TUNED), strict=True):
            panel.line(day.time_h, day.total, stroke)
            words = f"{name}, peak {number(float(day.total.max()))}"
            labels.append(EndLabel.after_plateau(words, day.time_h, day.total, stroke.colour))
        panel.label_ends(labels)
        depth = length(change.after.judged_at_depth_m, unit)
        panel.head(f"{fitted(change.coral, 3.2, TEXT_PT, bold=True)}, {depth} {unit} deep")
    return sheet.drawing("tuned-days", f"{literal(title)}.")


@drawn
def match_drawing(match: Match) -> Drawing:
    """Photons of the day in each 10 nm: wanted as steps, got as bars, a panel a pair on one scale."""
    shown = match.chosen.pairs[:PAIRS_DRAWN]
    rest = len(match.chosen.pairs) - len(shown)
    title = match_headline(match).replace(DLI_UNIT, DLI_UNIT_TYPESET)
    more = f"{rest} more pairs are not drawn." if rest else ""
    lead = " ".join(filter(None, (MATCH_LEAD, look_sentence(match), unmatched_sentence(match), more)))
    y_label = f"dose in 10 nm\n[{DLI_UNIT_TYPESET}]"
    sheet, panels = stacked_sheet(
        title, lead, [PANEL_IN] * len(shown), WAVELENGTH, y_label, right_in=0.3, grid="y"
    )
    top = max(float(max(pair.band_target.max(), pair.band_got.max())) for pair in shown)
    for panel, pair in zip(panels, shown, strict=True):
        panel.wavelength_axis(*SHOWN_NM, top)
        _draw_pair(panel, pair)
    return sheet.drawing("match", f"{literal(title)} {unmatched_sentence(match)}".strip())


def _draw_pair(panel: Panel, pair: PairMatch) -> None:
    edges = GRID_START_NM + BAND_WIDTH_NM * np.arange(pair.band_target.size + 1)
    style: Any = {"width": 0.82 * BAND_WIDTH_NM, "edgecolor": TONES["blue"], "linewidth": 0.6}
    panel.axes.bar(edges[:-1] + BAND_WIDTH_NM / 2, pair.band_got, color=BAND_FILL, **style)
    panel.axes.stairs(pair.band_target, edges, color=INK, linewidth=1.4)
    for edge in (400, 700):
        panel.axes.axvline(edge, color=QUIET_INK, linewidth=0.8, linestyle=(0, (2, 2)))
    words = (
        f"dose {number(pair.dli_got)} of {number(pair.dli_target)} {DLI_UNIT_TYPESET}, peak "
        f"{number(pair.peak_got)} (here {number(pair.peak_target)}) {PPFD_UNIT_TYPESET}"
    )
    panel.head(fitted(f"{pair.here} → {pair.there}", 2.9, TEXT_PT, bold=True), words)
