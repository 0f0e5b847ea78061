"""`tune` as a picture: each coral's dose before and after on its range, and the day before and after."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from lightdose.answers.tune import headline
from lightdose.answers.verdicts import interval_text
from lightdose.model.light import SiteDay
from lightdose.model.plans import CoralChange, Tuning
from lightdose.model.setup import LengthUnit
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
from lightdose.present.figures.dose_marks import draw_dose_mark, write_beside
from lightdose.present.figures.style import BAND_FILL, INK, LIMIT_FILL, QUIET_INK, SMALL_PT, TEXT_PT, TONES
from lightdose.present.labels import (
    DLI_UNIT_TYPESET,
    PPFD_UNIT_TYPESET,
    STATE_WORDS,
    count,
    length,
    literal,
    number,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes

WIDTH_IN = 9.0
NAMES_IN = 2.3
WORDS_IN = 3.0
ROW_IN = 0.29
LEFT_IN = 0.85
LABELS_IN = 1.5
PANEL_IN = 1.6
GAP_IN = 0.5
MOST_ROWS = 40
DAYS_SHOWN = 3
TICKS = (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)
DOSE_LEAD = (
    "Dark bar: usual dose of its group. Light bar: from floor to ceiling. Tick: today; disc: tuned and "
    "inside; diamond: tuned and outside, all by the stated values. In brackets: 95 % of what the inputs "
    "allow."
)
DAY_LEAD = "PPFD (400-700 nm) through the day, planar, in the water. Dashed: today; solid: tuned."


def shown_corals(tuning: Tuning) -> list[CoralChange]:
    """Whose days are drawn: the brightest, the dimmest and the most changed coral of the tuned programme."""
    ranked = sorted(tuning.corals, key=lambda c: -c.after.dli_mol_m2_d)
    if not ranked:
        return []
    most = max(tuning.corals, key=lambda c: abs(c.after.dli_mol_m2_d - c.before.dli_mol_m2_d))
    chosen: dict[int, CoralChange] = {}
    for change in (ranked[0], most, ranked[-1]):
        chosen.setdefault(change.after.receiver, change)
    return sorted(chosen.values(), key=lambda c: -c.after.dli_mol_m2_d)[:DAYS_SHOWN]


def tuning_drawings(
    tuning: Tuning, before: Sequence[SiteDay], after: Sequence[SiteDay], unit: LengthUnit
) -> list[Drawing]:
    """The doses of all corals, and the day of those chosen by ``shown_corals``."""
    return [
        drawn(lambda: _draw_doses(tuning)),
        drawn(lambda: _draw_days(tuning, before, after, unit)),
    ]


def _draw_doses(tuning: Tuning) -> Drawing:
    rows = sorted(tuning.corals, key=lambda c: -abs(c.rise if c.rise is not None else 1e9))[:MOST_ROWS]
    rest = len(tuning.corals) - len(rows)
    title = f"Doses before and after: {headline(tuning)[0].lower()}{headline(tuning)[1:]}"
    lead = DOSE_LEAD + (f" {count(rest, 'coral')} that change less are not drawn." if rest else "")
    head = head_height(title, lead, WIDTH_IN)
    height = len(rows) * ROW_IN
    figure = new_figure(WIDTH_IN, head + height + 0.6)
    write_head(figure, title, lead)
    axes = panel(figure, NAMES_IN, head, WIDTH_IN - NAMES_IN - WORDS_IN, height)
    limits = _limits(rows)
    axes.set_xscale("log")
    axes.set_xlim(*limits)
    axes.set_ylim(len(rows) - 0.5, -0.5)
    ticks = [t for t in TICKS if limits[0] <= t <= limits[1]]
    axes.set_xticks(ticks, [f"{t:g}" for t in ticks])
    axes.minorticks_off()
    quiet_grid(axes, "x")
    axes.set_yticks(range(len(rows)), [fitted(c.coral, NAMES_IN - 0.3, TEXT_PT) for c in rows])
    axes.tick_params(axis="y", length=0, labelsize=TEXT_PT, pad=8)
    axes.spines["left"].set_visible(False)
    axes.set_xlabel(f"dose in a day [{DLI_UNIT_TYPESET}]", fontsize=TEXT_PT)
    for row, change in enumerate(rows):
        _draw_change(axes, row, change, limits)
    return Drawing("tuned-doses", title, _dose_words(title, rows), figure)


def _draw_change(axes: Axes, row: int, change: CoralChange, limits: tuple[float, float]) -> None:
    before, after = change.before, change.after
    if after.band_dli is not None:
        low, high = (max(e, limits[0]) for e in after.band_dli)
        floor = max(after.floor_dli or limits[0], limits[0])
        ceiling = limits[1] if after.ceiling_dli is None else after.ceiling_dli
        axes.barh(row, ceiling - floor, left=floor, height=0.34, color=LIMIT_FILL)
        axes.barh(row, high - low, left=low, height=0.52, color=BAND_FILL)
    start, end = (min(max(v.dli_mol_m2_d, limits[0]), limits[1]) for v in (before, after))
    axes.plot([start, end], [row, row], color=INK, linewidth=1.4, solid_capstyle="butt", zorder=4)
    axes.plot([start], [row], "|", color=INK, markersize=11, markeredgewidth=1.6, zorder=4)
    draw_dose_mark(axes, end, row, after.dli_state)
    span = f" ({interval_text(after.certainty.interval_dli)})" if after.certainty else ""
    doses = f"{number(before.dli_mol_m2_d)} to {number(after.dli_mol_m2_d)}{span}"
    words = fitted(f"{doses}, {STATE_WORDS[after.dli_state]}", WORDS_IN - 0.25, SMALL_PT)
    bold = after.dli_state not in ("within", "not_judged")
    write_beside(axes, row, words, 10, weight="bold" if bold else "normal")


def _limits(rows: Sequence[CoralChange]) -> tuple[float, float]:
    """Ends of the scale: every band, ceiling and dose is inside; a trace of light is at the left end."""
    marks = [x for c in rows for x in (c.after.floor_dli, *(c.after.band_dli or ())) if x]
    doses = [v.dli_mol_m2_d for c in rows for v in (c.before, c.after) if v.dli_mol_m2_d > 0]
    tops = [x for c in rows for x in (c.after.ceiling_dli, *(c.after.band_dli or ())) if x]
    least = min(marks, default=min(doses, default=1.0))
    return 0.75 * max(min([least, *doses]), least / 8), 1.35 * max([least, *tops, *doses])


def _dose_words(title: str, rows: Sequence[CoralChange]) -> str:
    first = rows[0]
    return (
        f"{literal(title)} Most changed: {literal(first.coral)}, from {number(first.before.dli_mol_m2_d)} to "
        f"{number(first.after.dli_mol_m2_d)} {DLI_UNIT_TYPESET}."
    )


def _draw_days(
    tuning: Tuning, before: Sequence[SiteDay], after: Sequence[SiteDay], unit: LengthUnit
) -> Drawing:
    shown = shown_corals(tuning)
    title = _day_title(shown)
    head = head_height(title, DAY_LEAD, WIDTH_IN) + 0.25
    step = PANEL_IN + GAP_IN
    figure = new_figure(WIDTH_IN, head + len(shown) * step - GAP_IN + 0.6)
    write_head(figure, title, DAY_LEAD)
    width = WIDTH_IN - LEFT_IN - LABELS_IN
    top = max(float(d.by_channel.sum(axis=0).max()) for d in (*before, *after)) or 1.0
    for i, (change, old, new) in enumerate(zip(shown, before, after, strict=True)):
        axes = panel(figure, LEFT_IN, head + i * step, width, PANEL_IN)
        axes.set_xlim(0, 24)
        axes.set_ylim(0, 1.08 * top)
        axes.set_xticks(range(0, 25, 3), [f"{h:02d}:00" for h in range(0, 25, 3)])
        axes.tick_params(labelbottom=i == len(shown) - 1)
        quiet_grid(axes, "both")
        axes.set_ylabel(f"PPFD [{PPFD_UNIT_TYPESET}]", fontsize=SMALL_PT)
        _draw_pair(axes, old, new, width)
        depth = length(change.after.judged_at_depth_m, unit)
        axes.text(
            0, 1 + 0.07 / PANEL_IN, f"{fitted(change.coral, 3.2, TEXT_PT, bold=True)}, {depth} {unit} deep",
            transform=axes.transAxes, fontsize=TEXT_PT, weight="bold", color=INK,
        )  # fmt: skip
    axes.set_xlabel("time of day [hh:mm]", fontsize=TEXT_PT)
    return Drawing("tuned-days", title, f"{literal(title)}.", figure)


def _draw_pair(axes: Axes, old: SiteDay, new: SiteDay, width_in: float) -> None:
    """Today's total and the tuned one, each named with its peak in the right margin."""
    ends = []
    for name, day, colour, dash, stroke in (
        ("today", old, QUIET_INK, (0, (4, 2)), 1.4),
        ("tuned", new, TONES["blue"], "solid", 2.0),
    ):
        total = day.by_channel.sum(axis=0)
        axes.plot(day.time_h, total, color=colour, linestyle=dash, linewidth=stroke, clip_on=False)
        ends.append((f"{name}, peak {number(float(total.max()))}", float(total.max()), colour))
    _, high = axes.get_ylim()
    places = spread([y for _, y, _ in ends], LINE_IN * high / PANEL_IN, 0.0, high)
    for (text, _, colour), place in zip(ends, places, strict=True):
        axes.text(24 * (1 + 0.12 / width_in), place, text, fontsize=SMALL_PT, color=colour, va="center")


def _day_title(shown: Sequence[CoralChange]) -> str:
    words = [
        f"{literal(c.coral)} {number(c.before.dli_mol_m2_d)} to {number(c.after.dli_mol_m2_d)}" for c in shown
    ]
    return f"The day before and after, doses in {DLI_UNIT_TYPESET}: {', '.join(words)}"
