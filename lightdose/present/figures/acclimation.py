"""The way to another light: doses step by step, and how far light runs ahead of the coral that lags most."""

from __future__ import annotations

from typing import Final

import numpy as np

from lightdose.answers.acclimate import closing_sentence, headline
from lightdose.answers.verdicts import SINGLE_VALUES
from lightdose.answers.words import literal, number
from lightdose.model.plans import Acclimation
from lightdose.present.figures.canvas import STACK_RIGHT_IN, Drawing, EndLabel, Panel, drawn, stacked_sheet
from lightdose.present.figures.dose import DOSE
from lightdose.present.figures.lettering import fitted_before
from lightdose.present.figures.style import BAND_FILL, INK, LIMIT_FILL, QUIET_INK, SMALL_PT, TONES

DOSES_IN, MISMATCH_IN = 3.2, 2.2
CORALS_DRAWN: Final = 16
LEAD: Final = (
    "Above: the dose of each coral from step to step, starting from what it lives in (log scale). Below: "
    "dose over the dose that the coral furthest ahead is set for; line: it follows in 20 days; shade: 4 to "
    f"40 days. Common practice, no published rule per week. {SINGLE_VALUES}"
)


@drawn
def acclimation_drawing(way: Acclimation) -> Drawing:
    """Doses by day over the mismatch by day."""
    at = int(way.curve.d_over_a[1].argmax())
    low, peak, high = sorted(float(v) for v in way.curve.d_over_a[:, at])
    title = (
        f"{headline(way)} Most ahead: {literal(way.curve.coral)!r}, {peak:.2f} ({low:.2f}-{high:.2f}) times "
        "its acclimated dose."
    )
    rest = len(way.corals) - CORALS_DRAWN
    lead = (f"{rest} more corals, which rise less, are not drawn. " if rest > 0 else "") + LEAD
    sheet, panels = stacked_sheet(
        title, lead, [DOSES_IN, MISMATCH_IN], "days from the first step", DOSE, above_in=0.05, grid="y"
    )
    last = float(way.curve.day[-1])
    for panel in panels:
        panel.axes.set_xlim(-max(3.0, 0.03 * last), last)
        panel.axes.set_xticks(np.arange(0, last + 1, 7 * max(1, round(last / 70))))
        for step in way.steps:
            panel.axes.axvline(step.day, color=LIMIT_FILL, linewidth=0.8, zorder=0)
    _draw_doses(panels[0], way)
    _draw_mismatch(panels[1], way)
    return sheet.drawing("acclimation", f"{literal(title)} {closing_sentence(way)}")


def _draw_doses(panel: Panel, way: Acclimation) -> None:
    order = sorted(range(len(way.corals)), key=lambda i: -way.corals[i].target / way.corals[i].before)
    rows = [(way.corals[i], [s.corals[i].dli_mol_m2_d for s in way.steps]) for i in order[:CORALS_DRAWN]]
    ends = [dose for coral, doses in rows for dose in (coral.before, *doses)]
    panel.log_axis("y", 0.85 * min(ends), 1.18 * max(ends))
    left, right = panel.axes.get_xlim()
    days = np.array([left, *(step.day for step in way.steps), right])
    labels = []
    for coral, doses in rows:
        leads = coral.name == way.curve.coral
        panel.axes.step(
            days,
            [coral.before, *doses, doses[-1]],
            where="post",
            color=TONES["blue"] if leads else QUIET_INK,
            linewidth=2.0 if leads else 1.1,
            linestyle="solid" if coral.origin == "today" else (0, (5, 1.5)),
            zorder=4 if leads else 3,
        )
        text = fitted_before(coral.name, f" {number(doses[-1])}", STACK_RIGHT_IN - 0.4, SMALL_PT)
        labels.append(EndLabel(text, right, doses[-1], TONES["blue"] if leads else INK))
    panel.label_ends(labels)


def _draw_mismatch(panel: Panel, way: Acclimation) -> None:
    from matplotlib.ticker import MaxNLocator

    axes, day, ratio = panel.axes, way.curve.day, way.curve.d_over_a
    low, high = ratio.min(axis=0), ratio.max(axis=0)
    axes.fill_between(day, low, high, color=BAND_FILL, linewidth=0, zorder=2)
    axes.plot(day, ratio[1], color=TONES["blue"], linewidth=1.8, zorder=3)
    axes.axhline(1.0, color=QUIET_INK, linewidth=1.0, zorder=1)
    axes.set_ylim(min(0.9, 0.97 * float(low.min())), max(1.15, 1.06 * float(high.max())))
    axes.yaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 5, 10]))
    axes.set_ylabel("dose over acclimated", fontsize=SMALL_PT)
    at = int(np.argmax(ratio[1]))
    ground = {"facecolor": "white", "edgecolor": "none", "pad": 0.8}
    panel.note(day[at], ratio[1, at], f"{ratio[1, at]:.2f}", (0, 5), ha="center", va="baseline", bbox=ground)
    last = float(day[-1])
    panel.label_ends(
        [
            EndLabel(f"follows in {tau:g} days", last, float(end), colour)
            for tau, end, colour in zip(way.curve.tau_d, ratio[:, -1], (INK, TONES["blue"], INK), strict=True)
        ]
    )
