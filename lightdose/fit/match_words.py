"""What a match stands on, and what to mind when it is set."""

from __future__ import annotations

from collections.abc import Sequence

from lightdose.model.matching import ChannelSetting, PairMatch
from lightdose.model.results import Analysis, Basis, Caution

DRIFT_SAID = 0.05
"""Colour that changes less than this through the day is not spoken of. Our choice."""

UNEVEN = 1.10
RISE_SAID = 1.10
NAMED = 5
OUR_CHOICE = "our choice"


def match_basis(here: Basis, there: Basis) -> str:
    """The first line: on what each side stands, and to measure first where a side does not stand on readings.

    Parameters
    ----------
    here, there : Basis

    Returns
    -------
    str

    Source
    ------
    Our wording.
    """
    sides = f"Here: {here.sentence} There: {there.sentence}"
    if here.key == there.key == "measured":
        return sides
    which = [name for name, basis in (("here", here), ("there", there)) if basis.key != "measured"]
    return f"Measure first, {' and '.join(which)}: a match is no better than its weaker side. {sides}"


def match_cautions(
    there: Analysis,
    matched: Sequence[PairMatch],
    settings: Sequence[ChannelSetting],
    reached: bool,
    colour_drift: float,
) -> tuple[Caution, ...]:
    """What the match cannot give, and how to bring it in.

    Parameters
    ----------
    there : Analysis
    matched : sequence of PairMatch
    settings : sequence of ChannelSetting
    reached : bool
        Whether the doses are equal.
    colour_drift : float
        Share of the photons here that changes its channel through the day.

    Returns
    -------
    tuple of Caution

    Source
    ------
    Our wording and thresholds; weekly rise: common practice, no published rule per week.
    """
    found = []
    limited = [s.key.channel for s in settings if s.at_limit]
    if not reached:
        at = f" with {_names(limited)} at full output" if limited else ""
        found.append(
            Caution(
                "dose_not_reached",
                f"The dose cannot be reached{at}: a lower fixture, a longer day or a higher place helps.",
                OUR_CHOICE,
            )
        )
    elif limited:
        found.append(Caution("channel_at_limit", f"At full output: {_names(limited)}.", OUR_CHOICE))
    factors = [m.factor for m in matched]
    if max(factors) / min(factors) > UNEVEN:
        low, high = min(matched, key=lambda m: m.factor), max(matched, key=lambda m: m.factor)
        found.append(
            Caution(
                "uneven",
                f"The light falls otherwise there: {low.there!r} gets {low.factor:.2f} and {high.there!r} "
                f"{high.factor:.2f} times its dose. Another place for one of them evens it out.",
                OUR_CHOICE,
            )
        )
    dark = [f for f, on in _running(settings).items() if not on]
    if dark:
        found.append(
            Caution(
                "fixture_off",
                f"{_names(dark)} {'stays' if len(dark) == 1 else 'stay'} off: the places below get less "
                "light.",
                OUR_CHOICE,
            )
        )
    if colour_drift > DRIFT_SAID:
        found.append(
            Caution(
                "colour_of_the_day",
                f"Here the colour changes through the day (up to {100 * colour_drift:.0f} % of the photons "
                "change their channel); there every hour has the day's mean colour.",
                OUR_CHOICE,
            )
        )
    rising = [m for m in matched if m.dli_got > RISE_SAID * m.dli_before]
    if rising:
        most = max(rising, key=lambda m: m.dli_got / max(m.dli_before, 1e-12))
        times = f"{most.dli_got / most.dli_before:.1f} times" if most.dli_before > 0 else "light after none,"
        found.append(
            Caution(
                "bring_it_in_slowly",
                f"{most.there!r} gets {times} what it gets there today: bring it in by steps, "
                f"`lightdose acclimate` from {there.setup.path} to the new programme.",
                "common practice, no published rule per week",
            )
        )
    found.append(
        Caution(
            "only_these_places",
            "Only the named places were matched: run `lightdose dose` on the other tank with the new "
            "schedule, and read one of them with a meter.",
            OUR_CHOICE,
        )
    )
    return tuple(found)


def _running(settings: Sequence[ChannelSetting]) -> dict[str, bool]:
    """Whether any channel of a fixture runs."""
    running: dict[str, bool] = {}
    for setting in settings:
        running[setting.key.fixture] = running.get(setting.key.fixture, False) or setting.output > 0
    return running


def _names(names: Sequence[str]) -> str:
    kept = list(dict.fromkeys(names))
    shown = ", ".join(repr(n) for n in kept[:NAMED])
    return shown + (f" and {len(kept) - NAMED} more" if len(kept) > NAMED else "")
