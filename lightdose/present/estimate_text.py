"""An estimate in words: the range first, then what it says, what it cannot, and what to ask."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TextIO

from lightdose.model.estimate import Estimate, Question, Range, Standing
from lightdose.present.labels import DLI_UNIT, PPFD_UNIT, STATE_WORDS, length, literal, number, range_text
from lightdose.present.tables import Column, print_table, say, terminal_console

WHITE_WORDS = {"none": "no white on", "little": "a little white on", "much": "much white on"}


def show_estimate(found: Estimate, stream: TextIO, *, colour: bool, width: int | None = None) -> None:
    """Print an estimate for people."""
    console = terminal_console(stream, colour=colour, width=width)
    for n, line in enumerate(head_lines(found)):
        say(console, line, "italic" if n == 0 else "")
    if found.group is None:
        say(console, "\nWhat that is for each group", "bold")
        judged = [s for s in found.standings if s.band_dli is not None]
        columns = [
            Column("group", tuple(literal(s.group) for s in judged), name=True),
            Column(f"usual\n{DLI_UNIT}", tuple(range_text(*s.band_dli) for s in judged if s.band_dli)),
            Column("this reading", tuple(state_span(s) for s in judged)),
        ]
        print_table(console, columns, [False] * len(judged))
    say(console, "\nWhat the width comes from", "bold")
    for line in width_lines(found):
        say(console, f"- {line}")
    say(console, "\nAsk about a pale coral, whatever the light", "bold")
    for line in found.ask:
        say(console, f"- {line}")
    console.print()
    for line in found.limits:
        say(console, line)
    console.print()
    say(console, verdict_line(found), "bold")


def estimate_lines(found: Estimate) -> Iterator[str]:
    """Every line for pipes: one record a line, fields parted by tabs."""
    yield from head_lines(found)
    if found.group is None:
        for standing in found.standings:
            if standing.band_dli is not None:
                usual = f"usual {range_text(*standing.band_dli)} {DLI_UNIT}"
                yield "\t".join((f"group {literal(standing.group)}", usual, state_span(standing)))
    for line in width_lines(found):
        yield f"width\t{line}"
    for line in found.ask:
        yield f"ask\t{line}"
    for line in found.limits:
        yield f"limit\t{line}"
    yield verdict_line(found)


def head_lines(found: Estimate) -> Iterator[str]:
    """On what it stands, the range, the group's state, and what a sunlight factor would have claimed."""
    asked = found.question
    unit = "lx" if asked.unit == "lux" else PPFD_UNIT
    yield "Unmeasured: one reading and typical mixes of LED colours; a range, no interval of confidence."
    ramps = f"ramps of {asked.ramp_h:g} h{' (assumed; --ramp)' if asked.ramp_assumed else ''}"
    yield (
        f"{number(asked.reading)} {unit} {_where(asked)}, {WHITE_WORDS[asked.white]}, {asked.hours_h:g} h of "
        f"light with {ramps}: worth {found.full_hours_h:.4g} h at the reading."
    )
    yield f"PPFD {_span(found.ppfd_umol_m2_s)} {PPFD_UNIT}; in a day {_span(found.dli_mol_m2_d)} {DLI_UNIT}."
    if found.group is not None:
        (standing,) = found.standings
        usual = ""
        if standing.band_dli is not None:
            usual = f" (usual {range_text(*standing.band_dli)} {DLI_UNIT}, grade {standing.grade})"
        yield f"For {literal(standing.name)}{usual}: {state_span(standing)}."
        yield from found.rules
    yield _sunlight(found)
    if not found.settles:
        yield _unsettled(found)


def _span(ends: Range) -> str:
    return f"{number(ends[0], 2)} to {number(ends[1], 2)}"


def _where(asked: Question) -> str:
    depth = "" if asked.depth_m is None else f" at {length(asked.depth_m, 'cm')} cm"
    if asked.where == "water":
        return f"under water{depth}"
    return f"in the air, carried down to{depth.removeprefix(' at')} depth" if depth else "in the air"


def state_span(standing: Standing) -> str:
    """The states of a range: "below usual to above usual"."""
    first, last = standing.states[0], standing.states[-1]
    return STATE_WORDS[first] if first == last else f"{STATE_WORDS[first]} to {STATE_WORDS[last]}"


def _sunlight(found: Estimate) -> str:
    low, high = found.sunlight_share
    share = f"{100 * low:.0f} to {100 * high:.0f} % of the photons"
    source = "54 lx per umol, Thimijan & Heins 1983, second hand"
    if found.question.unit == "lux":
        claim = number(found.sunlight_claim_umol_m2_s[0])
        return (
            f"The sunlight factor ({source}) would have claimed {claim} {PPFD_UNIT}: under such mixes it "
            f"finds {share}."
        )
    return f"A lux meter with the sunlight factor ({source}) would find {share} under such mixes."


def _unsettled(found: Estimate) -> str:
    asked = found.question
    times = found.ppfd_umol_m2_s[1] / found.ppfd_umol_m2_s[0]
    wide = f"the ends lie {number(times, 2)} times apart"
    if asked.unit == "lux" and asked.white == "none":
        return (
            f"A phone or lux meter cannot settle this: without white {wide}, since blue and violet make few "
            "lux and each diode another number. A meter of photons (umol) would."
        )
    if asked.unit == "lux":
        return f"Lux settle little here: {wide}. A meter of photons (umol) would narrow it."
    if asked.where == "air" and asked.depth_m:
        return (
            f"A reading in the air settles little at depth: {wide}. Read under water, where the coral stands."
        )
    return f"This reading settles little: {wide}. Find the meter's immersion factor (--immersion)."


def width_lines(found: Estimate) -> Iterator[str]:
    """Each cause with what the reading is multiplied by."""
    for factor in found.factors:
        ends = f"times {number(factor.low)}" + (
            "" if factor.low == factor.high else f" to {number(factor.high)}"
        )
        yield literal(f"{factor.name}: {ends} ({factor.source})")


def verdict_line(found: Estimate) -> str:
    """Whether a better reading would change the advice, and the next command."""
    if found.group is None:
        torn = [s for s in found.standings if s.advice_changes]
        if not torn:
            text = "A better reading would change the advice for no group."
        else:
            judged = sum(s.band_dli is not None for s in found.standings)
            text = f"A better reading would change the advice for {len(torn)} of {judged} groups."
        return f"{text} Next: the same with --group KEY (lightdose groups lists them)"
    if not found.would_change:
        return "A better reading would not change the advice. Next: lightdose groups"
    text = "A better reading would change the advice"
    return f"{text}. Next: lightdose init my-tank, then lightdose survey my-tank/setup.toml"
