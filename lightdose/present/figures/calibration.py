"""Model against reading with bars, and how far readings are off by site and by channel."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from lightdose.answers.calibrate import closing_line
from lightdose.model.calibration import CalibrationFit, ReadingFit
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
from lightdose.present.figures.style import BAND_FILL, INK, QUIET_INK, SMALL_PT, TEXT_PT, TONES
from lightdose.present.labels import PPFD_UNIT_TYPESET, literal, number

if TYPE_CHECKING:
    from matplotlib.axes import Axes

WIDTH_IN = 8.8
SQUARE_IN = 4.6
LEFT_IN = 0.85
ROW_IN = 0.3
NAMES_IN = 2.6
NAMED_OUTLIERS = 12
LEAST_SPAN = 0.2
GROUPS_SHOWN = 40
TICKS = (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000)
READ_LEAD = (
    "Each point is a reading; bars are what the reading alone can be out by (95 %). On the line both agree."
)
OFF_LEAD = "Each mark is a reading's distance from the model; a bar spans the middle half of several."
LEFT_OUT = " A cross was left out."


def calibration_drawings(fit: CalibrationFit) -> list[Drawing]:
    """Model against reading; residuals by site; residuals by what was on."""
    verdict = closing_line(fit).rstrip(".")
    return [
        drawn(lambda: _agreement(fit, verdict)),
        drawn(lambda: _residuals(fit, "residuals-by-site", "site", lambda r: r.where)),
        drawn(lambda: _residuals(fit, "residuals-by-channel", "channels", lambda r: r.on)),
    ]


def _agreement(fit: CalibrationFit, verdict: str) -> Drawing:
    title = f"Readings of {fit.calibration.date} beside the calibrated model: {verdict}"
    lead = READ_LEAD + _left_out(fit)
    head = head_height(title, lead, WIDTH_IN)
    figure = new_figure(WIDTH_IN, head + SQUARE_IN + 0.7)
    write_head(figure, title, lead)
    axes = panel(figure, LEFT_IN, head, SQUARE_IN + 1.6, SQUARE_IN)
    values = [v for r in fit.residuals for v in (*r.interval_95, r.model_umol_m2_s)]
    low, high = 0.8 * min(values), 1.25 * max(values)
    axes.set_xscale("log")
    axes.set_yscale("log")
    axes.set_xlim(low, high)
    axes.set_ylim(low, high)
    ticks = [t for t in TICKS if low <= t <= high]
    axes.set_xticks(ticks, [f"{t:g}" for t in ticks])
    axes.set_yticks(ticks, [f"{t:g}" for t in ticks])
    axes.minorticks_off()
    quiet_grid(axes)
    axes.plot([low, high], [low, high], color=QUIET_INK, linewidth=1.0, zorder=1)
    for r in fit.residuals:
        axes.plot([r.model_umol_m2_s] * 2, r.interval_95, color=QUIET_INK, linewidth=1.0, zorder=2)
    _marks(axes, fit.residuals, lambda r: (r.model_umol_m2_s, r.reading_umol_m2_s))
    axes.set_xlabel(f"calibrated model [{PPFD_UNIT_TYPESET}]", fontsize=TEXT_PT)
    axes.set_ylabel(f"corrected reading [{PPFD_UNIT_TYPESET}]", fontsize=TEXT_PT)
    _name_outliers(axes, [r for r in fit.residuals if r.outlier], (low, high))
    return Drawing("calibration", title, _description(title, fit), figure)


def _marks(
    axes: Axes, fits: Sequence[ReadingFit], place: Callable[[ReadingFit], tuple[float, float]]
) -> None:
    for outlier, marker, colour in ((False, "o", TONES["blue"]), (True, "x", INK)):
        points = [place(r) for r in fits if r.outlier == outlier]
        if points:
            x, y = zip(*points, strict=True)
            face = "white" if marker == "o" else colour
            axes.plot(
                x,
                y,
                linestyle="none",
                marker=marker,
                markersize=5 if marker == "o" else 7,
                markerfacecolor=face,
                markeredgecolor=colour,
                markeredgewidth=1.3,
                zorder=4,
            )


def _name_outliers(axes: Axes, outliers: Sequence[ReadingFit], limits: tuple[float, float]) -> None:
    """Names at the right edge, level with their points as far as they do not meet."""
    import math

    shown = sorted(outliers, key=lambda r: -abs(math.log(r.reading_umol_m2_s / r.model_umol_m2_s)))
    shown = shown[:NAMED_OUTLIERS]
    span = math.log(limits[1] / limits[0])
    wanted = [math.log(r.reading_umol_m2_s / limits[0]) / span * SQUARE_IN for r in shown]
    for r, at in zip(shown, spread(wanted, LINE_IN, 0.1, SQUARE_IN - 0.1), strict=True):
        words = fitted(f"line {r.line}, {r.where}", WIDTH_IN - LEFT_IN - SQUARE_IN - 1.6 - 0.3, SMALL_PT)
        axes.annotate(
            words,
            (r.model_umol_m2_s, r.reading_umol_m2_s),
            xytext=(1.03, at / SQUARE_IN),
            textcoords="axes fraction",
            va="center",
            fontsize=SMALL_PT,
            color=INK,
            arrowprops={"arrowstyle": "-", "color": QUIET_INK, "linewidth": 0.6, "shrinkB": 4},
        )


def _residuals(fit: CalibrationFit, name: str, by: str, key: Callable[[ReadingFit], str]) -> Drawing:
    import numpy as np

    groups: dict[str, list[ReadingFit]] = {}
    for r in fit.residuals:
        groups.setdefault(key(r), []).append(r)
    ranked = sorted(groups.items(), key=lambda item: -_typical_off(item[1]))
    rest = len(ranked) - GROUPS_SHOWN
    shown = ranked[:GROUPS_SHOWN]
    worst, members = shown[0]
    off = f"{100 * _typical_off(members):.0f} %"
    typically = "typically " if len(members) > 1 else ""
    title = f"How far readings are off, by {by}: most at {literal(worst)}, {typically}{off}"
    lead = (
        OFF_LEAD
        + _left_out(fit)
        + (f" {rest} more with smaller distances are not shown." if rest > 0 else "")
    )
    head = head_height(title, lead, WIDTH_IN)
    height = ROW_IN * len(shown)
    figure = new_figure(WIDTH_IN, head + height + 0.6)
    write_head(figure, title, lead)
    axes = panel(figure, NAMES_IN, head, WIDTH_IN - NAMES_IN - 0.4, height)
    kept = [100 * r.residual_fraction for _, rs in shown for r in rs]
    most = max(100 * LEAST_SPAN, 1.1 * max(abs(v) for v in kept))
    axes.set_xlim(-min(most, 100), most)
    axes.set_ylim(len(shown) - 0.5, -0.5)
    quiet_grid(axes, "x")
    axes.axvline(0, color=QUIET_INK, linewidth=1.0)
    axes.set_yticks(range(len(shown)), [fitted(g, NAMES_IN - 0.3, TEXT_PT) for g, _ in shown])
    axes.tick_params(axis="y", length=0, labelsize=TEXT_PT, pad=8)
    axes.spines["left"].set_visible(False)
    axes.set_xlabel("reading above (+) or below (-) the model [%]", fontsize=TEXT_PT)
    for row, (_, rs) in enumerate(shown):
        inside = [100 * r.residual_fraction for r in rs if not r.outlier]
        if len(inside) > 1:
            low, high = np.percentile(inside, [25, 75])
            axes.barh(row, high - low, left=low, height=0.5, color=BAND_FILL, zorder=2)
        _marks(axes, rs, lambda r, y=row: (100 * r.residual_fraction, float(y)))  # type: ignore[misc]
    return Drawing(name, title, f"{title}.", figure)


def _left_out(fit: CalibrationFit) -> str:
    return LEFT_OUT if any(r.outlier for r in fit.residuals) else ""


def _typical_off(members: Sequence[ReadingFit]) -> float:
    """Median distance of a group's readings from the model, those left out aside if there are others."""
    import statistics

    used = [r for r in members if not r.outlier] or list(members)
    return statistics.median(abs(r.residual_fraction) for r in used)


def _description(title: str, fit: CalibrationFit) -> str:
    worst = max(fit.residuals, key=lambda r: abs(r.residual_fraction))
    return (
        f"{literal(title)}. Furthest off: line {worst.line} at {literal(worst.where)}, reading "
        f"{number(worst.reading_umol_m2_s)}, model {number(worst.model_umol_m2_s)} {PPFD_UNIT_TYPESET}."
    )
