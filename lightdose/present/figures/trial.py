"""Dose and growth in a published trial, with the corals of a tank on the same scale."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from lightdose.answers.trial import beside_trial, trial_finding, trial_limits, trial_sentence
from lightdose.answers.words import DLI_UNIT, DLI_UNIT_TYPESET, percent
from lightdose.model.trial import GrowthTrial
from lightdose.present.figures.canvas import AXIS_IN, Drawing, Panel, Sheet, drawn
from lightdose.present.figures.fitting import fit
from lightdose.present.figures.style import (
    BAND_FILL,
    INK,
    LIMIT_FILL,
    QUIET_INK,
    SMALL_PT,
    TEXT_PT,
    TONES,
    Stroke,
)

GROWTH_LABEL: Final = "median growth [mg g⁻¹ d⁻¹]"
DOSE_LABEL: Final = f"dose in a day [{DLI_UNIT_TYPESET}]"
LINE: Final = Stroke(TONES["blue"], "solid", 1.8)
WIDTH_IN, LEFT_IN, RIGHT_IN = 7.4, 1.35, 0.35
NARROW_LEFT_IN: Final = 0.85
GROWTH_IN, LOSS_IN, TANK_IN, BETWEEN_IN = 1.9, 0.95, 0.3, 0.3


@drawn
def trial_drawing(trial: GrowthTrial, tanks: Sequence[tuple[str, Sequence[float]]]) -> Drawing:
    """Growth and loss of tissue against dose; below them every coral of each tank at its dose.

    ``tanks`` are names and doses, those without lit corals are left out. [mol m-2 d-1]
    """
    tanks = [(name, doses) for name, doses in tanks if doses]
    lead = (
        f"{trial.species} under {trial.means}: median growth over {trial.growth_days} days, and corals with "
        f"any loss of tissue by day {trial.tissue_loss_days}. Grey: not tried. {trial_limits(trial)}"
    ).replace(DLI_UNIT, DLI_UNIT_TYPESET)
    heights = [GROWTH_IN, LOSS_IN, *([TANK_IN] if tanks else [])]
    width, left = (fit().map_in, NARROW_LEFT_IN) if fit().narrow else (WIDTH_IN, LEFT_IN)
    sheet = Sheet(
        trial_finding(trial),
        lead,
        width,
        sum(heights) + BETWEEN_IN * (len(heights) - 1) + AXIS_IN + TANK_IN * (len(tanks) - 1 if tanks else 0),
    )
    wide, top = width - left - RIGHT_IN, sheet.top_in
    growth = sheet.panel(left, top, wide, GROWTH_IN, RIGHT_IN)
    top += GROWTH_IN + BETWEEN_IN
    loss = sheet.panel(left, top, wide, LOSS_IN, RIGHT_IN)
    top += LOSS_IN + BETWEEN_IN
    panels = [growth, loss]
    if tanks:
        panels.append(sheet.panel(left, top, wide, TANK_IN * len(tanks), RIGHT_IN))
    ends = dose_ends(trial, [dose for _, doses in tanks for dose in doses])
    for panel in panels:
        panel.log_axis("x", *ends)
        panel.grid()
        panel.axes.tick_params(labelbottom=panel is panels[-1])
    panels[-1].axes.set_xlabel(DOSE_LABEL, fontsize=TEXT_PT)
    _draw_growth(growth, trial)
    _draw_loss(loss, trial)
    if tanks:
        draw_tanks(panels[-1], tanks, SMALL_PT if fit().narrow else TEXT_PT)
    words = " ".join(filter(None, (beside_trial(trial, doses) for _, doses in tanks)))
    return sheet.drawing("dose-and-growth", f"{sheet.title}. {trial_sentence(trial)} {words}".rstrip())


def dose_ends(trial: GrowthTrial, doses: Sequence[float]) -> tuple[float, float]:
    """Ends of the scale of doses: the trial's, and those of the corals beyond them. [mol m-2 d-1]"""
    known = [*doses, *(light.dli_mol_m2_d for light in trial.lights)]
    return 0.7 * min(known), 1.5 * max(known)


def _draw_growth(panel: Panel, trial: GrowthTrial) -> None:
    """The medians, joined; what was not tried is shaded."""
    lights = trial.lights
    shade_untried(panel, trial)
    panel.axes.set_ylim(0, 1.25 * max(light.growth_mg_g_d for light in lights))
    panel.line([light.dli_mol_m2_d for light in lights], [light.growth_mg_g_d for light in lights], LINE)
    for light in lights:
        panel.mark(light.dli_mol_m2_d, light.growth_mg_g_d, "o", TONES["blue"], TONES["blue"])
        style: dict[str, Any] = {"ha": "right", "fontsize": SMALL_PT, "va": "bottom"}
        panel.note(light.dli_mol_m2_d, light.growth_mg_g_d, f"{light.growth_mg_g_d:g}", (-4, 3), **style)
    panel.axes.set_ylabel(GROWTH_LABEL, fontsize=SMALL_PT)


def shade_untried(panel: Panel, trial: GrowthTrial) -> None:
    """Grey beyond the trial's doses."""
    low, high = panel.axes.get_xlim()
    for start, end in ((low, trial.lights[0].dli_mol_m2_d), (trial.lights[-1].dli_mol_m2_d, high)):
        panel.axes.axvspan(start, end, color=LIMIT_FILL, linewidth=0, zorder=0)


def _draw_loss(panel: Panel, trial: GrowthTrial) -> None:
    """A bar a light: corals that lost tissue."""
    shade_untried(panel, trial)
    panel.axes.set_ylim(0, 100)
    panel.axes.set_yticks((0, 50, 100))
    for light in trial.lights:
        dose, share = light.dli_mol_m2_d, 100 * light.tissue_loss_fraction
        panel.axes.bar(
            dose, share, width=0.24 * dose, color=BAND_FILL, edgecolor=TONES["blue"], linewidth=0.9
        )
        panel.note(dose, share, percent(light.tissue_loss_fraction), (0, 3), ha="center", va="bottom")
    panel.axes.set_ylabel("corals that lost\ntissue [%]", fontsize=SMALL_PT)


def draw_tanks(panel: Panel, tanks: Sequence[tuple[str, Sequence[float]]], size_pt: float) -> None:
    """A row a tank with a tick for every coral at its dose."""
    panel.axes.set_ylim(len(tanks) - 0.5, -0.5)
    panel.axes.set_yticks(range(len(tanks)), [name for name, _ in tanks], fontsize=size_pt)
    panel.axes.tick_params(axis="y", length=0)
    panel.axes.grid(False, axis="y")
    for row, (_, doses) in enumerate(tanks):
        panel.axes.vlines(doses, row - 0.32, row + 0.32, color=INK, linewidth=1.1, alpha=0.75)
        panel.axes.hlines(row, doses[0], doses[-1], color=QUIET_INK, linewidth=0.8)
