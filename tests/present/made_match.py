"""Matches made by hand: what prints is tested apart from the fit."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np
from present.made_analysis import made_analysis

from lightdose.model.light import ChannelKey
from lightdose.model.match import Kept, Match, MatchedChannel, MatchedLight, PairMatch, UnmatchedBand
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


def made_light(*pairs: PairMatch, reached: bool = True, look_off: float = 0.01) -> MatchedLight:
    """A setting of these pairs, so far off in look; the nearer the look, the further the spectrum."""
    factors = [p.factor for p in pairs]
    keys = [("lamp", "blue 450"), ("lamp", LONG)]
    return MatchedLight(
        pairs=pairs,
        common_factor=float(np.exp(np.mean(np.log(factors)))),
        spread=(min(factors), max(factors)),
        reached=reached,
        xy=(0.16 + look_off, 0.05),
        look_off=look_off,
        spectrum_off=0.3 - look_off,
        other_colour=0.111,
        unmatched=(UnmatchedBand(660.0, 670.0, 0.111, 1.0),),
        channels=tuple(
            MatchedChannel(ChannelKey(*k), o, o, o == 1, o) for k, o in zip(keys, (1.0, 0.0), strict=True)
        ),
        programmes={},
    )


def made_match(
    *lights: MatchedLight, here: Basis = SHEET, there: Basis = SHEET, keep: Kept = "look"
) -> Match:
    """A match between tanks that stand on ``here`` and ``there``."""
    return Match(
        here=replace(made_analysis(title="shop (invented)"), basis=here),
        there=replace(made_analysis(title="customer (invented)"), basis=there),
        keep=keep,
        here_xy=(0.16, 0.05),
        today_xy=(0.3, 0.3),
        front=lights,
        colour_drift=0.0,
    )


ONE: Final = made_pair("ridge", "rock", 1.0)
MATCHES: Final = {
    "one pair": made_match(made_light(ONE)),
    "two pairs": made_match(made_light(made_pair("ridge", "rock", 1.25), made_pair("sand", "floor", 0.8))),
    "many pairs": made_match(made_light(*(made_pair(f"a{i}", f"b{i}", 1.0) for i in range(9)))),
    "long names": made_match(made_light(made_pair(LONG, "W" * 200, 1.0))),
    "not reached": made_match(made_light(made_pair("ridge", "rock", 0.4), reached=False)),
    "look or spectrum": made_match(*(made_light(ONE, look_off=off) for off in (0.01, 0.05, 0.2))),
    "the spectrum": made_match(*(made_light(ONE, look_off=off) for off in (0.01, 0.2)), keep="spectrum"),
}
