"""`match` in words: what each pair gets, what to set, what the other light cannot give."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TextIO

from lightdose.answers.verdicts import SINGLE_VALUES
from lightdose.model.matching import ChannelSetting, Match, PairMatch, UnmatchedBand
from lightdose.present.labels import DLI_UNIT, PPFD_UNIT, count, literal, number
from lightdose.present.tables import Column, print_table, say, terminal_console

NAMED = 6
UNEVEN = 1.10
"""Pairs that stand further apart than this are matched in the mean only. Our choice."""


def headline(match: Match) -> str:
    """How near the other tank comes, in one sentence."""
    if not match.reached:
        return f"The other tank reaches {100 * match.common_factor:.0f} % of the dose."
    if len(match.pairs) == 1:
        pair = match.pairs[0]
        there, here = literal(pair.there), literal(pair.here)
        same = f"{there!r} gets the dose of {here!r}, {number(pair.dli_got)} {DLI_UNIT}"
    else:
        low, high = match.spread
        pairs = count(len(match.pairs), "pair")
        same = f"{pairs} get the same dose in the mean, each {low:.2f} to {high:.2f} of its own"
    return f"{same}, {colour_words(match)}."


def colour_words(match: Match) -> str:
    """How much of the light is of another colour."""
    if match.other_colour < 1e-3:
        return "in the same colour"
    return f"with {100 * match.other_colour:.1f} % of the photons in other colours"


def unmatched_sentence(match: Match) -> str:
    """Which 10 nm bands are missing, neighbours together, the largest first; empty where all is there."""
    if not match.unmatched:
        return ""
    runs = _runs(match.unmatched)
    parts = []
    for run in runs[:NAMED]:
        share = sum(b.share for b in run)
        of_band = share / sum(b.share / b.of_band for b in run)
        gone = "missing" if of_band > 0.98 else f"{100 * of_band:.0f} % short"
        parts.append(
            f"{run[0].low_nm:.0f}-{run[-1].high_nm:.0f} nm {gone} ({100 * share:.1f} % of the photons)"
        )
    more = f", and {len(runs) - NAMED} smaller" if len(runs) > NAMED else ""
    return f"Cannot be matched: {'; '.join(parts)}{more}."


def _runs(bands: Sequence[UnmatchedBand]) -> list[list[UnmatchedBand]]:
    runs: list[list[UnmatchedBand]] = []
    for band in bands:
        if runs and runs[-1][-1].high_nm == band.low_nm:
            runs[-1].append(band)
        else:
            runs.append([band])
    return sorted(runs, key=lambda run: -sum(b.share for b in run))


def closing_sentence(match: Match) -> str:
    """The verdict."""
    if not match.reached:
        return f"Not matched: {100 * match.common_factor:.0f} % of the dose, {colour_words(match)}."
    low, high = match.spread
    how = f" in the mean only ({low:.2f} to {high:.2f})" if high / low > UNEVEN else ""
    if match.measure_first:
        return f"Matched on paper{how}, {colour_words(match)}: measure before you rely on it."
    return f"Matched{how}, {colour_words(match)}."


def match_lines(match: Match) -> Iterator[str]:
    """The answer for pipes: one record a line, fields parted by tabs."""
    yield f"{literal(match.basis_sentence)} {SINGLE_VALUES}"
    yield headline(match)
    for pair in match.pairs:
        yield "\t".join(literal(f) for f in _pair_fields(pair))
    for setting in match.channels:
        yield "\t".join(literal(f) for f in _setting_fields(setting))
    if sentence := unmatched_sentence(match):
        yield sentence
    for caution in match.cautions:
        yield f"caution {literal(caution.text)}\tsource {literal(caution.source)}"
    yield closing_sentence(match)


def show_match(match: Match, stream: TextIO, *, colour: bool, width: int | None = None) -> None:
    """Print `match` for people: pairs, settings, what is missing, cautions, the verdict last."""
    console = terminal_console(stream, colour=colour, width=width)
    say(console, f"{literal(match.basis_sentence)} {SINGLE_VALUES}", "italic")
    say(console, headline(match))
    say(console, "\nThe places", "bold")
    print_table(console, _pair_columns(match.pairs), [False] * len(match.pairs), indispensable=4)
    say(console, "\nThe plateau of each channel there; the schedule has its day", "bold")
    print_table(console, _setting_columns(match.channels), [False] * len(match.channels), indispensable=3)
    if sentence := unmatched_sentence(match):
        say(console, "")
        say(console, sentence)
    say(console, "\nWorth knowing", "bold")
    for caution in match.cautions:
        say(console, f"- {literal(caution.text)} [{literal(caution.source)}]")
    say(console, "")
    say(console, closing_sentence(match), "bold")


def _pair_fields(pair: PairMatch) -> list[str]:
    return [
        f"here {pair.here}",
        f"there {pair.there}",
        f"DLI {number(pair.dli_target)} wanted, {number(pair.dli_got)} got {DLI_UNIT}",
        f"peak {number(pair.peak_target)} here, {number(pair.peak_got)} there {PPFD_UNIT}",
        f"today there {number(pair.dli_before)} {DLI_UNIT}",
    ]


def _setting_fields(setting: ChannelSetting) -> list[str]:
    fields = [
        f"fixture {setting.key.fixture}",
        f"channel {setting.key.channel}",
        f"level {_level(setting)} %" if setting.output > 0 else "off",
    ]
    return [*fields, "at its limit"] if setting.at_limit else fields


def _level(setting: ChannelSetting) -> str:
    return f"{100 * setting.level:.1f}" if setting.output > 0 else "off"


def _pair_columns(pairs: Sequence[PairMatch]) -> list[Column]:
    return [
        Column("here", tuple(literal(p.here) for p in pairs), name=True),
        Column("there", tuple(literal(p.there) for p in pairs), name=True),
        Column(f"DLI here\n{DLI_UNIT}", tuple(number(p.dli_target) for p in pairs), right=True),
        Column("there", tuple(number(p.dli_got) for p in pairs), right=True),
        Column("today", tuple(number(p.dli_before) for p in pairs), right=True),
        Column(f"peak here\n{PPFD_UNIT}", tuple(number(p.peak_target) for p in pairs), right=True),
        Column("there", tuple(number(p.peak_got) for p in pairs), right=True),
    ]


def _setting_columns(settings: Sequence[ChannelSetting]) -> list[Column]:
    return [
        Column("fixture", tuple(literal(s.key.fixture) for s in settings), name=True),
        Column("channel", tuple(literal(s.key.channel) for s in settings), name=True),
        Column("level\n%", tuple(_level(s) for s in settings), right=True),
        Column("output\n%", tuple(f"{100 * s.output:.1f}" for s in settings), right=True),
        Column("", tuple("at its limit" if s.at_limit else "" for s in settings)),
    ]
