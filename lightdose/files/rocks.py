"""Rock and braces of a setup: [[rock]], rocks.csv, [[brace]], and how places stand to what is solid."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Any

from lightdose.errors import Place, Problem, SetupError
from lightdose.files.input_files import InputFiles
from lightdose.files.setup_places import CoralsReading, PlacesReading
from lightdose.files.setup_schema import BRACE, ROCK
from lightdose.files.toml_positions import KeyPath
from lightdose.files.toml_tables import TomlDocument, problem_at
from lightdose.files.units import format_length
from lightdose.model.forms import MOST_SOLIDS, ROCK_REFLECTANCE
from lightdose.model.setup import Coral, Site, Tank
from lightdose.model.solids import Brace, Shape, Solid, colony
from lightdose.quantities import PPFD_BAND

SNAP_M = 0.005
"""A place so near the top of a rock, or no deeper in its side, stands on it. Our choice. [m]"""

SKIN_M = 2e-4
"""A place is in a rock where it lies deeper than this. [m]"""

FROM_PANE_M = 0.01
"""A place nearer to a pane is offered last. Our choice. [m]"""


@dataclass(eq=False)
class RocksReading:
    """Collects the solids of one setup; ``tank`` is None where its own table has problems."""

    document: TomlDocument
    files: InputFiles
    tank: Tank | None
    rocks: list[Solid] = field(default_factory=list)
    braces: list[Brace] = field(default_factory=list)
    _named_at: dict[str, Place] = field(default_factory=dict)

    def read_rocks(self, tables: int) -> None:
        """All [[rock]] tables."""
        for n in range(tables):
            path: KeyPath = ("rock", n)
            values = ROCK.read(self.document, path, self.files.problems)
            at = self._vertical((*path, "at"), values.get("at"))
            if at is None or len(values) < len(ROCK.keys):
                continue
            size = (values["size"]["x"], values["size"]["y"], values["size"]["z"])
            place = self.document.value_place((*path, "name"))
            back = self._reflectance(values["name"], (*path, "reflectance"), values["reflectance"])
            self.add(solid(values["name"], values["shape"], at, size, values["turn_deg"], back), place)

    def _reflectance(self, rock: str, path: KeyPath, given: float | str) -> float:
        """A number as it is; of a file the mean over 400-700 nm, since skins count as grey."""
        if not isinstance(given, str):
            return given
        place = self.document.value_place(path)
        table = self.files.spectral_table(given, place, self.document.file, allowed=(0.0, 0.99))
        if table is None:
            return ROCK_REFLECTANCE
        from lightdose.model.spectrum import GRID_NM

        seen = (PPFD_BAND.low_nm < GRID_NM) & (PPFD_BAND.high_nm > GRID_NM)
        mean = float(table.on_grid()[seen].mean())
        self.files.understood.append(
            f"rock {rock}: reflectance {mean:.2g}, the mean of {given} over 400-700 nm"
        )
        return mean

    def _vertical(self, path: KeyPath, at: dict[str, Any] | None) -> tuple[float, float, float] | None:
        """x, y and depth of a rock's centre, whether it lies in the water or not."""
        if at is None or self.tank is None:
            return None
        depth, height = at["depth"], at["height"]
        if (depth is None) == (height is None):
            says = "depth and height stand together" if depth is not None else "neither depth nor height"
            cure = "keep one of them" if depth is not None else 'add height = "10 cm"'
            allowed = "height above the floor, or depth below the surface"
            self.files.problems.append(problem_at(self.document, path, says, allowed, cure))
            return None
        return at["x"], at["y"], self.tank.water_depth_m - height if depth is None else depth

    def read_rocks_csv(self, named: str) -> None:
        """The file that the key ``rocks`` names."""
        path = self.files.find(named, self.document.value_place(("rocks",)), beside=self.document.file)
        if path is None or self.tank is None:
            return
        from lightdose.files.rocks_csv import read_rocks

        with self.files.collecting():
            rows, said = read_rocks(path, str(path))
            for row in rows:
                x_m, y_m, up_m = row.at_m
                at = (x_m, y_m, self.tank.water_depth_m - up_m)
                self.add(solid(row.name, row.shape, at, row.size_m, row.turn_deg, row.reflectance), row.place)
            self.files.understood.append(said)

    def read_braces(self, tables: int) -> None:
        """All [[brace]] tables."""
        for n in range(tables):
            path: KeyPath = ("brace", n)
            values = BRACE.read(self.document, path, self.files.problems)
            if len(values) < len(BRACE.keys):
                continue
            ends = [(values[key]["x"], values[key]["y"]) for key in ("from", "to")]
            if ends[0] == ends[1]:
                found, cure = "its two ends are one point", "write where it begins and where it ends"
                self.files.problems.append(problem_at(self.document, (*path, "to"), found, cure=cure))
                continue
            self.braces.append(Brace(values["name"], ends[0], ends[1], values["width"], values["passes"]))

    def add(self, rock: Solid, place: Place) -> None:
        """A rock; what reaches out of the water is cut and said, what lies outside it is refused."""
        assert self.tank is not None
        if rock.name in self._named_at:
            cure = f"it stands at {self._named_at[rock.name]} already"
            self._problem(f"the rock name {rock.name!r} stands twice", place, cure=cure)
            return
        self._named_at[rock.name] = place
        tank = self.tank
        spans = (tank.length_m, tank.width_m, tank.water_depth_m)
        beyond = (("left", "right"), ("front", "back"))
        outside, cut = [], []
        for axis, ((low, high), span) in enumerate(zip(rock.extent_m, spans, strict=True)):
            words = (
                tuple(f"the {side} wall" for side in beyond[axis])
                if axis < 2
                else ("the surface", "the floor")
            )
            for word, over, out in ((words[0], -low, high <= 0), (words[1], high - span, low >= span)):
                if out:
                    outside.append(word)
                elif over > 1e-6:
                    cut.append(f"{format_length(over, 'cm')} beyond {word}")
        if outside:
            found = f"rock {rock.name!r} lies beyond {' and '.join(outside)}"
            self._problem(found, place, "rock in the water of the tank", "mend at; height is above the floor")
            return
        if cut:
            self.files.understood.append(f"rock {rock.name}: cut, it reaches {', '.join(cut)}")
        self.rocks.append(rock)

    def settle(self, places: PlacesReading, corals: CoralsReading) -> None:
        """Put places near the top of a rock on it, and name those in rock; count all that is solid."""
        bodies = sum(c.diameter_m > 0 and c.form != "none" for c in corals.corals)
        if len(self.rocks) + bodies > MOST_SOLIDS:
            found = f"{len(self.rocks):,} rocks and {bodies:,} colonies with a diameter"
            table = ("rock", 0) if "rock" in self.document.data else ("rocks",)
            if table[0] in self.document.data:
                place = self.document.value_place(table)
            else:
                place = Place(self.document.file)
            self._problem(found, place, f"up to {MOST_SOLIDS} in all", "leave out what shades nothing")
            return
        if not self.rocks or self.tank is None:
            return
        stated = [s.name for s in places.sites if s.own_sky]
        stated += [c.name for c in corals.corals if c.own_sky]
        if stated:
            self.files.understood.append(
                f"open sky is written at {first_names(stated)}: it stands for all that shades these places, "
                "rock and colonies are left out there"
            )
        for n, site in enumerate(places.sites):
            places.sites[n] = self._settled(site, places.place_of(site.name))
        at = {s.name: s for s in places.sites}
        for coral in corals.corals:
            if coral.height_m > 0 and coral.site in at:
                site = at[coral.site]
                top = (site.x_m, site.y_m, site.depth_m - coral.height_m)
                rock = self._holding(top)
                if rock is not None:
                    found = f"coral {coral.name!r}: its top stands in {rock.name}"
                    room = (
                        "below or beside it"
                        if rock.inside_m(*top[:2], site.depth_m) < -SKIN_M
                        else "outside it"
                    )
                    self._problem(found, corals.place_of(coral.name), room, "mend its height or its place")

    def _settled(self, site: Site, place: Place) -> Site:
        """The site on the skin that it is meant to stand on; a problem where it lies in a rock."""
        assert self.tank is not None
        spot = (site.x_m, site.y_m, site.depth_m)
        what = "coral" if site.implicit else "site"
        for rock in self.rocks:
            top = rock.top_at(site.x_m, site.y_m)
            if top is not None and 1e-9 < abs(top - site.depth_m) <= SNAP_M and top >= 0:
                moved = replace(site, depth_m=top)
                if self._holding((site.x_m, site.y_m, top)) is None:
                    way = format_length(abs(top - site.depth_m), "cm")
                    up = "up" if top < site.depth_m else "down"
                    said = f"{what} {site.name}: put {way} {up}, onto {rock.name}"
                    self.files.understood.append(said)
                    return moved
        holds = self._holding(spot)
        if holds is None:
            return site
        outside = self._nearest_outside(holds, spot)
        if outside is not None and (deep_m := math.dist(outside, spot)) <= SNAP_M:
            way = format_length(deep_m, "cm")
            self.files.understood.append(f"{what} {site.name}: put {way} out, onto {holds.name}")
            return replace(site, x_m=outside[0], y_m=outside[1], depth_m=outside[2])
        allowed = "outside rock"
        if outside is not None:
            x_cm, y_cm, d_cm = (f'"{100 * v:.4g} cm"' for v in outside)
            allowed = f"the nearest place outside it is {{ x = {x_cm}, y = {y_cm}, depth = {d_cm} }}"
        found = f"{what} {site.name!r} lies in {holds.name}"
        self._problem(found, place, allowed, "mend the place or the rock")
        return site

    def _holding(self, spot: tuple[float, float, float]) -> Solid | None:
        return next((rock for rock in self.rocks if rock.inside_m(*spot) > SKIN_M), None)

    def _nearest_outside(
        self, rock: Solid, spot: tuple[float, float, float]
    ) -> tuple[float, float, float] | None:
        """x, y and depth of the nearest place in the water that no rock holds, or None. [m]"""
        assert self.tank is not None
        tank = self.tank

        def order(way: tuple[float, float, float]) -> tuple[bool, float]:
            """Places against a pane come last."""
            room = min(way[0], tank.length_m - way[0], way[1], tank.width_m - way[1])
            return room < FROM_PANE_M, sum((a - b) ** 2 for a, b in zip(way, spot, strict=True))

        for x, y, depth in sorted(rock.ways_out(*spot), key=order):
            inside = 0 <= x <= tank.length_m and 0 <= y <= tank.width_m and 0 <= depth <= tank.water_depth_m
            if inside and self._holding((x, y, depth)) is None:
                return x, y, depth
        return None

    def _problem(self, found: str, place: Place, allowed: str = "", cure: str = "") -> None:
        self.files.problems.append(Problem(found, allowed, cure, place))


def first_names(names: list[str], most: int = 8) -> str:
    """The first few names, and how many there are where these are not all."""
    return ", ".join(names[:most]) + (f", ... ({len(names)} in all)" if len(names) > most else "")


def solid(
    name: str,
    shape: str,
    at_m: tuple[float, float, float],
    size_m: tuple[float, float, float],
    turn_deg: float,
    reflectance: float,
) -> Solid:
    """A rock as it is written: x, y and depth of its centre, or of the middle of its top for a slab. [m]"""
    x_m, y_m, depth_m = at_m
    kind: Shape = "box" if shape == "slab" else shape  # type: ignore[assignment]
    if shape == "slab":
        depth_m += 0.5 * size_m[2]
    return Solid(name, kind, x_m, y_m, depth_m, size_m, turn_deg, reflectance)


def body_problem(coral: Coral) -> tuple[str, str] | None:
    """What a coral's form lacks, and the cure; None where nothing does."""
    if coral.form not in (None, "none") and coral.diameter_m == 0:
        return f'the form "{coral.form}" needs a diameter', 'add diameter = "9 cm", or write form = "none"'
    if coral.diameter_m == 0 or coral.height_m > 0 or coral.form == "none":
        return None
    try:
        colony(coral.name, coral.form, coral.group, (0, 0, 0), coral.diameter_m, coral.height_m)
    except SetupError:
        return "its colony needs a height", 'add height = "6 cm", or write form = "mat" or "none"'
    return None
