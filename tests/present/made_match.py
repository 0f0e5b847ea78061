"""Matches made by hand: what prints is tested apart from the fit."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np
from present.made_analysis import made_analysis

from lightdose.model.light import ChannelKey
from lightdose.model.match import Match, MatchedChannel, PairMatch, UnmatchedBand
from lightdose.model.results import Basis

LONG: Final = "$x_1$ ünï 😀 [/] " + "nam e" * 38
READ: Final = Basis("measured", "Measured: 8 readings.")
SHEET: Final = Basis("data sheet", "Unmeasured: data sheet.")


def made_pair(here: str, there: str, factor: float) -> PairMatch:
    """A pair that gets so many times the dose wanted, without the red of 660 nm."""
    wanted = np.zeros(50)
    wanted[14:18], wanted[36] = 1.0, 0.5
    got = np.zeros(50)
    got[14:18] = 1.125 * factor
    return PairMatch(here, there, 4.5, 4.5 * factor, 2.0, 150.0, 150.0 * factor, wanted, got)


def made_match(*pairs: PairMatch, here: Basis = SHEET, there: Basis = SHEET, reached: bool = True) -> Match:
    """A match of these pairs between tanks that stand on ``here`` and ``there``."""
    factors = [p.factor for p in pairs]
    keys = [("lamp", "blue 450"), ("lamp", LONG)]
    return Match(
        here=replace(made_analysis(title="shop (invented)"), basis=here),
        there=replace(made_analysis(title="customer (invented)"), basis=there),
        pairs=pairs,
        common_factor=float(np.exp(np.mean(np.log(factors)))),
        spread=(min(factors), max(factors)),
        reached=reached,
        other_colour=0.111,
        colour_drift=0.0,
        unmatched=(UnmatchedBand(660.0, 670.0, 0.111, 1.0),),
        channels=tuple(
            MatchedChannel(ChannelKey(*k), o, o, o == 1) for k, o in zip(keys, (1.0, 0.0), strict=True)
        ),
        programmes={},
    )


MATCHES: Final = {
    "one pair": made_match(made_pair("ridge", "rock", 1.0)),
    "two pairs": made_match(made_pair("ridge", "rock", 1.25), made_pair("sand", "floor", 0.8)),
    "many pairs": made_match(*(made_pair(f"a{i}", f"b{i}", 1.0) for i in range(9))),
    "long names": made_match(made_pair(LONG, "W" * 200, 1.0)),
    "not reached": made_match(made_pair("ridge", "rock", 0.4), reached=False),
}
