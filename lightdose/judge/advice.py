"""One sentence of advice for a coral, in plain words: by how much, which way, what would do it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from lightdose.model.results import DliState, PeakState
from lightdose.quantities import MOL_PER_UMOL_S_H

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


@dataclass(frozen=True)
class Neighbour:
    """A free site and the dose that the coral would get there. [mol m-2 d-1]"""

    site: str
    dli_mol_m2_d: float


def advice_sentence(
    *,
    state: DliState,
    dli_mol_m2_d: float,
    band_dli: tuple[float, float] | None,
    peak_state: PeakState | None,
    brightest_hour_umol_m2_s: float,
    band_peak: tuple[float, float] | None,
    photoperiod_h: float,
    peak_umol_m2_s: float,
    headroom: float,
    better_sites: tuple[Neighbour, ...] = (),
    floor_harm: str = "",
    previous_mol_m2_d: float | None = None,
    own_band: bool = False,
    shared_level: float | None = None,
) -> str:
    """What the coral gets, how that stands to the usual amount, and what would bring it there.

    Parameters
    ----------
    state : str
        The dose's state.
    dli_mol_m2_d : float
        The coral's dose. [mol m-2 d-1]
    band_dli : (low, high) or None
        Usual dose. [mol m-2 d-1]
    peak_state, brightest_hour_umol_m2_s, band_peak
        The brightest hour against the midday band; only "high" is spoken of. [umol m-2 s-1]
    photoperiod_h : float
        [h]
    peak_umol_m2_s : float
        Highest PPFD of the day. [umol m-2 s-1]
    headroom : float
        How many times all channels could rise before one runs at full.
    better_sites : tuple of Neighbour
        Free sites in the band, best first.
    floor_harm : str
        What a published trial saw near the group's floor; quoted for "far_below".
    previous_mol_m2_d : float or None
        The dose the coral came from, where the keeper states it. [mol m-2 d-1]
    own_band : bool
        Whether the keeper set the band for this coral.
    shared_level : float or None
        Highest level of the day where all channels that run share one and dim in proportion, 0-1.

    Returns
    -------
    str

    Source
    ------
    Weekly steps of 10 % above a rise of 25 %: common practice, no published source. Factors by arithmetic.
    """
    if state == "not_judged" or band_dli is None:
        return (
            f"Gets {plain(dli_mol_m2_d)} mol/m2/day; this group lives without light, so no amount is usual."
        )
    low, high = band_dli
    usual = f"{'your own' if own_band else 'the usual'} {low:g}-{high:g}"
    shown = beside_edges(dli_mol_m2_d, band_dli)
    if state in ("below", "far_below"):
        text = _raise_sentence(
            dli_mol_m2_d,
            shown,
            low,
            usual,
            headroom,
            photoperiod_h,
            peak_umol_m2_s,
            better_sites,
            shared_level,
        )
        if state == "far_below" and floor_harm:
            text += f"; {floor_harm}"
    elif state == "within":
        text = f"Gets {shown} mol/m2/day, within {usual}: leave it as it is"
        if previous_mol_m2_d and dli_mol_m2_d > previous_mol_m2_d * (1 + STEP_ABOVE_RISE):
            text = (
                f"Gets {shown} mol/m2/day, within {usual}, but came from {plain(previous_mol_m2_d)}: "
                f"bring it up {_in_steps(dli_mol_m2_d / previous_mol_m2_d)}"
            )
    else:
        text = _lower_sentence(dli_mol_m2_d, shown, high, usual, better_sites, shared_level)
    if peak_state == "high" and band_peak is not None:
        text += (
            f"; its brightest hour, {plain(brightest_hour_umol_m2_s)} umol/m2/s, is above the usual "
            f"{band_peak[0]:g}-{band_peak[1]:g} at midday"
        )
        if state == "within":
            text += ", so watch it: a dimmer, longer day gives the same dose"
    return text + "."


def _raise_sentence(
    dli: float,
    shown: str,
    low: float,
    usual: str,
    headroom: float,
    photoperiod_h: float,
    peak: float,
    better: tuple[Neighbour, ...],
    shared_level: float | None,
) -> str:
    if dli <= 0:
        return f"Gets no light, against {usual}: {_or_move('light it', better)}"
    factor = rounded_up(low / dli)
    lead = f"Gets {shown} mol/m2/day, {share_words((low - dli) / low)} below {usual}"
    steps = f" ({_in_steps(low / dli)})" if low / dli > 1 + STEP_ABOVE_RISE else ""
    if factor <= headroom:
        way = f"raise its light {factor:g} times{_levels(shared_level, factor)}{steps}"
        return f"{lead}: {_or_move(way, better)}"
    if headroom >= 1.05:
        way = (
            f"all channels together go only {rounded_down(headroom):g} times higher, and it needs {factor:g}"
        )
    else:
        way = f"it needs {factor:g} times the light and a channel already runs at full"
    hours = _longer_day(low - dli, photoperiod_h, peak)
    longer = f" or hold the plateau {hours:g} h longer" if hours is not None else ""
    return f"{lead}: {way}, so {_or_move(f'lower the fixture{longer}{steps}', better)}"


def _lower_sentence(
    dli: float,
    shown: str,
    high: float,
    usual: str,
    better: tuple[Neighbour, ...],
    shared_level: float | None,
) -> str:
    factor = rounded_down(high / dli)
    lead = f"Gets {shown} mol/m2/day, {excess_words(dli / high)} {usual}"
    way = f"dim its light to {factor:g} of today{_levels(shared_level, factor)}, shade it"
    return f"{lead}: {_or_move(way, better)}"


def _levels(shared_level: float | None, factor: float) -> str:
    """Today's level and the new one, where one number says it."""
    if shared_level is None:
        return ""
    return f", all channels from {100 * shared_level:g} to {100 * shared_level * factor:.3g} %"


def _or_move(ways: str, better: tuple[Neighbour, ...]) -> str:
    if not better:
        return f"{ways}, or move it" if ways.startswith("dim") else ways
    named = " or ".join(f"{n.site} ({plain(n.dli_mol_m2_d)})" for n in better[:2])
    return f"{ways}, or move it to {named}"


def _longer_day(missing: float, photoperiod_h: float, peak: float) -> float | None:
    """Plateau hours that make up the missing dose, in quarters; None where the day would grow too long."""
    hours = math.ceil(4 * missing / (MOL_PER_UMOL_S_H * peak)) / 4
    return hours if photoperiod_h + hours <= LONGEST_DAY_H else None


def _in_steps(factor: float) -> str:
    """Weekly steps of 10 % until the factor is reached."""
    weeks = math.ceil(math.log(factor) / math.log(1.1) - 1e-9)
    return f"in steps of 10 % a week, {weeks} weeks"


def share_words(share: float) -> str:
    """How far below, in words: 0.22 is "about a quarter".

    Parameters
    ----------
    share : float
        Missing share of the lower edge, 0-1.

    Returns
    -------
    str

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

    Returns
    -------
    str

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

    Returns
    -------
    str

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

    Returns
    -------
    str

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


def rounded_up(factor: float) -> float:
    """A factor above 1 to two figures, away from 1, so that following it reaches the band.

    Parameters
    ----------
    factor : float
        Above 1.

    Returns
    -------
    float

    Source
    ------
    Our choice of rounding.
    """
    step = 0.01 if factor < 1.1 else 0.05 if factor < 1.5 else 0.1 if factor < 10 else 1.0
    return round(math.ceil(factor / step - 1e-9) * step, 2)


def rounded_down(factor: float) -> float:
    """A factor to two figures, towards 0, so that following it stays under the limit.

    Parameters
    ----------
    factor : float
        Above 0.

    Returns
    -------
    float

    Source
    ------
    Our choice of rounding.
    """
    if factor >= 1:
        return math.floor(factor * 10 + 1e-9) / 10
    scale = 10.0 ** (1 - math.floor(math.log10(factor)))
    return math.floor(factor * scale + 1e-9) / scale
