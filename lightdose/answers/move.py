"""`move`: the steps of one coral to another site, whom it would shade, and how to handle it."""

from __future__ import annotations

from typing import Any, Final

from lightdose.answers.answer import Answer
from lightdose.answers.blocks import Point, Points, Say, Section, Table, pointed
from lightdose.answers.field import Field, plain, said, table
from lightdose.answers.schedules import typed_path
from lightdose.answers.words import (
    DLI_UNIT,
    STATE_WORDS,
    count,
    length,
    lengths,
    literal,
    number,
    range_text,
)
from lightdose.model.places import Move, MoveStep
from lightdose.model.setup import LengthUnit

STONES_NAMED: Final = 12

# fmt: off
STEP: Final = (
    Field("day", "day", lambda s: s.day, kind="integer", at={"steps": 0}),
    Field("date", "date", lambda s: s.date, kind="string", at={"steps": 1}),
    Field("site", "site", lambda s: s.site, kind="string", fold=True, at={"steps": 2}),
    Field("dli_mol_m2_d", "DLI", lambda s: s.dli_mol_m2_d, "dli", at={"steps": 3}),
    Field("rise_per_week", "rise", lambda s: s.rise_per_week, unit="% a week",
          show=lambda rise: f"{100 * rise:+.1f}", at={"steps": 4}),
)
# fmt: on


def move_answer(move: Move, unit: LengthUnit) -> Answer:
    """The way from site to site, what to mind, and where it leaves the coral."""
    setup = move.before.setup
    path = typed_path(setup)
    following = f"Next: after the last step change its site in {path}, then lightdose dose {path}"
    return Answer(
        "move",
        (
            Say(move.before.basis.sentence, "basis"),
            Say(headline(move), "strong"),
            Section("The steps", (_steps_table(move, unit),)),
            Section("Worth knowing", (Points((Point(shade_sentence(move, unit)), *pointed(move.cautions))),)),
            Say(f"{end_sentence(move)} {following}", "verdict"),
        ),
        lambda: move_body(move),
        title=setup.title,
        basis=move.before.basis.key,
        cautions=move.cautions,
        setups=(setup,),
    )


def move_body(move: Move) -> dict[str, Any]:
    """Every step with its day, and the neighbours it shades; ``from`` is where the coral stands today."""
    wishes = move.wishes
    return {
        "coral": move.coral,
        "group": move.group,
        "from": {"site": move.start_site, "dli_mol_m2_d": move.start_dli},
        "to": wishes.to,
        "rise_per_week": wishes.rise_per_week,
        "step_days": wishes.step_days,
        "steps": plain(move.steps),
        "weeks": move.days / 7,
        "dli_state": move.end_state,
        "band_dli": plain(move.band_dli),
        "height_m": move.height_m,
        "shades": [
            {"coral": s.coral, "site": s.site, "hidden_fraction": s.hidden_fraction, "from": list(s.sites)}
            for s in move.shaded
        ],
    }


def _steps_table(move: Move, unit: LengthUnit) -> Table:
    def where(step: MoveStep) -> str:
        return lengths((step.x_m, step.y_m, step.depth_m), unit)

    dated = [f for f in STEP if f.name != "date" or move.wishes.start]
    fields = (*dated, said("where", "x, y, depth", where, unit="length", at={"steps": 5}))
    note = limit_sentence(move)
    return table("steps", "The steps", fields, move.steps, note=note, least=3, length_unit=unit)


def headline(move: Move) -> str:
    """The way in one line: "A3 4.6, A2 5.0, B2 5.5, B1 6.0, a week each"."""
    stones = [(move.start_site, move.start_dli), *((s.site, s.dli_mol_m2_d) for s in move.steps)]
    named = [f"{literal(site)} {number(dli)}" for site, dli in stones]
    if len(named) > STONES_NAMED:
        half = STONES_NAMED // 2
        named = [*named[:half], f"... {len(named) - 2 * half} more ...", *named[-half:]]
    days = move.wishes.step_days
    each = "" if len(move.steps) == 1 else ", a week each" if days == 7 else f", {count(days, 'day')} each"
    return f"{literal(move.coral)} {DLI_UNIT}: {', '.join(named)}{each}."


def shade_sentence(move: Move, unit: LengthUnit) -> str:
    """Whom it would stand in the light of, and how that is calculated."""
    name = literal(move.coral)
    if not move.height_m > 0:
        return (
            f"Shade: {name} has no height in the setup, so whom it shades is not calculated; add height to "
            "its [[coral]]."
        )
    tall = f"{length(move.height_m, unit)} {unit} tall"
    ground = "geometry of the lamps' straight light, the coral taken as a post as wide as tall (our choice)"
    if not move.shaded:
        return f"Shade: {name}, {tall}, stands in nobody's way ({ground}); no dose here counts such shade."
    whom = "; ".join(
        f"{literal(s.coral)} at {literal(s.site)} (about {100 * s.hidden_fraction:.0f} % hidden, from "
        f"{', '.join(map(literal, s.sites))})"
        for s in move.shaded
    )
    return f"Shade: {name}, {tall}, would stand in the light of {whom} ({ground}); no dose here counts it."


def end_sentence(move: Move) -> str:
    """How many steps, over how long, and where that leaves the coral."""
    end = move.steps[-1]
    when = "at once" if move.days == 0 else f"the last on {end.date or f'day {move.days}'}"
    band = f" (usual {range_text(*move.band_dli)})" if move.band_dli else ""
    return (
        f"{count(len(move.steps), 'step')}, {when}: {literal(move.coral)} then gets "
        f"{number(end.dli_mol_m2_d)} {DLI_UNIT} at {literal(end.site)}, {STATE_WORDS[move.end_state]}{band}."
    )


def limit_sentence(move: Move) -> str:
    """How quickly its light may rise, and on whose word."""
    return f"At most {100 * move.wishes.rise_per_week:g} % a week: common practice, no published rule."
