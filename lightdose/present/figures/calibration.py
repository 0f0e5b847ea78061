"""Model against reading with bars, and how far readings are off by site and by channel."""

from __future__ import annotations

import math
from typing import Final, Literal

from lightdose.answers.calibrate import closing_line
from lightdose.answers.words import PPFD_UNIT_TYPESET, number
from lightdose.errors import literal
from lightdose.model.calibration import CalibrationFit, ReadingFit, ReadingGroup
from lightdose.present.figures.canvas import (
    Drawing,
    Panel,
    drawn,
    row_name,
    row_sheet,
    stacked_sheet,
)
from lightdose.present.figures.scales import EndLabel
from lightdose.present.figures.style import BAND_FILL, INK, QUIET_INK, SMALL_PT, TONES, fitted

AGREEMENT_IN, NAMES_IN = 4.6, 2.2
ROW_IN, BESIDE_IN = 0.3, 0.4
NAMED_OUTLIERS: Final = 12
LEAST_SPAN: Final = 0.2
GROUPS_SHOWN: Final = 40
READ_LEAD: Final = (
    "Each point is a reading; bars are what the reading alone can be out by (95 %). On the line both agree."
)
OFF_LEAD: Final = "Each mark is a reading's distance from the model; a bar spans the middle half of several."
LEFT_OUT: Final = " A cross was left out."
OFF: Final = "reading above (+) or below (-) the model [%]"


def calibration_drawings(fit: CalibrationFit) -> list[Drawing]:
    """Model against reading; residuals by site; residuals by what was on."""
    return [
        _agreement(fit),
        _residuals(fit, "residuals-by-site", "site", "where"),
        _residuals(fit, "residuals-by-channel", "channels", "on"),
    ]


@drawn
def _agreement(fit: CalibrationFit) -> Drawing:
    verdict = closing_line(fit).rstrip(".")
    title = f"Readings of {fit.calibration.date} beside the calibrated model: {verdict}"
    model, reading = (f"{what} [{PPFD_UNIT_TYPESET}]" for what in ("calibrated model", "corrected reading"))
    lead = READ_LEAD + _left_out(fit)
    sheet, (panel,) = stacked_sheet(
        title, lead, [AGREEMENT_IN], model, reading, right_in=NAMES_IN, above_in=0
    )
    values = [v for r in fit.residuals for v in (*r.interval_95, r.model_umol_m2_s)]
    low, high = 0.8 * min(values), 1.25 * max(values)
    panel.log_axis("x", low, high)
    panel.log_axis("y", low, high)
    panel.axes.plot([low, high], [low, high], color=QUIET_INK, linewidth=1.0, zorder=1)
    for r in fit.residuals:
        panel.axes.plot([r.model_umol_m2_s] * 2, r.interval_95, color=QUIET_INK, linewidth=1.0, zorder=2)
        _mark(panel, r, r.model_umol_m2_s, r.reading_umol_m2_s)
    _name_outliers(panel, [r for r in fit.residuals if r.outlier])
    worst = max(fit.residuals, key=lambda r: abs(r.residual_fraction))
    return sheet.drawing(
        "calibration",
        f"{literal(title)}. Furthest off: line {worst.line} at {literal(worst.where)}, reading "
        f"{number(worst.reading_umol_m2_s)}, model {number(worst.model_umol_m2_s)} {PPFD_UNIT_TYPESET}.",
    )


def _mark(panel: Panel, fit: ReadingFit, x: float, y: float) -> None:
    """A ring for a reading that was used, a cross for one that was left out."""
    if fit.outlier:
        panel.mark(x, y, "x", INK, markersize=7, zorder=4)
    else:
        panel.mark(x, y, "o", "white", TONES["blue"], markersize=5, zorder=4)


def _name_outliers(panel: Panel, outliers: list[ReadingFit]) -> None:
    """Those furthest off by name at the right edge."""
    outliers.sort(key=lambda r: -abs(math.log(r.reading_umol_m2_s / r.model_umol_m2_s)))
    panel.label_ends(
        [
            EndLabel(
                fitted(f"line {r.line}, {r.where}", NAMES_IN - 0.4, SMALL_PT),
                r.model_umol_m2_s,
                r.reading_umol_m2_s,
            )
            for r in outliers[:NAMED_OUTLIERS]
        ]
    )


@drawn
def _residuals(fit: CalibrationFit, name: str, what: str, by: Literal["where", "on"]) -> Drawing:
    groups = fit.grouped(by)
    shown, rest = groups[:GROUPS_SHOWN], len(groups) - GROUPS_SHOWN
    title = f"How far readings are off, by {what}: {_most_off(groups)}"
    lead = OFF_LEAD + _left_out(fit)
    lead += f" {rest} more with smaller distances are not shown." if rest > 0 else ""
    names = [row_name(group.name) for group in shown]
    sheet, panel = row_sheet(title, lead, names, OFF, words_in=BESIDE_IN, row_in=ROW_IN)
    most = 110 * max(abs(group.furthest.residual_fraction) for group in shown)
    most = max(100 * LEAST_SPAN, most)
    panel.axes.set_xlim(-min(most, 100), most)
    panel.axes.axvline(0, color=QUIET_INK, linewidth=1.0)
    for row, group in enumerate(shown):
        if group.middle_half is not None:
            low, high = group.middle_half
            panel.bar(row, 100 * low, 100 * high, 0.5, BAND_FILL, zorder=2)
        for r in group.readings:
            _mark(panel, r, 100 * r.residual_fraction, row)
    return sheet.drawing(name, f"{title}.")


def _most_off(groups: list[ReadingGroup]) -> str:
    """Where readings are typically furthest off, and where a single one is if that is elsewhere."""
    first, widest = groups[0], max(groups, key=lambda group: abs(group.furthest.residual_fraction))
    typically = "typically " if len(first.readings) > 1 else ""
    words = f"{typically}most at {literal(first.name)}, {100 * first.typical_off_fraction:.0f} %"
    if widest is first:
        return words
    single = f"{100 * abs(widest.furthest.residual_fraction):.0f} %"
    return f"{words}; the furthest single reading at {literal(widest.name)}, {single}"


def _left_out(fit: CalibrationFit) -> str:
    return LEFT_OUT if any(r.outlier for r in fit.residuals) else ""
