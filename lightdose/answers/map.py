"""`map`: how much light where in the tank, and how much room each group has."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from operator import itemgetter
from typing import Any, Final

import numpy as np

from lightdose.answers.answer import Answer
from lightdose.answers.blocks import Say, Section
from lightdose.answers.field import Field, Sheet, said, table
from lightdose.answers.words import (
    DLI_UNIT,
    PPFD_UNIT,
    as_typed,
    count,
    length,
    number,
    percent,
    range_text,
    typed_path,
)
from lightdose.errors import literal
from lightdose.model.places import AXES, GroupRegion, LightMap, MapQuantity, MapSlice, Plane, SkinView
from lightdose.model.record import FloatArray, dataclass
from lightdose.model.setup import LengthUnit

QUANTITIES: Final[dict[MapQuantity, tuple[str, str]]] = {
    "dli": ("DLI", DLI_UNIT),
    "peak": ("peak of the day", PPFD_UNIT),
    "full_output": ("PPFD at full output", PPFD_UNIT),
}
ACROSS: Final = {"depth": ("x_m", "y_m"), "from_front": ("x_m", "depth_m"), "from_left": ("y_m", "depth_m")}
"""What lies along the columns and along the rows of a slice."""

ENDS: Final = (("left", "right"), ("front", "back"), ("surface", "floor"))
"""What a cell at an end of x, y or depth lies against."""

SKINS: Final = "Light on the skins of rock and colonies, as they face"

DEPTH: Final = 2
"""The last of these axes."""


@dataclass(frozen=True, eq=False)
class Row:
    """A slice with light."""

    part: MapSlice
    quantity: MapQuantity
    unit: LengthUnit

    def value(self, middle: Callable[[FloatArray], Any]) -> float:
        """The least, the middle or the most light of all cells in the water."""
        return float(middle(self.part.of(self.quantity)[self.part.water]))

    def place(self, extreme: Callable[[FloatArray], Any]) -> str:
        """Where the brightest or the dimmest cell lies: x, y, depth; at an end what it lies against."""
        cells = self.part.cells
        row, column = divmod(int(extreme(self.part.of(self.quantity).ravel())), cells.shape[1])
        words = [length(metres, self.unit) for metres in cells.centres_m[row, column].tolist()]
        ends = zip(AXES[cells.plane.kind], (column, row), cells.shape[::-1], strict=False)
        at = {axis: ENDS[axis][index > 0] for axis, index, n in ends if index in (0, n - 1)}
        for axis, end in at.items():
            words[axis] = end if axis == DEPTH else f"{end} glass"
        if {0, 1} <= at.keys():
            words[:2] = [f"{at[1]} {at[0]} corner"]
        return ", ".join(words)

    def share(self, name: str) -> str | None:
        """How much of the day's light comes by walls or floor; None where it is not known."""
        share = getattr(self.part, name)
        if not np.any(np.isfinite(share)):
            return None
        low, high = percent(float(np.nanmin(share))), percent(float(np.nanmax(share)))
        return low if low == high else f"{low} to {high}"


def plane_words(plane: Plane, unit: LengthUnit) -> str:
    """Where a slice lies: "depth 20 cm", "22 cm from the front"."""
    at = f"{length(plane.at_m, unit)} {unit}"
    if plane.kind == "depth":
        return f"depth {at}"
    return f"{at} from the {'front' if plane.kind == 'from_front' else 'left'}"


def area_words(fraction: float) -> str:
    """A share of an area, never written as 0 or 100 % unless it is none or all."""
    return f"{_area(fraction)} of the area"


def _area(fraction: float) -> str:
    if fraction in (0, 1):
        return "all" if fraction else "none"
    if fraction < 0.01:
        return "below 1 %"
    return "over 99 %" if fraction > 0.99 else percent(fraction)


# fmt: off
FIELDS: Final = (
    Field("x_cm", "x", itemgetter(0), what="of the cell's centre, from the left pane", unit="cm"),
    Field("y_cm", "y", itemgetter(1), what="of the cell's centre, from the front pane", unit="cm"),
    Field("depth_cm", "depth", itemgetter(2), what="of the cell's centre, below the surface", unit="cm"),
    Field("ppfd_umol_m2_s", "peak", itemgetter(3), "peak",
          "highest PPFD of the day under open sky; empty in rock and colonies"),
    Field("dli_mol_m2_d", "DLI", itemgetter(4), "dli",
          "photons of 400-700 nm in the day under open sky; empty in rock and colonies"),
    Field("wall_fraction", "by walls", itemgetter(5),
          what="share of the day's photons that came by a wall, not by the floor"),
    Field("floor_fraction", "off the floor", itemgetter(6),
          what="share of the day's photons that came by the floor"),
)
SLICE: Final = (
    said("plane", "slice", lambda r: plane_words(r.part.plane, r.unit), kind="string", at={"slices": 0}),
    said("least", "least", lambda r: r.value(np.min), at={"slices": 1}),
    said("median", "median", lambda r: r.value(np.median), at={"slices": 2}),
    said("most", "most", lambda r: r.value(np.max), at={"slices": 3}),
    said("brightest", "brightest at\nx, y, depth", lambda r: r.place(np.nanargmax), kind="string",
         unit="length", at={"slices": 4}),
    said("dimmest", "dimmest at\nx, y, depth", lambda r: r.place(np.nanargmin), kind="string",
         unit="length", at={"slices": 5}),
    said("walls", "walls give", lambda r: r.share("wall_fraction"), kind="string", at={"slices": 6}),
    said("floor", "floor gives", lambda r: r.share("floor_fraction"), kind="string", at={"slices": 7}),
)
GROUP: Final = (
    said("group", "group", lambda g: g.group.name, kind="string", fold=True, at={"groups": 0}),
    said("usual", "usual", lambda g: range_text(*g.band_dli), kind="string", unit=DLI_UNIT, at={"groups": 1}),
)
# fmt: on


def map_answer(light: LightMap, quantity: MapQuantity, unit: LengthUnit) -> Answer:
    """Light on every slice, and each group's share of each."""
    lit = [Row(s, quantity, unit) for s in light.slices if np.any(s.of(quantity) > 0)]
    dark = [s for s in light.slices if not np.any(s.of(quantity) > 0)]
    name, per = QUANTITIES[quantity]
    slices = [replace(f, unit=per) if f.name in ("least", "median", "most") else f for f in SLICE]
    caption, usual = f"{name[0].upper()}{name[1:]} on each slice", "Share of each slice within usual light"
    on_slices = table("slices", caption, slices, lit, stacks=True, length_unit=unit)
    groups = table("groups", usual, (*GROUP, *_shares(light, unit)), light.regions, stacks=True)
    return Answer(
        "map",
        (
            Say(light.basis.sentence, "basis"),
            *map(Say, light.notes),
            *([Section(caption, (on_slices,))] if lit else []),
            *map(Say, _filled(light, unit)),
            _skins(light, quantity, per),
            *(Say(f"{plane_words(s.plane, unit)}: {name} 0 {per}, no light comes here") for s in dark),
            *([Section(usual, (groups,))] if light.regions else []),
            Say(closing_line(light), "verdict"),
        ),
        lambda: _body(light),
        title=light.setup.title,
        basis=light.basis.key,
        setups=(light.setup,),
        sheet=Sheet(FIELDS, np.concatenate([_cells(part) for part in light.slices])),  # type: ignore[arg-type]
    )


@dataclass(frozen=True, eq=False)
class SkinRow:
    """What is seen of one solid, from above and from the front."""

    name: str
    above: FloatArray
    front: FloatArray


def skin_rows(light: LightMap, quantity: MapQuantity) -> list[SkinRow]:
    """A row a solid of which something is seen, the brightest from above first."""
    above, front = light.skins
    rows = [
        SkinRow(name, *(view.of(quantity)[view.on == n] for view in (above, front)))
        for n, name in enumerate(above.names)
    ]
    seen = [row for row in rows if row.above.size or row.front.size]
    return sorted(seen, key=lambda r: -float(np.median(r.above if r.above.size else r.front)))


def _span(get: Callable[[SkinRow], FloatArray]) -> Callable[[SkinRow], str | None]:
    """Least to most of what is seen, and the median."""

    def words(row: SkinRow) -> str | None:
        values = get(row)
        if values.size == 0:
            return None
        low, middle, high = (number(float(v)) for v in np.quantile(values, (0, 0.5, 1)))
        return f"{low}-{high}, {middle}"

    return words


def _skins(light: LightMap, quantity: MapQuantity, per: str) -> Section:
    """Light on skins, a row a solid; empty where it was not asked for."""
    if not light.skins:
        return Section("", ())
    heads: tuple[tuple[str, str, Callable[[SkinRow], FloatArray]], ...] = (
        ("above", "seen from above:\nrange, median", lambda r: r.above),
        ("front", "seen from the front:\nrange, median", lambda r: r.front),
    )
    fields = [
        said("name", "skin of", lambda r: literal(r.name), kind="string", fold=True, at={"skins": 0}),
        *(
            said(name, head, _span(get), kind="string", unit=per, at={"skins": 1 + n})
            for n, (name, head, get) in enumerate(heads)
        ),
    ]
    rows = table("skins", SKINS, fields, skin_rows(light, quantity), stacks=True)
    return Section(SKINS, (rows,))


def _filled(light: LightMap, unit: LengthUnit) -> list[str]:
    """How much of each slice is no water."""
    filled = [(part.plane, 1 - float(np.mean(part.water))) for part in light.slices]
    told = [f"{percent(share)} at {plane_words(plane, unit)}" for plane, share in filled if share > 0]
    return [f"Rock and colonies fill {', '.join(told)}; all figures are of the water."] if told else []


def _shares(light: LightMap, unit: LengthUnit) -> list[Field]:
    """A column a slice: what share of it a group would find usual."""

    def share(n: int) -> Callable[[GroupRegion], str]:
        return lambda region: _area(region.area_fraction[n])

    return [
        said(f"slice-{n}", plane_words(part.plane, unit), share(n), kind="string", at={"groups": 2 + n})
        for n, part in enumerate(light.slices)
    ]


def _cells(part: MapSlice) -> FloatArray:
    """The values of ``FIELDS`` for every cell of a slice, row by row, shape (n_cell, 7)."""
    places = np.round(100 * part.cells.centres_m.reshape(-1, 3), 9)
    values = (part.peak, part.dli, part.wall_fraction, part.floor_fraction)
    return np.column_stack([places, *(value.ravel() for value in values)])


def _body(light: LightMap) -> dict[str, Any]:
    """Every slice with its cells, row by row, and every group's share of each slice."""
    sources = light.setup.group_sources
    return {
        "cell_m": light.cell_m,
        "samples_per_side": light.samples,
        "open_sky": 1.0,
        "slices": [_slice(part) for part in light.slices],
        "groups": [
            {
                "group": region.group.key,
                "name": region.group.name,
                "band_dli": list(region.band_dli),
                "area_fraction": list(region.area_fraction),
                "grade": region.group.grade,
                "sources": [sources.get(s, s) for s in region.group.sources],
            }
            for region in light.regions
        ],
        "notes": list(light.notes),
        "skins": [_skin(view) for view in light.skins],
    }


def _slice(part: MapSlice) -> dict[str, Any]:
    columns, rows = ACROSS[part.plane.kind]
    grids = {
        "ppfd_umol_m2_s": part.peak,
        "full_output_ppfd_umol_m2_s": part.full_output,
        "dli_mol_m2_d": part.dli,
        "wall_fraction": part.wall_fraction,
        "floor_fraction": part.floor_fraction,
    }
    return {
        "plane": part.plane.kind,
        "at_m": part.plane.at_m,
        "columns": columns,
        "rows": rows,
        columns: part.cells.column_centres_m.tolist(),
        rows: part.cells.row_centres_m.tolist(),
        **{key: _grid(values) for key, values in grids.items()},
    }


def _skin(view: SkinView) -> dict[str, Any]:
    columns, rows = ACROSS[view.cells.plane.kind]
    return {
        "seen_from": "above" if view.cells.plane.kind == "depth" else "front",
        columns: view.cells.column_centres_m.tolist(),
        rows: view.cells.row_centres_m.tolist(),
        "on": [[view.names[n] if n >= 0 else None for n in row] for row in view.on.tolist()],
        "ppfd_umol_m2_s": _grid(view.peak),
        "full_output_ppfd_umol_m2_s": _grid(view.full_output),
        "dli_mol_m2_d": _grid(view.dli),
    }


def _grid(values: FloatArray) -> list[list[float | None]]:
    return [[value if math.isfinite(value) else None for value in row] for row in values.tolist()]


def closing_line(light: LightMap) -> str:
    """How many groups find their usual light somewhere, and the next useful command."""
    path = typed_path(light.setup)
    sites = light.setup.sites
    following = f"Next: lightdose map {path} {f'--explain {as_typed(sites[0].name)}' if sites else '-o maps'}"
    if not light.regions:
        return following
    room = sum(any(share > 0 for share in region.area_fraction) for region in light.regions)
    groups = count(len(light.regions), "group")
    return f"{room} of {groups} would find usual light on these slices. {following}"
