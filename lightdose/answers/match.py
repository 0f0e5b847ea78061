"""`match`: what each pair of places gets, what to set there, and what the other light cannot give."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from lightdose.answers.answer import Answer
from lightdose.answers.blocks import Points, Say, Section, pointed
from lightdose.answers.field import NONE, Field, as_json, table
from lightdose.answers.verdicts import SINGLE_VALUES
from lightdose.answers.words import DLI_UNIT, count, number, percent_text, schedule_json, try_schedules
from lightdose.errors import literal
from lightdose.model.match import (
    BAND_WIDTH_NM,
    Kept,
    Match,
    MatchedChannel,
    MatchedLight,
    PairMatch,
    UnmatchedBand,
)
from lightdose.model.record import dataclass
from lightdose.model.results import Caution
from lightdose.quantities import GRID_START_NM

BANDS_NAMED: Final = 6
NAMES_SHOWN: Final = 5
UNEVEN: Final = 1.10
"""Pairs that stand further apart than this are matched in the mean only. Our choice."""

DRIFT_SAID: Final = 0.05
"""Colour that changes less than this through the day is not spoken of. Our choice."""

RISE_SAID: Final = 1.10
"""From here on a place gets so much more than today that it is to go in steps. Our choice."""

SAME_COLOUR: Final = 0.01
"""Other colours below this share of the photons are none: rounded levels alone make as much. Our choice."""

OUR_CHOICE: Final = "our choice"


NEAREST: Final[Mapping[Kept, str]] = {"look": "nearest look", "spectrum": "nearest spectrum"}


@dataclass(frozen=True, eq=False)
class Way:
    """A setting, what it keeps where it is one of the two, and whether it is the one that is asked for."""

    light: MatchedLight
    keep: Kept | None
    chosen: bool = False

    @property
    def name(self) -> str:
        """What it is called in a table."""
        return (NEAREST[self.keep] if self.keep else "between") + (" (this one)" if self.chosen else "")


@dataclass(frozen=True, eq=False)
class ChannelRow:
    """A channel in the setting that was asked for, and in the other of the two."""

    own: MatchedChannel
    other: MatchedChannel


def ways(match: Match) -> list[Way]:
    """The settings from the nearest look to the nearest spectrum; one where nothing pulls them apart."""
    ends: dict[int, Kept] = {id(light): keep for keep, light in match.nearest.items()}
    ends[id(match.chosen)] = match.keep
    return [Way(light, ends.get(id(light)), light is match.chosen) for light in match.front]


def _level(level: float) -> str:
    return percent_text(100 * level) if level > 0 else "off"


def _bands(pair: PairMatch) -> list[dict[str, Any]]:
    """Photons of the day in each 10 nm. [mol m-2 d-1]"""
    starts = [GRID_START_NM + BAND_WIDTH_NM * i for i in range(pair.band_target.size)]
    doses = zip(starts, pair.band_target.tolist(), pair.band_got.tolist(), strict=True)
    return [
        {"band_nm": [low, low + BAND_WIDTH_NM], "target_mol_m2_d": target, "got_mol_m2_d": got}
        for low, target, got in doses
    ]


# fmt: off
PAIR: Final = (
    Field("here", "here", lambda p: p.here, kind="string", fold=True, at={"pairs": 0}),
    Field("there", "there", lambda p: p.there, kind="string", fold=True, at={"pairs": 1}),
    Field("dli_target", "DLI here", lambda p: p.dli_target, "dli", key="dli.target", at={"pairs": 2}),
    Field("dli_got", "DLI there", lambda p: p.dli_got, "dli", key="dli.got", at={"pairs": 3}),
    Field("dli_before", "today", lambda p: p.dli_before, "dli", key="dli.before", at={"pairs": 4}),
    Field("peak_target", "peak here", lambda p: p.peak_target, "peak", key="peak.target", at={"pairs": 5}),
    Field("peak_got", "peak there", lambda p: p.peak_got, "peak", key="peak.got", at={"pairs": 6}),
    Field("bands", "photons in each 10 nm", _bands),
)
CHANNEL: Final = (
    Field("fixture", "fixture", lambda r: r.own.key.fixture, kind="string", fold=True, at={"channels": 0}),
    Field("channel", "channel", lambda r: r.own.key.channel, kind="string", fold=True, at={"channels": 1}),
    Field("set_level", "set to", lambda r: r.own.set_level, unit="%", show=_level, at={"channels": 2},
          what="level as it is set, beside the overall setting where there is one"),
    Field("other_set_level", "", lambda r: r.other.set_level, unit="%", show=_level, key="",
          at={"channels": 3}),
    Field("level", "runs at", lambda r: r.own.level, unit="%", show=_level, at={"dialled": 3.5},
          what="level times the overall setting"),
    Field("output", "output", lambda r: r.own.output, unit="%", show=_level, at={"channels": 4}),
    Field("at_limit", "", lambda r: r.own.at_limit, kind="string",
          show=lambda at: "at its limit" if at else NONE, at={"channels": 5}),
)
WAY: Final = (
    Field("keep", "setting", lambda w: w.name, kind="string", fold=True, key="", at={"ways": 0, "front": 0}),
    Field("common_factor", "dose there\nover here", lambda w: w.light.common_factor,
          show=lambda x: f"{x:.3f}", at={"ways": 1, "front": 1}, what="geometric mean over the pairs"),
    Field("look_off", "look off\nin x, y", lambda w: w.light.look_off, show=lambda x: f"{x:.3f}",
          at={"ways": 2, "front": 2}, what="distance in CIE 1931 x, y from the lamps here, all that is "
          "emitted in a day"),
    Field("xy", "x, y", lambda w: w.light.xy, show=lambda xy: f"{xy[0]:.3f}, {xy[1]:.3f}", at={"ways": 3}),
    Field("spectrum_off", "spectrum off", lambda w: w.light.spectrum_off, unit="%",
          show=lambda x: f"{100 * x:.1f}", at={"ways": 4, "front": 4},
          what="10 nm doses that miss, weighted by usable light, as a share of what is wanted"),
    Field("other_colour_share", "in other\ncolours", lambda w: w.light.other_colour, unit="%",
          show=lambda x: f"{100 * x:.1f}", at={"ways": 5, "front": 5},
          what="share of the photons of 400-700 nm in other wavelengths than wanted"),
)
# fmt: on


def match_answer(match: Match, files: Mapping[str, Path]) -> Answer:
    """Pairs, settings, what is missing, cautions; ``files``: fixture -> schedule that was written."""
    cautions = match_cautions(match)
    missing = unmatched_sentence(match)
    following = try_schedules(match.there.setup, files) if files else "add -o DIR to write the schedules"
    return Answer(
        "match",
        (
            Say(f"{basis_sentence(match)} {SINGLE_VALUES}", "basis"),
            Say(headline(match), "strong"),
            Say(look_sentence(match)),
            Section("The places", (table("pairs", "The places", PAIR, match.chosen.pairs, least=4),)),
            *_trade(match),
            _channels(match),
            *([Section("", (Say(missing),))] if missing else []),
            Section("Worth knowing", (Points(pointed(cautions)),)),
            Say(f"{verdict_sentence(match)} Next: {following}", "verdict"),
        ),
        lambda: match_body(match, files),
        title=match.there.setup.title,
        basis=match.basis,
        cautions=cautions,
        setups=(match.here.setup, match.there.setup),
        missed=not match.chosen.reached,
    )


def _trade(match: Match) -> list[Section]:
    """The two settings, what one costs of the other, and those between; nothing where they are one."""
    front = ways(match)
    if len(front) == 1:
        return []
    two = table("ways", "Look or spectrum", WAY, [way for way in front if way.keep])
    between = (table("front", "Between the two", WAY, front),) if len(front) > 2 else ()
    return [
        Section("Look or spectrum", (two, Say(trade_sentence(match)))),
        Section("Between the two", between, brief=False),
    ]


def _channels(match: Match) -> Section:
    """What to set, beside what the other of the two settings would have."""
    title = "The plateau of each channel there; the schedule has its day"
    other: Kept = "spectrum" if match.keep == "look" else "look"
    fields = [
        replace(one, head=NEAREST[other]) if one.name == "other_set_level" else one
        for one in CHANNEL
        if one.name != "other_set_level" or len(match.front) > 1
    ]
    if match.overall:
        fields = [replace(one, at={"channels": rank}) for one in fields for rank in one.at.values()]
    rows = channel_rows(match)
    made = table("channels", "The plateau of each channel there", fields, rows, least=3)
    return Section(title, (*map(Say, overall_sentences(match)), made))


def channel_rows(match: Match) -> list[ChannelRow]:
    """Each channel in both settings."""
    other = match.nearest["spectrum" if match.keep == "look" else "look"]
    return list(map(ChannelRow, match.chosen.channels, other.channels))


def overall_sentences(match: Match) -> list[str]:
    """The overall setting of each fixture that has one: as it was, or raised."""
    return [
        f"Overall setting of {literal(name)!r}: "
        + (f"stays at {_level(now)} %." if now == then else f"{_level(now)} to {_level(then)} %.")
        for name, (now, then) in match.overall.items()
    ]


def look_sentence(match: Match) -> str:
    """How the light looks here and there, and how far apart that is."""
    here, there = (f"x {x:.3f} y {y:.3f}" for x, y in (match.here_xy, match.chosen.xy))
    today = " (today x {:.3f} y {:.3f})".format(*match.today_xy) if match.today_xy else ""
    off = f"{match.chosen.look_off:.3f} off (CIE 1931, all that the lamps emit in a day)"
    return f"Look here {here}, there {there}{today}: {off}."


def trade_sentence(match: Match) -> str:
    """What keeping the one costs of the other, and how to ask for the other."""
    look, spectrum = match.front[0], match.front[-1]
    asked = "spectrum" if match.keep == "look" else "look"
    return (
        f"Keeping the look misses {100 * look.spectrum_off:.0f} % of the spectrum, the nearest spectrum "
        f"{100 * spectrum.spectrum_off:.0f} %; it looks {spectrum.look_off:.3f} off instead of "
        f"{look.look_off:.3f}. --keep {asked} sets the other one."
    )


def match_body(match: Match, files: Mapping[str, Path]) -> dict[str, Any]:
    """Pairs, what is unmatched, the plateau of every channel, and the schedule files that were written."""
    chosen = match.chosen
    return {
        "here": match.here.setup.title,
        "there": match.there.setup.title,
        "basis_sentence": basis_sentence(match),
        "measure_first": match.measure_first,
        "keep": match.keep,
        "reached": chosen.reached,
        "common_factor": chosen.common_factor,
        "spread": list(chosen.spread),
        "pairs": [as_json(PAIR, pair) for pair in chosen.pairs],
        "schedules": [schedule_json(name, path) for name, path in files.items()],
        "other_colour_share": chosen.other_colour,
        "unmatched": [
            {"band_nm": [b.low_nm, b.high_nm], "share": b.share, "share_of_band": b.share_of_band}
            for b in chosen.unmatched
        ],
        "channels": [as_json(CHANNEL, row) for row in channel_rows(match)],
        "all_channels": {
            side: {name: ends[n] for name, ends in match.overall.items()} for n, side in enumerate(_SIDES)
        },
        "look": {"here": match.here_xy, "today": match.today_xy},
        "settings": {
            keep: as_json(WAY, Way(light, keep))
            | {"channels": [as_json(CHANNEL, ChannelRow(own, own)) for own in light.channels]}
            for keep, light in match.nearest.items()
        },
        "between": [as_json(WAY, way) for way in ways(match)],
    }


_SIDES: Final = ("before", "after")


def basis_sentence(match: Match) -> str:
    """On what each side stands, and to measure first where a side does not stand on readings."""
    sides = {"here": match.here.basis, "there": match.there.basis}
    stands = f"Here: {sides['here'].sentence} There: {sides['there'].sentence}"
    which = " and ".join(name for name, basis in sides.items() if basis.key != "measured")
    if not which:
        return stands
    return f"Measure first, {which}: a match is no better than its weaker side. {stands}"


def headline(match: Match) -> str:
    """How near the other tank comes, in one sentence."""
    if not match.chosen.reached:
        return f"The other tank reaches {100 * match.chosen.common_factor:.0f} % of the dose."
    if len(match.chosen.pairs) == 1:
        pair = match.chosen.pairs[0]
        there, here = literal(pair.there), literal(pair.here)
        same = f"{there!r} gets the dose of {here!r}, {number(pair.dli_got)} {DLI_UNIT}"
    else:
        low, high = match.chosen.spread
        pairs = count(len(match.chosen.pairs), "pair")
        same = f"{pairs} get the same dose in the mean, each {low:.2f} to {high:.2f} of its own"
    return f"{same}, {colour_words(match)}."


def colour_words(match: Match) -> str:
    """How much of the light is of another colour."""
    if match.chosen.other_colour < SAME_COLOUR:
        return "in the same colour"
    return f"with {100 * match.chosen.other_colour:.1f} % of the photons in other colours"


def unmatched_sentence(match: Match) -> str:
    """Which 10 nm bands are missing, neighbours together, the largest first; empty where all is there."""
    if not match.chosen.unmatched:
        return ""
    runs = _runs(match.chosen.unmatched)
    parts = []
    for run in runs[:BANDS_NAMED]:
        share = sum(b.share for b in run)
        of_band = share / sum(b.share / b.share_of_band for b in run)
        gone = "missing" if of_band > 0.98 else f"{100 * of_band:.0f} % short"
        parts.append(
            f"{run[0].low_nm:.0f}-{run[-1].high_nm:.0f} nm {gone} ({100 * share:.1f} % of the photons)"
        )
    more = f", and {len(runs) - BANDS_NAMED} smaller" if len(runs) > BANDS_NAMED else ""
    return f"Cannot be matched: {'; '.join(parts)}{more}."


def _runs(bands: Sequence[UnmatchedBand]) -> list[list[UnmatchedBand]]:
    runs: list[list[UnmatchedBand]] = []
    for band in bands:
        if runs and runs[-1][-1].high_nm == band.low_nm:
            runs[-1].append(band)
        else:
            runs.append([band])
    return sorted(runs, key=lambda run: -sum(b.share for b in run))


def verdict_sentence(match: Match) -> str:
    """Whether it is matched, and how far that can be relied on."""
    if not match.chosen.reached:
        return f"Not matched: {100 * match.chosen.common_factor:.0f} % of the dose, {colour_words(match)}."
    low, high = match.chosen.spread
    how = f" in the mean only ({low:.2f} to {high:.2f})" if high / low > UNEVEN else ""
    if match.measure_first:
        return f"Matched on paper{how}, {colour_words(match)}: measure before you rely on it."
    return f"Matched{how}, {colour_words(match)}."


def match_cautions(match: Match) -> tuple[Caution, ...]:
    """What the match cannot give, and how to bring it in."""
    return tuple(Caution(code, text, source) for code, text, source in _cautions(match))


def _cautions(match: Match) -> Iterator[tuple[str, str, str]]:
    """Code, text and source of each."""
    limited = [s.key.channel for s in match.chosen.channels if s.at_limit]
    if not match.chosen.reached:
        at = f" with {_names(limited)} at full output" if limited else ""
        text = f"The dose cannot be reached{at}: a lower fixture, a longer day or a higher place helps."
        yield "dose_not_reached", text, OUR_CHOICE
    elif limited:
        yield "channel_at_limit", f"At full output: {_names(limited)}.", OUR_CHOICE
    by_factor = sorted(match.chosen.pairs, key=lambda p: p.factor)
    low, high = by_factor[0], by_factor[-1]
    if high.factor / low.factor > UNEVEN:
        text = (
            f"The light falls otherwise there: {low.there!r} gets {low.factor:.2f} and {high.there!r} "
            f"{high.factor:.2f} times its dose. Another place for one of them evens it out."
        )
        yield "uneven", text, OUR_CHOICE
    running = {s.key.fixture for s in match.chosen.channels if s.output > 0}
    dark = list(dict.fromkeys(s.key.fixture for s in match.chosen.channels if s.key.fixture not in running))
    if dark:
        stay = "stays" if len(dark) == 1 else "stay"
        yield "fixture_off", f"{_names(dark)} {stay} off: the places below get less light.", OUR_CHOICE
    if match.colour_drift > DRIFT_SAID:
        text = (
            f"Here the colour changes through the day (up to {100 * match.colour_drift:.0f} % of the photons "
            "change their channel); there every hour has the day's mean colour."
        )
        yield "colour_of_the_day", text, OUR_CHOICE
    rising = [p for p in match.chosen.pairs if p.dli_got > RISE_SAID * p.dli_before]
    if rising:
        most = max(rising, key=lambda p: p.dli_got / max(p.dli_before, 1e-12))
        times = f"{most.dli_got / most.dli_before:.1f} times" if most.dli_before > 0 else "light after none,"
        text = (
            f"{most.there!r} gets {times} what it gets there today: bring it in by steps, "
            f"`lightdose acclimate` from {match.there.setup.path} to the new programme."
        )
        yield "bring_it_in_slowly", text, "common practice, no published rule per week"
    text = (
        "Only the named places were matched: run `lightdose dose` on the other tank with the new schedule, "
        "and read one of them with a meter."
    )
    yield "only_these_places", text, OUR_CHOICE


def _names(names: Sequence[str]) -> str:
    kept = list(dict.fromkeys(names))
    more = f" and {len(kept) - NAMES_SHOWN} more" if len(kept) > NAMES_SHOWN else ""
    return ", ".join(map(repr, kept[:NAMES_SHOWN])) + more
