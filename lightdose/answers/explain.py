"""`map --explain`: why a place is as bright as it is."""

from __future__ import annotations

from collections.abc import Iterator
from operator import attrgetter
from typing import Final

from lightdose.answers.answer import Answer
from lightdose.answers.blocks import Point, Points, Say, Section
from lightdose.answers.field import Field, as_json, plain, said, table
from lightdose.answers.words import DLI_UNIT, PPFD_UNIT, length, number, percent, typed_path
from lightdose.model.places import WALL_PARTS, LightExplanation
from lightdose.model.setup import LengthUnit
from lightdose.quantities import BANDS

PART_WORDS: Final = {
    **{name: f"off the {name} pane" for name in WALL_PARTS if name != "rim"},
    "rim": "off the dry rim above the water",
}


def share_words(fraction: float) -> str:
    """A share in percent, with a decimal where it is small."""
    if 0 < fraction < 0.001:
        return "below 0.1 %"
    return percent(fraction) if fraction >= 0.1 or fraction == 0 else f"{100 * fraction:.1f} %"


# fmt: off
FIELDS: Final = (
    Field("site", "site", lambda w: w.receiver.site or None, what="null for a free place"),
    *(Field(name, name, attrgetter(f"receiver.{name}")) for name in ("x_m", "y_m", "depth_m", "open_sky")),
    Field("dli_mol_m2_d", "DLI", lambda w: w.dli_mol_m2_d, "dli"),
    Field("peak_ppfd_umol_m2_s", "peak", lambda w: w.peak_ppfd_umol_m2_s, "peak"),
    Field("full_output_ppfd_umol_m2_s", "full output", lambda w: w.full_output_ppfd_umol_m2_s, "ppfd"),
    Field("shares_by", "shares by", lambda w: "day" if w.by_day else "full output"),
    Field("part_share", "parts", lambda w: dict(w.part_share) or None, what="of each way of the light, 0-1"),
    Field("wall_share", "by walls", lambda w: w.wall_share if w.part_share else None),
    Field("mean_path_m", "way in water", lambda w: w.mean_path_m),
    Field("surface_loss_fraction", "lost at the surface", lambda w: w.surface_loss_fraction),
    Field("absorbed_fraction", "absorbed", lambda w: w.absorbed_fraction, what="by water, 0-1"),
    Field("level_median_dli_mol_m2_d", "median of the depth", lambda w: w.level_median_dli, "dli"),
    Field("shaded_by", "shaded by", lambda w: dict(w.shaded_by) or None,
          what="share of the open light by rays that each solid alone keeps away, 0-1"),
    Field("level_rank", "brighter than", lambda w: w.level_rank, what="share of that depth, 0-1"),
)
CHANNEL: Final = (
    Field("fixture", "fixture", lambda c: c.fixture, kind="string", fold=True, at={"channels": 0}),
    Field("channel", "channel", lambda c: c.channel, kind="string", fold=True, at={"channels": 1}),
    Field("share", "share", lambda c: c.share, show=share_words, at={"channels": 2}),
    Field("dli_mol_m2_d", "DLI", lambda c: c.dli_mol_m2_d, "dli", at={"channels": 3}),
    Field("full_output_ppfd_umol_m2_s", "at full", lambda c: c.full_output_ppfd_umol_m2_s, "ppfd",
          at={"channels": 4}),
)
# fmt: on


def explain_answer(why: LightExplanation, unit: LengthUnit) -> Answer:
    """What light comes here, by which ways, with which losses, and from which channels."""
    way = said("way", "in water", lambda c: _way(c.mean_path_m, unit), unit=unit, at={"channels": 5})
    channels = sorted(why.channels, key=lambda c: -c.share) if why.part_share else []
    caption = "From which channels"
    shown = table("channels", caption, (*CHANNEL, way), channels, least=4)
    return Answer(
        "map-explain",
        (
            Say(why.basis.sentence, "basis"),
            Points(tuple(_points(why, unit))),
            *([Section(caption, (shown,))] if channels else []),
            Say(f"Next: lightdose map {typed_path(why.setup)} -o maps", "verdict"),
        ),
        lambda: (
            as_json(FIELDS, why)
            | {
                "fixtures": [{"fixture": name, "share": s} for name, s in why.fixture_shares().items()],
                "channels": plain(why.channels),
            }
        ),
        title=why.setup.title,
        basis=why.basis.key,
        setups=(why.setup,),
    )


def _way(metres: float | None, unit: LengthUnit) -> str | None:
    return None if metres is None else length(metres, unit)


def _points(why: LightExplanation, unit: LengthUnit) -> Iterator[Point]:
    """What is told of a place: how much light, beside what, by which ways, with which losses."""
    here = why.receiver
    x, y, z = (length(m, unit) for m in (here.x_m, here.y_m, abs(here.depth_m)))
    below = f"{z} {unit} {'deep' if here.depth_m >= 0 else 'above the water'}"
    yield Point(f"{here.name}: x {x}, y {y} {unit}, {below}", "place")
    full = f"all channels full {number(why.full_output_ppfd_umol_m2_s)} {PPFD_UNIT}"
    peak = f"peak {number(why.peak_ppfd_umol_m2_s)} {PPFD_UNIT}"
    yield Point(f"{number(why.dli_mol_m2_d)} {DLI_UNIT}, {peak}, {full}", "light")
    if here.open_sky < 1:
        yield Point(f"{here.open_sky:g} of it, counted in every figure here", "open sky")
    if why.shaded_by:
        by = ", ".join(f"{name}: {share_words(share)}" for name, share in why.shaded_by.items())
        alone = ", each alone" if len(why.shaded_by) > 1 else ""
        yield Point(f"{by} of the open light{alone}", "shaded by")
    median, rank = why.level_median_dli, why.level_rank
    if median and rank is not None:
        times, middle = number(why.dli_mol_m2_d / median), f"{number(median)} {DLI_UNIT} at {z} {unit}"
        beside = f"{times} times the median of this depth ({middle}, under the same open sky)"
        yield Point(f"{beside}; brighter than {share_words(rank)} of it", "compared")
    if not why.part_share:
        yield Point("no light comes here", "why")
        return
    if not why.by_day:
        yield Point("no programme runs: shares count every channel at full output", "shares")
    yield from _ways(why)
    yield from _losses(why, unit)
    for name, share in why.fixture_shares().items():
        yield Point(share_words(share), f"fixture {name}")


def _ways(why: LightExplanation) -> Iterator[Point]:
    parts = why.part_share
    yield Point(f"{share_words(parts['direct'])} comes straight from the fixtures", "straight")
    walls = sorted(((parts[name], name) for name in WALL_PARTS if parts[name] > 0), reverse=True)
    by = ", ".join(f"{share_words(share)} {PART_WORDS[name]}" for share, name in walls)
    yield Point(f"{share_words(why.wall_share)} comes by the walls{f': {by}' if by else ''}", "walls")
    off = f"off the floor{_and_solids(why)}, by way of the surface from below"
    yield Point(f"{share_words(parts['floor'])} comes {off}", "floor")


def _and_solids(why: LightExplanation) -> str:
    return " and off what stands in the tank" if why.setup.standing is not None else ""


def _losses(why: LightExplanation, unit: LengthUnit) -> Iterator[Point]:
    depth_m, absorbed = why.receiver.depth_m, why.absorbed_fraction
    if why.mean_path_m is not None:
        path = f"{length(why.mean_path_m, unit)} {unit} on average"
        yield Point(f"{path}, at a depth of {length(depth_m, unit)} {unit}", "way in water")
    if why.surface_loss_fraction is not None:
        yield Point(f"turns {share_words(why.surface_loss_fraction)} of that light back", "surface")
    whole = absorbed["ppfd"]
    if whole is not None and depth_m >= 0:
        shares = [(band.name, absorbed[band.key]) for band in BANDS]
        bands = ", ".join(f"{name} {share_words(taken)}" for name, taken in shares if taken is not None)
        yield Point(f"absorbs {share_words(whole)} of 400-700 nm: {bands}", "water")
