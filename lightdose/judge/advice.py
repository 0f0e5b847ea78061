"""One sentence of advice for a coral, in plain words: by how much, which way, what would do it."""

from __future__ import annotations

import math

from lightdose.model.record import dataclass
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


@dataclass(frozen=True)
class Case:
    """What is known of a coral's light when advice is given.

    Attributes
    ----------
    dli_mol_m2_d, band_dli : the coral's dose and the usual one. [mol m-2 d-1]
    brightest_hour_umol_m2_s, band_peak : the brightest hour and the midday band. [umol m-2 s-1]
    photoperiod_h, peak_umol_m2_s : length and highest PPFD of its day
    headroom : how many times all channels could rise before one runs at full
    shared_level : highest level of the day where all channels that run share one and dim in proportion, 0-1
    better_sites : free sites in the band, best first
    floor_harm : what a published trial saw near the group's floor; quoted for "far_below"
    previous_mol_m2_d : the dose the coral came from, where the keeper states it
    own_band : whether the keeper set the band for this coral
    """

    state: DliState
    dli_mol_m2_d: float
    band_dli: tuple[float, float] | None
    peak_state: PeakState | None
    brightest_hour_umol_m2_s: float
    band_peak: tuple[float, float] | None
    photoperiod_h: float
    peak_umol_m2_s: float
    headroom: float
    shared_level: float | None = None
    better_sites: tuple[Neighbour, ...] = ()
    floor_harm: str = ""
    previous_mol_m2_d: float | None = None
    own_band: bool = False


def advice_sentence(case: Case) -> str:
    """What the coral gets, how that stands to the usual amount, and what would bring it there.

    Only a high brightest hour is spoken of: a dim long day is fine.

    Returns
    -------
    str
        One sentence.

    Source
    ------
    Weekly steps of 10 % above a rise of 25 %: common practice, no published source. Factors by arithmetic.
    """
    if case.state == "not_judged" or case.band_dli is None:
        gets = plain(case.dli_mol_m2_d)
        return f"Gets {gets} mol/m2/day; this group lives without light, so no amount is usual."
    low, high = case.band_dli
    usual = f"{'your own' if case.own_band else 'the usual'} {low:g}-{high:g}"
    if case.state in ("below", "far_below"):
        text = _raise(case, low, usual)
        if case.state == "far_below" and case.floor_harm:
            text += f"; {case.floor_harm}"
    elif case.state == "within":
        text = f"{_gets(case)}, within {usual}{_stay(case)}"
    else:
        text = _lower(case, high, usual)
    if case.peak_state == "high" and case.band_peak is not None:
        text += (
            f"; its brightest hour, {plain(case.brightest_hour_umol_m2_s)} umol/m2/s, is above the usual "
            f"{case.band_peak[0]:g}-{case.band_peak[1]:g} at midday"
        )
        if case.state == "within":
            text += ", so watch it: a dimmer, longer day gives the same dose"
    return text + "."


def _gets(case: Case) -> str:
    shown = plain(case.dli_mol_m2_d)
    if case.band_dli is not None:
        shown = beside_edges(case.dli_mol_m2_d, case.band_dli)
    return f"Gets {shown} mol/m2/day"


def _stay(case: Case) -> str:
    """Leave a coral within its band, unless it came from much less light."""
    before = case.previous_mol_m2_d
    if before and case.dli_mol_m2_d > before * (1 + STEP_ABOVE_RISE):
        return f", but came from {plain(before)}: bring it up {_in_steps(case.dli_mol_m2_d / before)}"
    return ": leave it as it is"


def _raise(case: Case, low: float, usual: str) -> str:
    dli = case.dli_mol_m2_d
    if dli <= 0:
        return f"Gets no light, against {usual}: {_or_move('light it', case)}"
    factor = rounded_up(low / dli)
    lead = f"{_gets(case)}, {share_words((low - dli) / low)} below {usual}"
    steps = f" ({_in_steps(low / dli)})" if low / dli > 1 + STEP_ABOVE_RISE else ""
    if factor <= case.headroom:
        remedy = f"raise its light {factor:g} times{_levels(case.shared_level, factor)}{steps}"
        return f"{lead}: {_or_move(remedy, case)}"
    if case.headroom >= 1.05:
        reach = rounded_down(case.headroom)
        remedy = f"all channels together go only {reach:g} times higher, and it needs {factor:g}"
    else:
        remedy = f"it needs {factor:g} times the light and a channel already runs at full"
    hours = _longer_day(low - dli, case.photoperiod_h, case.peak_umol_m2_s)
    longer = f" or hold the plateau {hours:g} h longer" if hours is not None else ""
    return f"{lead}: {remedy}, so {_or_move(f'lower the fixture{longer}{steps}', case)}"


def _lower(case: Case, high: float, usual: str) -> str:
    factor = rounded_down(high / case.dli_mol_m2_d)
    remedy = f"dim its light to {factor:g} of today{_levels(case.shared_level, factor)}, shade it"
    moved = _or_move(remedy, case) if case.better_sites else f"{remedy}, or move it"
    return f"{_gets(case)}, {excess_words(case.dli_mol_m2_d / high)} {usual}: {moved}"


def _levels(shared_level: float | None, factor: float) -> str:
    """Today's level and the new one, where one number says it."""
    if shared_level is None:
        return ""
    return f", all channels from {100 * shared_level:g} to {100 * shared_level * factor:.3g} %"


def _or_move(remedies: str, case: Case) -> str:
    """The remedies, and up to two free sites with the dose there."""
    if not case.better_sites:
        return remedies
    named = " or ".join(f"{n.site} ({plain(n.dli_mol_m2_d)})" for n in case.better_sites[:2])
    return f"{remedies}, or move it to {named}"


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


def rounded_up(factor: float) -> float:
    """A factor above 1 to two figures, away from 1, so that following it reaches the band.

    Parameters
    ----------
    factor : float
        Above 1.

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

    Source
    ------
    Our choice of rounding.
    """
    if factor >= 1:
        return math.floor(factor * 10 + 1e-9) / 10
    scale = 10.0 ** (1 - math.floor(math.log10(factor)))
    return math.floor(factor * scale + 1e-9) / scale
