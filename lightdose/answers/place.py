"""`place` and `move`: which coral goes where, and how one gets there."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

from lightdose.answers.answer import Answer, drawn_of
from lightdose.answers.blocks import Point, Points, Say, Section, Table, pointed
from lightdose.answers.field import Field, Sheet, as_json, plain, said, table
from lightdose.answers.light import MOL
from lightdose.answers.verdicts import before_words, judgement_words, short_state
from lightdose.answers.words import (
    DLI_UNIT,
    STATE_WORDS,
    count,
    length,
    lengths,
    number,
    path_from,
    range_text,
    typed_path,
)
from lightdose.errors import literal
from lightdose.model.places import Move, MoveStep, PlacedCoral, Placement, PossiblePlace, Spot
from lightdose.model.record import dataclass
from lightdose.model.setup import LengthUnit

NAMED: Final = 3
GRID_NOTE: Final = "The points of the grid are taken under open sky: rock and neighbours dim some of them."
SHADED_NOTE: Final = (
    "Rock and colonies that the setup tells shade the places; whatever else stands there does not."
)
SKINS: Final = "Free places on rock"
SKINS_SHOWN: Final = 24


@dataclass(frozen=True)
class Row:
    """One coral; ``number`` is its number in the figure, None without a place."""

    coral: PlacedCoral
    number: int | None
    unit: LengthUnit = "cm"

    @property
    def goes(self) -> str:
        """Where to, in words."""
        coral = self.coral
        if coral.after is None:
            return "no place"
        if coral.moves:
            return spot_words(coral.after.spot, self.unit)
        return "stays (pinned)" if coral.pinned else "stays"

    @property
    def moved(self) -> str | None:
        """How far it moves."""
        return length(self.coral.moved_m, self.unit) if self.coral.moves else None

    @property
    def where(self) -> str | None:
        """The place that it goes to, or keeps."""
        return _coordinates(self.coral.after.spot, self.unit) if self.coral.after else None


def _there(name: str) -> Callable[[Row], Any]:
    return lambda row: getattr(row.coral.after, name) if row.coral.after else None


def _spot(name: str) -> Callable[[Row], Any]:
    return lambda row: getattr(row.coral.after.spot, name) if row.coral.after else None


def _was(name: str) -> Callable[[Row], Any]:
    return lambda row: getattr(row.coral.before, name) if row.coral.before else None


def _best(row: Row) -> list[dict[str, Any]]:
    return [
        {name: getattr(p.standing.spot, name) for name in ("site", "x_m", "y_m", "depth_m")}
        | {"dli_mol_m2_d": p.standing.dli_mol_m2_d, "dli_state": p.standing.dli_state}
        | {"neighbours": list(p.neighbours), "steps": None if p.steps is None else list(p.steps)}
        for p in row.coral.best
    ]


def _length(name: str, get: Callable[[Row], float | None], what: str = "") -> tuple[Field, Field]:
    """A length: centimetres in the CSV, metres in the JSON."""

    def in_cm(row: Row) -> float | None:
        metres = get(row)
        return None if metres is None else round(100 * metres, 9)

    return (
        Field(f"{name}_cm", name, in_cm, unit="cm", what=what, key=""),
        Field(f"{name}_m", name, get, unit="m", csv=False),
    )


# fmt: off
FIELDS: Final = (
    Field("number", "no", lambda r: r.number, kind="integer", key="", at={"corals": 0},
          what="in the figure; empty without a place"),
    Field("coral", "coral", lambda r: r.coral.coral, kind="string", fold=True, at={"corals": 1}),
    Field("group", "group", lambda r: r.coral.group, kind="string"),
    said("goes", "goes to", lambda r: r.goes, kind="string", fold=True, at={"corals": 2}),
    Field("site_before", "site now", lambda r: r.coral.before and r.coral.before.spot.site, key="before.site",
          kind="string", what="empty without a place"),
    Field("site", "site", _spot("site"), kind="string", what="empty on a grid, and without a place"),
    *_length("x", _spot("x_m")),
    *_length("y", _spot("y_m")),
    *_length("depth", _spot("depth_m"), "of its foot, below the surface"),
    *_length("height", lambda r: r.coral.height_m),
    Field("moved_cm", "moved", lambda r: r.coral.after and round(100 * r.coral.moved_m, 9), unit="cm",
          key=""),
    Field("moved_m", "moved", lambda r: r.coral.moved_m, unit="m", csv=False),
    Field("dli_before_mol_m2_d", "DLI now", _was("dli_mol_m2_d"), "dli",
          key="before.dli_mol_m2_d", at={"corals": 3}),
    Field("dli_mol_m2_d", "DLI there", _there("dli_mol_m2_d"), "dli", at={"corals": 4}),
    said("from", "from", lambda r: r.coral.before and spot_words(r.coral.before.spot, r.unit), kind="string",
         fold=True, at={"corals": 8}),
    said("moved", "moved", lambda r: r.moved, unit="length", at={"corals": 9}),
    said("where", "x, y, depth there", lambda r: r.where, unit="length", at={"corals": 10}),
    said("usual", "usual", lambda r: r.coral.band_dli, show=lambda band: range_text(*band), at={"corals": 6}),
    Field("band_dli", "usual", lambda r: r.coral.band_dli, unit=MOL,
          parts=(("band_dli_low_mol_m2_d", "usual dose, lower end"), ("band_dli_high_mol_m2_d",
                "usual dose, upper end"))),
    Field("dli_state_before", "state now", _was("dli_state"), key="before.dli_state",
          kind="string", show=short_state, at={"corals": 7}),
    Field("dli_state", "state there", _there("dli_state"), kind="string", show=short_state, at={"corals": 5}),
    Field("pinned", "pinned", lambda r: r.coral.pinned, csv=False),
    Field("dli_verdict_before", "verdict now", _was("dli_verdict"), key="before.dli_verdict", kind="string"),
    Field("dli_verdict", "verdict there", _there("dli_verdict"), kind="string"),
    Field("best_places", "best places", _best, csv=False),
)
# fmt: on


def place_answer(placement: Placement, unit: LengthUnit, written: Path | None) -> Answer:
    """What moves, every coral, what is missed; ``written`` is the file with the corals at their places."""
    rows = rows_of(placement, unit)
    corals = table(
        "corals",
        "Who goes where",
        FIELDS,
        [r for r in rows if r.coral.moves or r.coral.after is None or r.coral.best],
        strong=lambda r: r.coral.after is None or r.coral.after.dli_state in ("far_below", "far_above"),
        least=4,
        length_unit=unit,
    )
    before = placement.before
    misses = Points.of([*best_sentences(placement, unit), *miss_sentences(placement, unit)])
    knowing = (*map(Point, notes(placement)), *pointed(placement.cautions), Point(proof_sentence(placement)))
    return Answer(
        "place",
        (
            Say(before.basis.sentence, "basis"),
            Say(moves_sentence(placement), "strong"),
            misses,
            Section("Who goes where", (corals,)),
            _skins(placement, unit),
            Section("Worth knowing", (Points(knowing),)),
            Say(f"{verdict_sentence(placement)} Next: {next_step(placement, written)}", "verdict"),
        ),
        lambda: place_body(placement, rows),
        title=placement.setup.title,
        basis=before.basis.key,
        judged={"before": placement.before.judgement, "after": placement.after.judgement},
        cautions=placement.cautions,
        setups=(before.setup,),
        drawn=drawn_of(placement.after),
        sheet=Sheet(FIELDS, rows),
        missed=bool(placement.unplaced or placement.out_of_band),
    )


def _skins(placement: Placement, unit: LengthUnit) -> Section:
    """Free places on rock with their three lights; empty where they were not asked for."""
    if not placement.skins:
        return Section("", ())
    where = said("where", "x, y, depth", lambda s: _coordinates(s.spot, unit), unit="length", at={"skins": 1})
    step = max(1, -(-len(placement.skins) // SKINS_SHOWN))
    shown = placement.skins[::step]
    rest = len(placement.skins) - len(shown)
    note = f"Every {step}th of {len(placement.skins)}; all stand in --json." if rest else ""
    rows = table("skins", SKINS, (*SKIN, where), shown, least=4, length_unit=unit, note=note)
    return Section(SKINS, (rows,))


def place_body(placement: Placement, rows: list[Row]) -> dict[str, Any]:
    """Every coral with its place, those without one, and how good the answer is proven to be.

    ``site`` is null on a grid and without a place; ``best_places`` are told of corals that were asked for.
    """
    plan = placement.plan
    return {
        "penalty": {
            "before": placement.before.judgement.penalty,
            "after": placement.after.judgement.penalty,
        },
        "corals": [as_json(FIELDS, row) for row in rows],
        "unplaced": [c.coral for c in placement.unplaced],
        "out_of_range": [c.coral for c in placement.out_of_band],
        "proven_optimal": plan.proven_optimal,
        "cost": plain(plan.cost),
        "bound": plain(plan.bound),
        "places": plan.places,
        "free_places": [as_json(SKIN, skin) for skin in placement.skins],
        "notes": notes(placement),
    }


def rows_of(placement: Placement, unit: LengthUnit = "cm") -> list[Row]:
    """Every coral in the order of the setup, those with a place numbered."""
    rows, index = [], 0
    for coral in placement.corals:
        index += coral.after is not None
        rows.append(Row(coral, index if coral.after is not None else None, unit))
    return rows


def numbered(placement: Placement) -> list[tuple[PlacedCoral, str]]:
    """Every coral with its number in the figure, those without a place with none."""
    return [(row.coral, "-" if row.number is None else str(row.number)) for row in rows_of(placement)]


def notes(placement: Placement) -> list[str]:
    """What the places were taken as, and how many corals may move."""
    note = GRID_NOTE if placement.setup.standing is None else SHADED_NOTE
    found = [note] if placement.wishes.grid else []
    found += _kept_off_rock(placement)
    if placement.wishes.moves is not None:
        found.append(f"At most {count(placement.wishes.moves, 'coral')} may move; --all re-places all.")
    return found


def _kept_off_rock(placement: Placement) -> list[str]:
    """A sentence for every coral that seeks a place on rock and is to stand on something else."""
    if not placement.skins:
        return []
    setup = placement.before.setup
    on = {c.name: c.on for c in (*setup.corals, *setup.unplaced)}
    seek = [c.coral for c in placement.corals if c.best or c.after is None]
    return [
        f"{literal(name)} is to stand on {on[name]}, so no place on rock counts for it: write rock "
        'under "on", or leave it out.'
        for name in seek
        if on[name] not in (None, "rock")
    ]


def spot_name(spot: Spot, unit: LengthUnit) -> str:
    """A site by its name, a spot of a coral's own by the coral's, a point of a grid by x, y, depth."""
    if spot.site is None:
        return f"{_coordinates(spot, unit)} {unit}"
    return f"the spot of {literal(spot.name)!r}" if spot.implicit else literal(spot.name)


def spot_words(spot: Spot, unit: LengthUnit) -> str:
    """The same, with what the numbers of a point of a grid are."""
    return f"x, y, depth {spot_name(spot, unit)}" if spot.site is None else spot_name(spot, unit)


def _coordinates(spot: Spot, unit: LengthUnit) -> str:
    return lengths((spot.x_m, spot.y_m, spot.depth_m), unit)


def moves_sentence(placement: Placement) -> str:
    """How many corals move and how many stay."""
    moving = sum(c.moves for c in placement.corals)
    staying = sum(c.after is not None and not c.moves for c in placement.corals)
    pinned = sum(c.pinned for c in placement.corals)
    held = f" ({pinned} pinned)" if pinned else ""
    if not moving:
        return f"Nothing moves: {count(staying, 'coral')}{held} stay in place."
    go, rest = "moves" if moving == 1 else "move", "stays" if staying == 1 else "stay"
    return f"{moving} of {count(len(placement.corals), 'coral')} {go}, {staying} {rest}{held}."


def best_sentences(placement: Placement, unit: LengthUnit) -> list[str]:
    """The best places for corals that were asked for: dose, neighbours, and how each gets there."""
    sentences = []
    for coral in placement.corals:
        if coral.best:
            cut_off = [_no_way(p, coral) for p in coral.best]
            each = [_place_words(p, coral, unit, tells_way=not all(cut_off)) for p in coral.best]
            text = f"Best places for {literal(coral.coral)} ({_band(coral)}): {'; '.join(each)}."
            sentences.append(f"{text} {NO_WAY[0].upper()}{NO_WAY[1:]}." if all(cut_off) else text)
    return sentences


NO_WAY: Final = "no way of weekly steps leads there: exchange, or dim for some weeks"


def _no_way(place: PossiblePlace, coral: PlacedCoral) -> bool:
    """Whether a coral that stands somewhere else cannot get to a place step by step."""
    return (
        coral.before is not None
        and coral.before.spot.name != place.standing.spot.name
        and place.steps is None
    )


def _place_words(place: PossiblePlace, coral: PlacedCoral, unit: LengthUnit, *, tells_way: bool) -> str:
    standing = place.standing
    beside = ", ".join(map(literal, place.neighbours[:NAMED]))
    more = f" and {len(place.neighbours) - NAMED} more" if len(place.neighbours) > NAMED else ""
    near = f", beside {beside}{more}" if beside else ", with no neighbour"
    dose = f"{number(standing.dli_mol_m2_d)}, {short_state(standing.dli_state)}"
    words = f"{spot_words(standing.spot, unit)} with {dose}{near}"
    if coral.before is None:
        return words
    if coral.before.spot.name == standing.spot.name:
        return f"{words}, where it is"
    if place.steps is None:
        return f"{words}, but {NO_WAY}" if tells_way else words
    over = ", ".join(literal(s) for s in place.steps[:-1])
    return f"{words}, {f'in steps over {over}' if over else 'in one step'}"


def miss_sentences(placement: Placement, unit: LengthUnit) -> list[str]:
    """A sentence for every coral without a place, or that moved and is off all the same."""
    sentences = []
    for coral in placement.unplaced:
        best = placement.plan.choices.get(coral.coral, ())
        alone = f"; alone it would stand at {spot_words(best[0].spot, unit)}" if best else ""
        sentences.append(f"No place is left for {literal(coral.coral)}{alone}.")
    for coral in placement.out_of_band:
        if coral.after is not None and coral.moves:
            dose, state = number(coral.after.dli_mol_m2_d), STATE_WORDS[coral.after.dli_state]
            gets = f"{literal(coral.coral)} gets {dose} {DLI_UNIT} there"
            sentences.append(f"{gets}, {state} ({_band(coral)}).")
    return sentences


def _band(coral: PlacedCoral) -> str:
    return f"usual {range_text(*coral.band_dli)}" if coral.band_dli else "no range"


def proof_sentence(placement: Placement) -> str:
    """Whether a better placement can exist."""
    plan = placement.plan
    if not plan.places:
        return "No coral may move: there was nothing to choose."
    order = "least penalty first, then fewest moves, then short ones"
    within = f" with at most {placement.wishes.moves} moves" if placement.wishes.moves is not None else ""
    if plan.proven_optimal:
        return f"Of all placements on {count(plan.places, 'place')}{within} none is better ({order})."
    return (
        f"Found by swaps on {count(plan.places, 'place')}{within}, not proven best ({order}): penalty "
        f"{plan.cost.penalty:.1f}, and no placement comes below {plan.bound.penalty:.1f}."
    )


def verdict_sentence(placement: Placement) -> str:
    """How the corals stand, before and after."""
    before, after = placement.before.judgement, placement.after.judgement
    if not after.judged:
        return "No coral here is judged by light."
    text = f"{judgement_words(after, after.judged)} (before: {before_words(before)})"
    if placement.unplaced:
        text += f"; {len(placement.unplaced)} without a place"
    return f"{text}."


def next_step(placement: Placement, written: Path | None) -> str:
    """What helps most from here."""
    if written is None:
        return "add -o FILE to write the corals at their places; lightdose move takes one there"
    setup = placement.before.setup
    return (
        f'set corals = "{path_from(setup, written)}" in {setup.path} instead of its [[coral]] tables; such a '
        "file holds no dli_band, peak_max or previous, so corals with these keep their [[coral]] "
        "with the new site"
    )


# fmt: off
SKIN: Final = (
    Field("rock", "rock", lambda s: s.rock, kind="string", fold=True, at={"skins": 0}),
    Field("x_m", "x", lambda s: s.spot.x_m, unit="m"),
    Field("y_m", "y", lambda s: s.spot.y_m, unit="m"),
    Field("depth_m", "depth", lambda s: s.spot.depth_m, unit="m"),
    Field("faces", "faces", lambda s: plain(s.spot.face), csv=False),
    said("faces", "faces", lambda s: s.spot.face.word if s.spot.face else "up", kind="string", fold=True,
         at={"skins": 2}),
    Field("dli_mol_m2_d", "flat", lambda s: s.dli_flat, "dli", "on a flat spot", at={"skins": 3}),
    Field("dli_face_mol_m2_d", "on its face", lambda s: s.dli_face, "dli", "on the skin itself",
          at={"skins": 4}),
    Field("dli_scalar_mol_m2_d", "all sides", lambda s: s.dli_all_sides, "dli", "from all sides",
          at={"skins": 5}),
)
# fmt: on

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


def move_answer(move: Move, unit: LengthUnit, *, keeps: bool = False) -> Answer:
    """The way from site to site, what to mind, and where it leaves the coral.

    With ``keeps`` its first step is taken over, and what is next is told there.
    """
    setup = move.before.setup
    path = typed_path(setup)
    following = f" Next: after the last step change its site in {path}, then lightdose dose {path}"
    return Answer(
        "move",
        (
            Say(move.before.basis.sentence, "basis"),
            Say(headline(move), "strong"),
            Section("The steps", (_steps_table(move, unit),)),
            Section("Worth knowing", (Points((Point(shade_sentence(move, unit)), *pointed(move.cautions))),)),
            Say(f"{end_sentence(move)}{'' if keeps else following}", "verdict"),
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
    if has_body(move):
        return (
            f"Shade: the colony of {name} is in the setup; what it shades at a place is in the doses there."
        )
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


def has_body(move: Move) -> bool:
    """Whether the doses of a setup know what the moved coral shades."""
    coral = next(c for c in move.before.setup.corals if c.name == move.coral)
    return coral.diameter_m > 0 and coral.form != "none"


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
    """How quickly its light may rise, and its source."""
    return f"At most {100 * move.wishes.rise_per_week:g} % a week: common practice, no published rule."
