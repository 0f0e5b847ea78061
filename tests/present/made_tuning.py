"""Tunings made by hand: what prints is tested apart from the fit."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from present.made_analysis import made_analysis

from lightdose.model.advice import FreePlace, OverallChange, Unserved
from lightdose.model.plans import ChannelSetting, CoralChange, DayShape, TuneWishes, Tuning
from lightdose.model.results import Analysis

UNSERVED: Final = (Unserved("stag [/]", (FreePlace("B1", 5.2), FreePlace("B2", 6.1))), Unserved("mush", ()))


def scaled(analysis: Analysis, factor: float) -> Analysis:
    """The same corals with so many times the dose, judged anew against their bands."""
    verdicts = []
    for v in analysis.verdicts:
        dli = factor * v.dli_mol_m2_d
        state = v.dli_state
        if v.band_dli is not None:
            state = "below" if dli < v.band_dli[0] else "above" if dli > v.band_dli[1] else "within"
        verdicts.append(replace(v, dli_mol_m2_d=dli, dli_state=state))
    return replace(analysis, verdicts=tuple(verdicts))


def made_tuning(factor: float = 1.4, unserved: tuple[Unserved, ...] = ()) -> Tuning:
    """Today's made analysis, and the same with every dose times a factor."""
    before = made_analysis()
    after = scaled(before, factor)
    return Tuning(
        wishes=TuneWishes(),
        before=before,
        after=after,
        day_before=DayShape(8.5, 3.0, 5.0, 3.5),
        day_after=DayShape(20.0, 3.0, 6.0, 3.5),
        channels=(
            ChannelSetting("left [x]", "blue", 0.4, 0.466),
            ChannelSetting("left [x]", "red", 0.4, 0.0, "off as asked"),
        ),
        corals=tuple(CoralChange(b, a) for b, a in zip(before.verdicts, after.verdicts, strict=True)),
        dials=(OverallChange("left [x]", 46.0, 38.0),),
        unserved=unserved,
    )
