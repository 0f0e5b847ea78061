"""The colour of a mix of light in words: "nearly all blue: 94 % between 400 and 500 nm"."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Final

from lightdose.present.labels import percent
from lightdose.quantities import BANDS

NEARLY_ALL: Final = 0.9
MOSTLY: Final = 0.6
SHARED: Final = 0.15
"""From these shares of PPFD on a band gives the mix its name, or is named as a part of it: our choice."""

_BANDS: Final = {band.key: band for band in BANDS}
_VISIBLE: Final = ("blue", "green", "red")
NO_LIGHT: Final = "no light"


def colour_name(shares: Mapping[str, float]) -> str:
    """The mix in a word or three: "nearly all blue", "mostly blue", "mixed, most of it green"."""
    first = _strongest(shares)
    if first is None:
        return NO_LIGHT
    if shares[first] >= NEARLY_ALL:
        return f"nearly all {first}"
    return f"mostly {first}" if shares[first] >= MOSTLY else f"mixed, most of it {first}"


def mix_words(shares: Mapping[str, float]) -> str:
    """The name of the mix, its strongest band with its edges, and the other bands that count in it.

    ``shares`` are photons of each band per photon of 400-700 nm, NaN where there is no light.
    """
    first = _strongest(shares)
    if first is None:
        return NO_LIGHT
    band = _BANDS[first]
    words = f"{colour_name(shares)}: {percent(shares[first])} between {band.low_nm:g} and {band.high_nm:g} nm"
    others = [f"{percent(shares[key])} {key}" for key in _VISIBLE if key != first and shares[key] >= SHARED]
    outside = [
        f"{percent(shares[key])} as many {_BANDS[key].name} beside them"
        for key in ("uv_a", "far_red")
        if shares.get(key, 0.0) >= SHARED
    ]
    return ", ".join([words, *others, *outside])


def _strongest(shares: Mapping[str, float]) -> str | None:
    if any(math.isnan(shares[key]) for key in _VISIBLE):
        return None
    return max(_VISIBLE, key=lambda key: shares[key])
