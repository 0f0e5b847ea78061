"""`move` in words: the stones with their days, whom the coral would shade, how to handle it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TextIO

from lightdose.model.placement import Move
from lightdose.model.setup import LengthUnit
from lightdose.present.labels import DLI_UNIT, STATE_WORDS, count, length, literal, number, range_text
from lightdose.present.tables import Column, print_table, say, terminal_console

WAY_NAMED = 12


def move_lines(move: Move, unit: LengthUnit) -> Iterator[str]:
    """The answer for pipes: one record a line, fields parted by tabs."""
    yield literal(move.basis.sentence)
    yield headline(move)
    for step in move.steps:
        fields = [
            f"day {step.day}",
            *([f"date {step.date}"] if step.date else []),
            f"site {step.site}",
            f"DLI {number(step.dli_mol_m2_d)} {DLI_UNIT}",
            f"rise {100 * step.rise_per_week:.1f} % a week",
            f"x {length(step.x_m, unit)} {unit}",
            f"y {length(step.y_m, unit)} {unit}",
            f"depth {length(step.depth_m, unit)} {unit}",
        ]
        yield "\t".join(literal(f) for f in fields)
    yield from shade_sentences(move, unit)
    for caution in move.cautions:
        yield f"caution {literal(caution.text)}\tsource {literal(caution.source)}"
    yield closing_sentence(move)


def show_move(
    move: Move, unit: LengthUnit, stream: TextIO, *, colour: bool, width: int | None = None
) -> None:
    """Print `move` for people: the way, its steps, what to mind, the verdict last."""
    console = terminal_console(stream, colour=colour, width=width)
    say(console, literal(move.basis.sentence), "italic")
    say(console, headline(move))
    say(console, "\nThe steps", "bold")
    print_table(console, _columns(move, unit), [False] * len(move.steps), indispensable=3)
    say(console, "\nWorth knowing", "bold")
    for sentence in shade_sentences(move, unit):
        say(console, f"- {sentence}")
    for caution in move.cautions:
        say(console, f"- {literal(caution.text)} [{literal(caution.source)}]")
    say(console, "")
    say(console, closing_sentence(move), "bold")


def headline(move: Move) -> str:
    """The way in one line: "A3 4.6, A2 5.0, B2 5.5, B1 6.0, a week each"."""
    stones = [(move.start_site, move.start_dli), *((s.site, s.dli_mol_m2_d) for s in move.steps)]
    named = [f"{literal(site)} {number(dli)}" for site, dli in stones]
    if len(named) > WAY_NAMED:
        half = WAY_NAMED // 2
        named = [*named[:half], f"... {len(named) - 2 * half} more ...", *named[-half:]]
    days = move.wishes.step_days
    each = "" if len(move.steps) == 1 else ", a week each" if days == 7 else f", {count(days, 'day')} each"
    return f"{literal(move.coral)} {DLI_UNIT}: {', '.join(named)}{each}."


def shade_sentences(move: Move, unit: LengthUnit) -> list[str]:
    """Whom it would stand in the light of, and how that is reckoned."""
    name = literal(move.coral)
    if not move.height_m > 0:
        return [
            f"Shade: {name} has no height in the setup, so whom it shades is not reckoned; add height to its "
            "[[coral]]."
        ]
    tall = f"{length(move.height_m, unit)} {unit} tall"
    ground = "geometry of the lamps' straight light, the coral taken as a post as wide as tall (our choice)"
    if not move.shaded:
        return [f"Shade: {name}, {tall}, stands in nobody's way ({ground}); no dose here counts such shade."]
    whom = "; ".join(
        f"{literal(s.coral)} at {literal(s.site)} (about {100 * s.hidden_fraction:.0f} % hidden, from "
        f"{', '.join(literal(site) for site in s.sites)})"
        for s in move.shaded
    )
    return [f"Shade: {name}, {tall}, would stand in the light of {whom} ({ground}); no dose here counts it."]


def closing_sentence(move: Move) -> str:
    """How many steps, over how long, and where that leaves the coral."""
    end = move.steps[-1]
    steps = count(len(move.steps), "step")
    when = "at once" if move.days == 0 else f"the last on {end.date or f'day {move.days}'}"
    band = f" (usual {range_text(*move.band_dli)})" if move.band_dli else ""
    return (
        f"{steps}, {when}: {literal(move.coral)} then gets {number(end.dli_mol_m2_d)} {DLI_UNIT} at "
        f"{literal(end.site)}, {STATE_WORDS[move.end_state]}{band}. At most "
        f"{100 * move.wishes.rise_per_week:g} % a week: common practice, no published rule."
    )


def _columns(move: Move, unit: LengthUnit) -> list[Column]:
    steps = move.steps
    places = (", ".join(length(m, unit) for m in (s.x_m, s.y_m, s.depth_m)) for s in steps)
    columns = [
        Column("day", tuple(str(s.day) for s in steps), right=True),
        Column("site", tuple(literal(s.site) for s in steps), name=True),
        Column(f"DLI\n{DLI_UNIT}", tuple(number(s.dli_mol_m2_d) for s in steps), right=True),
        Column("rise\n% a week", tuple(f"{100 * s.rise_per_week:+.1f}" for s in steps), right=True),
        Column(f"x, y, depth\n{unit}", tuple(places)),
    ]
    if steps[0].date is not None:
        columns.insert(1, Column("date", tuple(str(s.date) for s in steps)))
    return columns
