"""`place` in words: what moves where, what each gains, and for whom the tank has no place."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import TextIO

from lightdose.model.placement import PlacedCoral, Placement, Spot, Standing
from lightdose.model.setup import LengthUnit
from lightdose.present.labels import DLI_UNIT, STATE_WORDS, count, length, literal, number, range_text
from lightdose.present.tables import Column, print_table, say, terminal_console


def place_lines(placement: Placement, unit: LengthUnit) -> Iterator[str]:
    """The answer for pipes: one record a line, fields parted by tabs."""
    yield literal(placement.basis.sentence)
    for coral, label in numbered(placement):
        yield "\t".join(literal(f) for f in _fields(coral, label, unit))
    yield from miss_sentences(placement, unit)
    for note in placement.notes:
        yield f"note {literal(note)}"
    for caution in placement.cautions:
        yield f"caution {literal(caution.text)}\tsource {literal(caution.source)}"
    yield proof_sentence(placement)
    yield verdict_sentence(placement)


def show_placement(
    placement: Placement, unit: LengthUnit, stream: TextIO, *, colour: bool, width: int | None = None
) -> None:
    """Print `place` for people: what moves, every coral, what is missed, the verdict last."""
    console = terminal_console(stream, colour=colour, width=width)
    say(console, literal(placement.basis.sentence), "italic")
    say(console, moves_sentence(placement))
    for sentence in miss_sentences(placement, unit):
        say(console, f"- {sentence}")
    rows = numbered(placement)
    say(console, "\nWho goes where", "bold")
    bold = [c.after is None or c.after.dli_state in ("far_below", "far_above") for c, _ in rows]
    print_table(console, _columns(rows, unit), bold, indispensable=5)
    say(console, "\nWorth knowing", "bold")
    for note in placement.notes:
        say(console, f"- {literal(note)}")
    for caution in placement.cautions:
        say(console, f"- {literal(caution.text)} [{literal(caution.source)}]")
    say(console, f"- {proof_sentence(placement)}")
    say(console, "")
    say(console, verdict_sentence(placement), "bold")


def numbered(placement: Placement) -> list[tuple[PlacedCoral, str]]:
    """Every coral with its number in the figure, those without a place with none."""
    found = []
    index = 0
    for coral in placement.corals:
        index += coral.after is not None
        found.append((coral, str(index) if coral.after is not None else "-"))
    return found


def spot_words(spot: Spot, unit: LengthUnit) -> str:
    """A site by its name, a spot of a coral's own or of a grid by its place."""
    where = ", ".join(length(m, unit) for m in (spot.x_m, spot.y_m, spot.depth_m))
    if spot.site is None:
        return f"x, y, depth {where} {unit}"
    return f"the spot of {literal(spot.name)!r}" if spot.implicit else literal(spot.name)


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


def miss_sentences(placement: Placement, unit: LengthUnit) -> list[str]:
    """A sentence for every coral without a place, or without one in its range: the nearest miss."""
    found = []
    for coral in placement.unplaced:
        text = f"No place is left for {literal(coral.coral)}"
        if coral.nearest is not None:
            text += f"; alone in the tank it would stand at {_standing_words(coral.nearest, coral, unit)}"
        found.append(f"{text}.")
    for coral in placement.out_of_band:
        assert coral.after is not None
        nearest, after = coral.nearest, coral.after
        text = f"{literal(coral.coral)} gets {number(after.dli_mol_m2_d)} {DLI_UNIT}, "
        text += f"{STATE_WORDS[after.dli_state]} ({_band(coral)})"
        if coral.pinned:
            text += ": it is pinned"
        elif nearest is not None and nearest.dli_state in ("within", "not_judged"):
            text += (
                f": its places are needed by others; alone it would stand at "
                f"{_standing_words(nearest, coral, unit)}"
            )
        elif nearest is not None:
            text += (
                f": no place it may take lies in its range, the nearest miss is "
                f"{_standing_words(nearest, coral, unit)}"
            )
        found.append(f"{text}.")
    return found


def _standing_words(standing: Standing, coral: PlacedCoral, unit: LengthUnit) -> str:
    words = f"{spot_words(standing.spot, unit)} with {number(standing.dli_mol_m2_d)} {DLI_UNIT}"
    if coral.band_dli is None or standing.dli_state in ("within", "not_judged"):
        return words
    low, high = coral.band_dli
    dose = standing.dli_mol_m2_d
    if not dose > 0:
        return f"{words}, in the dark"
    if dose < low:
        return f"{words}, {number(low / dose)} times too little for {_band(coral)}"
    return f"{words}, {number(dose / high)} times too much for {_band(coral)}"


def _band(coral: PlacedCoral) -> str:
    return f"usual {range_text(*coral.band_dli)}" if coral.band_dli else "no range"


def proof_sentence(placement: Placement) -> str:
    """Whether a better placement can exist."""
    plan = placement.plan
    if not plan.places:
        return "Every coral is pinned: there was nothing to choose."
    order = "range first, then the middle of the range, then short moves"
    if placement.wishes.prefer == "stay":
        order = "range first, then short moves, then the middle of the range"
    if plan.proven_optimal:
        return f"Of all placements on {count(plan.places, 'place')} none is better ({order})."
    if plan.cost.unplaced == plan.bound.unplaced and plan.cost.outside_ln <= plan.bound.outside_ln + 1e-9:
        return (
            f"Of all placements on {count(plan.places, 'place')} none brings doses nearer to their ranges; "
            f"the rest was found by swaps and is not proven best ({order})."
        )
    return (
        f"Found by swaps on {count(plan.places, 'place')}, not proven best ({order}): doses lie "
        f"{plan.cost.outside_ln:.3f} outside their ranges (sum of logarithms), and no placement comes below "
        f"{plan.bound.outside_ln:.3f}."
    )


def _stated(placement: Placement) -> str:
    return "" if placement.basis.key == "measured" else " by the stated values"


def verdict_sentence(placement: Placement) -> str:
    """How many corals stand where, before and after."""
    states = Counter(c.after.dli_state for c in placement.corals if c.after is not None)
    judged = sum(c.band_dli is not None for c in placement.corals)
    before = sum(c.before.dli_state == "within" for c in placement.corals)
    if not judged:
        return "No coral here is judged by light."
    whom = f"{states['within']} of {count(judged, 'coral')}"
    text = f"{whom} within common practice{_stated(placement)}, {before} before"
    off = [f"{states[s]} {STATE_WORDS[s]}" for s in ("far_below", "below", "above", "far_above") if states[s]]
    if placement.unplaced:
        off.append(f"{len(placement.unplaced)} without a place")
    return f"{'; '.join([text, *off])}."


def _columns(rows: list[tuple[PlacedCoral, str]], unit: LengthUnit) -> list[Column]:
    corals = [c for c, _ in rows]
    return [
        Column("no", tuple(label for _, label in rows), right=True),
        Column("coral", tuple(literal(c.coral) for c in corals), name=True),
        Column("goes to", tuple(_goes(c, unit) for c in corals), name=True),
        Column(f"DLI now -> there\n{DLI_UNIT}", tuple(_doses(c) for c in corals)),
        Column("state there", tuple(_state(c) for c in corals)),
        Column("usual", tuple(range_text(*c.band_dli) if c.band_dli else "-" for c in corals)),
        Column("state now", tuple(STATE_WORDS[c.before.dli_state] for c in corals)),
        Column("from", tuple(spot_words(c.before.spot, unit) for c in corals), name=True),
        Column(f"moved\n{unit}", tuple(length(c.moved_m, unit) for c in corals), right=True),
    ]


def _goes(coral: PlacedCoral, unit: LengthUnit) -> str:
    if coral.after is None:
        return "no place"
    if coral.pinned and not coral.moves:
        return "stays (pinned)"
    return spot_words(coral.after.spot, unit) if coral.moves else "stays"


def _doses(coral: PlacedCoral) -> str:
    after = number(coral.after.dli_mol_m2_d) if coral.after else "-"
    return f"{number(coral.before.dli_mol_m2_d):>5} -> {after}"


def _state(coral: PlacedCoral) -> str:
    return STATE_WORDS[coral.after.dli_state] if coral.after else "-"


def _fields(coral: PlacedCoral, label: str, unit: LengthUnit) -> list[str]:
    before, after = coral.before, coral.after
    fields = [f"coral {coral.coral}", f"number {label}"]
    if after is None:
        fields.append("no place")
    else:
        verb = "moves to" if coral.moves else "stays at"
        spot = after.spot
        fields += [
            f"{verb} {spot_words(spot, unit)}",
            f"DLI {number(before.dli_mol_m2_d)} to {number(after.dli_mol_m2_d)} {DLI_UNIT}",
            STATE_WORDS[after.dli_state],
            f"before {STATE_WORDS[before.dli_state]}",
            f"x {length(spot.x_m, unit)} {unit}",
            f"y {length(spot.y_m, unit)} {unit}",
            f"depth {length(spot.depth_m, unit)} {unit}",
        ]
    fields += [f"from {spot_words(before.spot, unit)}"]
    if coral.band_dli:
        fields.append(f"usual {range_text(*coral.band_dli)} {DLI_UNIT}")
    return [*fields, "pinned"] if coral.pinned else fields
