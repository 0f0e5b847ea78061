"""A map in words and numbers: how much light where, and how much room each group has."""

from __future__ import annotations

from collections.abc import Iterator
from textwrap import wrap

import numpy as np

from lightdose.answers.words import DLI_UNIT, PPFD_UNIT, count, length, literal, number, percent, range_text
from lightdose.model.places import GroupRegion, LightMap, MapQuantity, MapSlice, Plane
from lightdose.model.record import FloatArray
from lightdose.model.setup import LengthUnit

QUANTITY_WORDS: dict[MapQuantity, tuple[str, str]] = {
    "dli": ("DLI", DLI_UNIT),
    "peak": ("peak of the day", PPFD_UNIT),
    "full_output": ("PPFD at full output", PPFD_UNIT),
}


def plane_words(plane: Plane, unit: LengthUnit) -> str:
    """Where a slice lies: "depth 20 cm", "22 cm from the front"."""
    at = f"{length(plane.at_m, unit)} {unit}"
    return {"depth": f"depth {at}", "from_front": f"{at} from the front", "from_left": f"{at} from the left"}[
        plane.kind
    ]


def place_words(part: MapSlice, cell: int, unit: LengthUnit) -> str:
    """A cell's place: "x 22.5 cm, y 10.5 cm, depth 20 cm"."""
    x, y, depth = part.cells.centres_m.reshape(-1, 3)[cell]
    return ", ".join(
        f"{name} {length(float(at), unit)} {unit}" for name, at in (("x", x), ("y", y), ("depth", depth))
    )


def slice_fields(part: MapSlice, quantity: MapQuantity, unit: LengthUnit) -> list[str]:
    """One slice's record: least, middle and most light, where, and what walls and floor give."""
    values = part.of(quantity).ravel()
    name, per = QUANTITY_WORDS[quantity]
    if not np.any(values > 0):
        return [plane_words(part.plane, unit), f"{name} 0 {per}", "no light comes here"]
    fields = [
        plane_words(part.plane, unit),
        f"{name} from {number(float(values.min()))} to {number(float(values.max()))} {per}",
        f"median {number(float(np.median(values)))} {per}",
        f"brightest at {place_words(part, int(np.argmax(values)), unit)}",
        f"dimmest at {place_words(part, int(np.argmin(values)), unit)}",
    ]
    if np.any(np.isfinite(part.wall_fraction)):
        fields.append(f"walls give {_span(part.wall_fraction)}")
        fields.append(f"the floor gives {_span(part.floor_fraction)}")
    return fields


def _span(share: FloatArray) -> str:
    low, high = percent(float(np.nanmin(share))), percent(float(np.nanmax(share)))
    return low if low == high else f"{low} to {high}"


def map_lines(light: LightMap, quantity: MapQuantity, unit: LengthUnit) -> Iterator[str]:
    """Every line of the summary, one record a line, fields parted by tabs."""
    yield literal(light.basis.sentence)
    yield from light.notes
    for part in light.slices:
        yield "\t".join(slice_fields(part, quantity, unit))
    for region in light.regions:
        yield "\t".join(region_fields(light, region, unit))
    yield closing_line(light)


def map_blocks(light: LightMap, quantity: MapQuantity, unit: LengthUnit, width: int) -> Iterator[str]:
    """The same for a terminal: a block a slice, a block a group, no line wider than the window."""
    for sentence in (light.basis.sentence, *light.notes):
        yield from wrap(literal(sentence), width)
    records = [slice_fields(part, quantity, unit) for part in light.slices]
    for head, *fields in records + [region_fields(light, region, unit) for region in light.regions]:
        yield ""
        yield from wrap(head, width)
        for field in fields:
            yield from wrap(field, width, initial_indent="  ", subsequent_indent="    ")
    yield ""
    yield from wrap(closing_line(light), width)


def region_fields(light: LightMap, region: GroupRegion, unit: LengthUnit) -> list[str]:
    """One group's record: its usual light, and its share of each slice."""
    return [
        f"group {literal(region.group.name)}",
        f"usual {range_text(*region.band_dli)} {DLI_UNIT}",
        *(
            f"{plane_words(part.plane, unit)}: within on {area_words(share)}"
            for part, share in zip(light.slices, region.area_fraction, strict=True)
        ),
    ]


def area_words(fraction: float) -> str:
    """A share of an area, never written as 0 or 100 % unless it is none or all."""
    if fraction in (0, 1):
        return "all of the area" if fraction else "none of the area"
    if fraction < 0.01:
        return "below 1 % of the area"
    return "over 99 % of the area" if fraction > 0.99 else f"{percent(fraction)} of the area"


def closing_line(light: LightMap) -> str:
    """How many groups find their usual light somewhere, and the next useful command."""
    path = literal(light.setup.path or "setup.toml")
    path = f'"{path}"' if " " in path else path
    room = sum(any(share > 0 for share in region.area_fraction) for region in light.regions)
    found = f"{room} of {count(len(light.regions), 'group')} would find usual light on these slices. "
    place = literal(light.setup.sites[0].name) if light.setup.sites else ""
    then = f'--explain "{place}"' if place else "-o maps"
    return f"{found if light.regions else ''}Next: lightdose map {path} {then}"
