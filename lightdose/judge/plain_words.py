"""What a coral gets, in plain words: how much, and how that stands to what is usual."""

from __future__ import annotations

import math

from lightdose.model.results import Verdict

STEP_ABOVE_RISE = 0.25
"""A rise above this share is made in weekly steps of 10 %: common practice, no published source."""

LONGEST_DAY_H = 14.0
"""No advice lights a day longer than this: our choice, as in the caution on long days."""

_SHARES = (
    (0.075, "about a twentieth"),
    (0.135, "about a tenth"),
    (0.175, "about a seventh"),
    (0.22, "about a fifth"),
    (0.29, "about a quarter"),
    (0.415, "about a third"),
    (0.58, "about half"),
    (0.71, "about two thirds"),
    (0.9, "about three quarters"),
)


def light_sentence(
    verdict: Verdict, *, own_band: bool = False, floor_harm: str = "", previous_mol_m2_d: float | None = None
) -> str:
    """What a coral gets and how that stands to the usual amount; what to do is for the whole tank to say.

    Only a high brightest hour is spoken of: a dim long day is fine.

    Parameters
    ----------
    verdict : Verdict
    own_band : bool
        Whether the keeper set the band for this coral.
    floor_harm : str
        What a published trial saw near the group's floor; quoted for "far below".
    previous_mol_m2_d : float or None
        The dose that the coral came from, where the keeper states it. [mol m-2 d-1]

    Returns
    -------
    str
        One sentence.

    Source
    ------
    Weekly steps of 10 % above a rise of 25 %: common practice, no published source. Factors by arithmetic.
    """
    dli = verdict.dli_mol_m2_d
    if verdict.band_dli is None:
        return f"Gets {plain(dli)} mol/m2/day; this group lives without light, so no amount is usual."
    low, high = verdict.band_dli
    usual = f"{'your own' if own_band else 'the usual'} {low:g}-{high:g}"
    where = f" {verdict.by_light}" if verdict.by_light else ""
    gets = f"Gets {beside_edges(dli, verdict.band_dli)} mol/m2/day{where}"
    if dli <= 0:
        text = f"Gets no light{where}, against {usual}"
    elif dli < low:
        text = f"{gets}, {share_words((low - dli) / low)} below {usual}"
    elif dli > high:
        text = f"{gets}, {excess_words(dli / high)} {usual}"
    else:
        text = f"{gets}, within {usual}"
        if previous_mol_m2_d and dli > previous_mol_m2_d * (1 + STEP_ABOVE_RISE):
            steps = in_steps(dli / previous_mol_m2_d)
            text += f", but came from {plain(previous_mol_m2_d)}: bring it up {steps}"
    if verdict.dli_state == "far_below" and floor_harm:
        text += f"; {floor_harm}"
    if verdict.peak_state == "high" and verdict.band_peak is not None:
        least, most = verdict.band_peak
        text += (
            f"; its brightest hour, {plain(verdict.brightest_hour_ppfd_umol_m2_s)} umol/m2/s, is above the "
            f"usual {least:g}-{most:g} at midday"
        )
        if verdict.dli_state == "within":
            text += ", so watch it: a dimmer, longer day gives the same dose"
    return f"{text}."


def in_steps(factor: float) -> str:
    """Weekly steps of 10 % until a factor above 1 is reached.

    Source
    ------
    Common practice, no published source.
    """
    weeks = math.ceil(math.log(factor) / math.log(1.1) - 1e-9)
    return f"in steps of 10 % a week, {count_weeks(weeks)}"


def count_weeks(weeks: int) -> str:
    """A number of weeks in words."""
    return f"{weeks} week{'' if weeks == 1 else 's'}"


def share_words(share: float) -> str:
    """How far below, in words: 0.22 is "about a quarter".

    Parameters
    ----------
    share : float
        Missing share of the lower edge, 0-1.

    Source
    ------
    Our choice of words; each stands for the shares nearest to it.
    """
    if share < 0.03:
        return "just"
    for limit, words in _SHARES:
        if share <= limit:
            return words
    return "far"


def excess_words(ratio: float) -> str:
    """How far above, in words: 1.33 is "about a third above", 2.5 is "2.5 times".

    Parameters
    ----------
    ratio : float
        Dose over the upper edge, above 1.

    Source
    ------
    Our choice of words.
    """
    if ratio < 1.9:
        return f"{share_words(ratio - 1)} above"
    return f"{plain(ratio)} times the high end of"


def plain(value: float) -> str:
    """A number as people say it: two figures below 10, whole numbers above 100, never an exponent.

    Parameters
    ----------
    value : float
        Not negative.

    Source
    ------
    Our choice: the light itself is seldom known to better than 5 %.
    """
    if value == 0:
        return "0"
    if value < 0.001:
        return "under 0.001"
    decimals = 0 if value >= 99.5 else max(0, 1 - math.floor(math.log10(value)))
    decimals = max(decimals, 1) if value < 99.5 else 0
    return f"{value:.{decimals}f}"


def beside_edges(value: float, band: tuple[float, float]) -> str:
    """The number with as many figures as keep it on its own side of both edges of a band.

    Parameters
    ----------
    value : float
        [mol m-2 d-1]
    band : (low, high)
        [mol m-2 d-1]

    Source
    ------
    Our choice: 7.96 beside a band from 8 must not print as 8.0.
    """
    text = plain(value)
    for decimals in range(1, 7):
        try:
            shown = float(text)
        except ValueError:
            return text
        if all((shown < edge) == (value < edge) and (shown > edge) == (value > edge) for edge in band):
            return text
        text = f"{value:.{decimals}f}"
    return text


def rounded_down(factor: float) -> float:
    """A factor to two figures, towards 0, so that following it stays under the limit.

    Parameters
    ----------
    factor : float
        Above 0.

    Source
    ------
    Our choice of rounding.
    """
    if factor >= 1:
        return math.floor(factor * 10 + 1e-9) / 10
    scale = 10.0 ** min(1 - math.floor(math.log10(factor)), 300)  # what is smaller is 0
    return math.floor(factor * scale + 1e-9) / scale
