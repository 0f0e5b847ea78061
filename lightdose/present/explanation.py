"""Why a place is as bright as it is: a table of words and numbers."""

from __future__ import annotations

from collections.abc import Iterator
from textwrap import wrap

from lightdose.answers.words import DLI_UNIT, PPFD_UNIT, length, literal, number, percent
from lightdose.model.places import WALL_PARTS, ChannelShare, LightExplanation
from lightdose.model.setup import LengthUnit
from lightdose.quantities import BANDS

Row = tuple[str, str]

PART_WORDS = {
    **{name: f"off the {name} pane" for name in WALL_PARTS if name != "rim"},
    "rim": "off the dry rim above the water",
}


def share_words(fraction: float) -> str:
    """A share in percent, with a decimal where it is small."""
    if 0 < fraction < 0.001:
        return "below 0.1 %"
    return percent(fraction) if fraction >= 0.1 or fraction == 0 else f"{100 * fraction:.1f} %"


def explanation_rows(why: LightExplanation, unit: LengthUnit) -> list[Row]:
    """What is told of a place, row by row: a word or two, and the answer."""
    here = why.receiver
    place = ", ".join(f"{n} {length(v, unit)}" for n, v in (("x", here.x_m), ("y", here.y_m)))
    below = f"{length(abs(here.depth_m), unit)} {unit} {'deep' if here.depth_m >= 0 else 'above the water'}"
    rows = [
        ("place", f"{literal(here.name)}: {place} {unit}, {below}"),
        (
            "light",
            f"{number(why.dli_mol_m2_d)} {DLI_UNIT}, peak {number(why.peak_ppfd_umol_m2_s)} {PPFD_UNIT}, "
            f"all channels full {number(why.full_output_ppfd_umol_m2_s)} {PPFD_UNIT}",
        ),
    ]
    if here.open_sky < 1:
        rows.append(("open sky", f"{here.open_sky:g} of it, counted in every figure here"))
    rows += _comparison(why, unit)
    if not why.part_share:
        return [*rows, ("why", "no light comes here")]
    if not why.by_day:
        rows.append(("shares", "no programme runs: shares count every channel at full output"))
    return [*rows, *_ways(why), *_losses(why, unit), *_sources(why, unit)]


def _comparison(why: LightExplanation, unit: LengthUnit) -> list[Row]:
    median, rank = why.level_median_dli, why.level_rank
    if median is None or rank is None or not median > 0:
        return []
    ratio = why.dli_mol_m2_d / median
    depth = f"{length(why.receiver.depth_m, unit)} {unit}"
    return [
        (
            "compared",
            f"{number(ratio)} times the median of this depth ({number(median)} {DLI_UNIT} at {depth}, under "
            f"the same open sky); brighter than {share_words(rank)} of it",
        )
    ]


def _ways(why: LightExplanation) -> list[Row]:
    rows = [("straight", f"{share_words(why.part_share['direct'])} comes straight from the fixtures")]
    walls = sorted(((why.part_share[n], n) for n in WALL_PARTS if why.part_share[n] > 0), reverse=True)
    text = f"{share_words(why.wall_share)} comes by the walls"
    if walls:
        text += ": " + ", ".join(f"{share_words(share)} {PART_WORDS[name]}" for share, name in walls)
    floor = f"{share_words(why.part_share['floor'])} comes off the floor, by way of the surface from below"
    return [*rows, ("walls", text), ("floor", floor)]


def _losses(why: LightExplanation, unit: LengthUnit) -> list[Row]:
    rows = []
    if why.mean_path_m is not None:
        rows.append(
            (
                "way in water",
                f"{length(why.mean_path_m, unit)} {unit} on average, at a depth of "
                f"{length(why.receiver.depth_m, unit)} {unit}",
            )
        )
    if why.surface_loss_fraction is not None:
        rows.append(("surface", f"turns {share_words(why.surface_loss_fraction)} of that light back"))
    absorbed = why.absorbed_fraction
    whole = absorbed["ppfd"]
    if whole is not None and why.receiver.depth_m >= 0:
        bands = ", ".join(
            f"{band.name} {share_words(taken)}" for band in BANDS if (taken := absorbed[band.key]) is not None
        )
        rows.append(("water", f"absorbs {share_words(whole)} of 400-700 nm: {bands}"))
    return rows


def _sources(why: LightExplanation, unit: LengthUnit) -> list[Row]:
    rows = [(f"fixture {name}", share_words(share)) for name, share in why.fixture_shares().items()]
    return rows + [
        (f"{channel.fixture}: {channel.channel}", _channel_words(channel, unit))
        for channel in sorted(why.channels, key=lambda c: -c.share)
    ]


def _channel_words(channel: ChannelShare, unit: LengthUnit) -> str:
    words = (
        f"{share_words(channel.share)}, {number(channel.dli_mol_m2_d)} {DLI_UNIT}, "
        f"full {number(channel.full_output_ppfd_umol_m2_s)} {PPFD_UNIT}"
    )
    if channel.mean_path_m is None:
        return words
    return f"{words}, {length(channel.mean_path_m, unit)} {unit} in water"


def explanation_lines(why: LightExplanation, unit: LengthUnit, width: int | None) -> Iterator[str]:
    """Rows for a terminal of some width, or one record a line, parted by a tab, where it is None."""
    yield literal(why.basis.sentence)
    rows = [(literal(head), literal(text)) for head, text in explanation_rows(why, unit)]
    if width is None:
        yield from (f"{head}\t{text}" for head, text in rows)
        return
    margin = min(max(len(head) for head, _ in rows), max(width // 3, 12)) + 2
    for head, text in rows:
        lines = wrap(text, max(width - margin, 20)) or [""]
        first = f"{head:<{margin}}"
        if len(head) >= margin:
            yield head
            first = " " * margin
        yield first + lines[0]
        yield from (" " * margin + line for line in lines[1:])
