"""What more of the same light brings: gross photosynthesis as today's programme is scaled up and down."""

from __future__ import annotations

import numpy as np

from lightdose.judge.verdict import output_headroom
from lightdose.model.arrays import FloatArray
from lightdose.model.explaining import CoralReturn, DiminishingReturn
from lightdose.model.results import Analysis, Verdict
from lightdose.physics.photosynthesis import hours_at_pmax

STEPS = 50
"""The scale of output is divided so often; the hours are exact at every division."""

_HALVINGS = 50


def output_returns(analysis: Analysis) -> DiminishingReturn:
    """Hours at Pmax of every coral against overall output, over the Ek range of its group.

    Parameters
    ----------
    analysis : Analysis

    Returns
    -------
    DiminishingReturn
        Without corals where nothing runs today.

    Source
    ------
    Output scales light at every moment alike, so each point is the exact day under a scaled response; the
    output for nine tenths by bisection, since the hours rise with output.
    """
    headroom = output_headroom(analysis.setup.lit_fixtures)
    today = 1 / headroom
    output = np.linspace(0, 1, STEPS + 1)
    shown, left_out = [], []
    for verdict in sorted(analysis.verdicts, key=lambda v: -v.peak_ppfd_umol_m2_s):
        has_ek = analysis.setup.groups[verdict.group].ek_range is not None
        if has_ek and verdict.peak_ppfd_umol_m2_s > 0:
            shown.append(_coral_return(analysis, verdict, output, today))
        else:
            left_out.append(verdict.coral)
    return DiminishingReturn(output, today, tuple(shown), tuple(left_out))


def _coral_return(analysis: Analysis, verdict: Verdict, output: FloatArray, today: float) -> CoralReturn:
    group = analysis.setup.groups[verdict.group]
    assert group.ek_range is not None
    ends = (max(group.ek_range), min(group.ek_range))  # the high Ek gives the low hours

    def hours(scale: FloatArray, ek: float) -> FloatArray:
        """Hours at Pmax with today's light times each scale."""
        light = analysis.light_field.of("ppfd")[verdict.receiver]
        return hours_at_pmax(scale[:, None] * light, analysis.day_curve, ek, group.ek_model)

    low, high = (hours(output / today, ek) for ek in ends)
    marks = [hours(np.array([1.0, 1 / today, 0.5]), ek).tolist() for ek in ends]
    now, full, half = zip(*marks, strict=True)
    tenths = []
    for ek, (at_today, _, _) in zip(ends, marks, strict=True):
        below, above = 0.0, 1.0
        for _ in range(_HALVINGS):
            middle = 0.5 * (below + above)
            if hours(np.array([middle]), ek)[0] < 0.9 * at_today:
                below = middle
            else:
                above = middle
        tenths.append(above)
    return CoralReturn(
        coral=verdict.coral,
        group_name=verdict.group_name,
        site=verdict.site,
        receiver=verdict.receiver,
        ek_range=group.ek_range,
        ek_model=group.ek_model,
        ek_source=group.ek_source,
        ek_assumed=group.ek_assumed,
        hours_low=low,
        hours_high=high,
        today_h=now,
        full_h=full,
        half_h=half,
        for_nine_tenths=(min(tenths), max(tenths)),
        above_saturation_h=verdict.hours_above_saturation_h,
        beyond_saturation_fraction=verdict.photons_beyond_saturation_fraction,
    )
