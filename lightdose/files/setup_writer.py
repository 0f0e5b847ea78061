"""A setup as files: what the readers read back to the same setup, edits in code included."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import field, replace
from typing import TYPE_CHECKING, Any

from lightdose.files.fixture_writer import fixture_text, spectral_text, spectrum_text
from lightdose.files.groups_file import NO_SOURCE, OWN_FORMAT, default_groups
from lightdose.files.setup_schema import SETUP_FORMAT
from lightdose.files.toml_text import toml_key, toml_lines, toml_table, toml_tables
from lightdose.files.units import format_length_exact
from lightdose.files.writing import file_names
from lightdose.model.fixture import Fixture, FixtureType
from lightdose.model.record import dataclass
from lightdose.model.setup import Coral, CoralGroup, Cover, LengthUnit, Setup, Site, Tank, Water
from lightdose.model.spectrum import Meter, SpectralDistribution, SpectralTable

if TYPE_CHECKING:
    from lightdose.model.solids import Brace, Face, Solid


@dataclass(frozen=True, eq=False)
class Folder:
    """Texts by file name, each name once."""

    texts: dict[str, str] = field(default_factory=dict)

    def add(self, folder: str, stem: str, suffix: str, text: str) -> str:
        """The name under which a text stands: of one that is there already, its own."""
        plain, turn = file_names([stem], "")[0], 1
        while True:
            name = f"{folder}{plain}{f'-{turn}' if turn > 1 else ''}{suffix}"
            if self.texts.setdefault(name, text) == text:
                return name
            turn += 1


def files_of(setup: Setup) -> dict[str, str]:
    """Every file of a setup by its name, setup.toml first.

    Read back they give the same doses and intervals, in the same order.
    """
    folder = Folder()
    tables = setup_tables(setup, folder)
    if setup.calibration is not None:
        from lightdose.files.calibration_file import calibration_toml

        tables["calibration"] = folder.add("", "calibration", ".toml", calibration_toml(setup.calibration))
    return {"setup.toml": setup_text(tables), **folder.texts}


def setup_tables(setup: Setup, folder: Folder) -> dict[str, Any]:
    """The keys and tables of setup.toml, what they name put into ``folder``; its calibration left out."""
    stated = replace(setup, calibration=None) if setup.calibration is not None else setup
    sites, racks, corals = _places(stated)
    own = _own_groups(setup.groups)
    return {
        "title": setup.title,
        "groups": folder.add("", "my-groups", ".toml", own) if own else None,
        "tank": tank_table(stated.tank, stated.length_unit),
        "water": water_table(stated.water, folder),
        "cover": cover_table(stated.cover, folder),
        "fixture": [fixture_table(f, folder) for f in stated.fixtures],
        "site": sites,
        "rack": racks,
        "coral": corals,
        "rock": [rock_table(rock) for rock in stated.rocks],
        "brace": [brace_table(brace) for brace in stated.braces],
        "meter": {name: meter_table(meter, folder) for name, meter in stated.meters.items()},
        "electricity": vars(stated.electricity) if stated.electricity else None,
        "uncertainty": {k: float(v) for k, v in stated.uncertainty.items()} or None,
    }


def setup_text(tables: Mapping[str, Any]) -> str:
    """The text of setup.toml."""
    top = {key: value for key, value in tables.items() if isinstance(value, str)}
    lines = toml_lines({"format": SETUP_FORMAT, **top})
    for key, value in tables.items():
        if isinstance(value, list):
            lines += toml_tables(key, value)
        elif isinstance(value, Mapping) and key == "meter":
            for name, table in value.items():
                lines += toml_table(f"[{key}.{toml_key(name)}]", table)
        elif isinstance(value, Mapping):
            lines += toml_table(f"[{key}]", value)
    return "\n".join(lines) + "\n"


def _at(x_m: float, y_m: float, depth_m: float) -> dict[str, str]:
    return {
        "x": format_length_exact(x_m),
        "y": format_length_exact(y_m),
        "depth": format_length_exact(depth_m),
    }


# ---- tables of setup.toml --------------------------------------------------------------------------------


def tank_table(tank: Tank, unit: LengthUnit = "cm") -> dict[str, Any]:
    """The table [tank]."""
    walls = {side: w.kind if w.reflectance is None else w.reflectance for side, w in tank.walls.items()}
    return {
        "length": format_length_exact(tank.length_m, unit),
        "width": format_length_exact(tank.width_m, unit),
        "water_depth": format_length_exact(tank.water_depth_m, unit),
        "glass_thickness": format_length_exact(tank.glass_thickness_m),
        "glass_index": tank.glass_index,
        "rim": format_length_exact(tank.rim_m),
        "walls": walls,
        "floor_reflectance": tank.floor_reflectance,
    }


def water_table(water: Water, folder: Folder) -> dict[str, Any]:
    """The table [water]."""
    table = {key: getattr(water, key) for key in ("yellowing_440_per_m", "yellowing_slope_per_nm")}
    table["refractive_index"] = water.refractive_index
    if water.absorption is not None:
        text = spectral_text(water.absorption, "absorption_per_m")
        table["absorption"] = folder.add("", "water", ".csv", text)
    return table


def cover_table(cover: Cover, folder: Folder) -> dict[str, Any]:
    """The table [cover]."""
    passes = cover.transmittance
    if isinstance(passes, SpectralTable):
        text = spectral_text(passes, "transmittance")
        return {"transmittance": folder.add("", "cover", ".csv", text)}
    return {"transmittance": float(passes)}


def fixture_table(fixture: Fixture, folder: Folder) -> dict[str, Any]:
    """A table [[fixture]], its kind and its programme in files of their own."""
    from lightdose.files.schedule_csv import schedule_text

    kind = fixture.type
    names = [c.name for c in kind.channels]
    schedule = schedule_text(fixture.programme, names, lit_at_zero=kind.lit_at_zero)
    return {
        "name": fixture.name,
        "type": add_type(kind, folder),
        "at": {
            "x": format_length_exact(fixture.x_m),
            "y": format_length_exact(fixture.y_m),
            "height": format_length_exact(fixture.height_m),
            "rotation_deg": float(fixture.rotation_deg),
        },
        "schedule": folder.add("schedules/", fixture.name, ".csv", schedule),
        "enabled": fixture.enabled,
        "output_scale": float(fixture.output_scale),
    }


def add_type(kind: FixtureType, folder: Folder) -> str:
    """The name of the file that describes a kind of fixture."""
    files: dict[str, str] = {}
    text = fixture_text(kind, files)
    for name, content in files.items():
        stem, _, suffix = name.rpartition(".")
        given = folder.add("fixtures/", stem, f".{suffix}", content).removeprefix("fixtures/")
        text = text.replace(f'"{name}"', f'"{given}"')
    return folder.add("fixtures/", kind.name, ".toml", text)


Tables = list[dict[str, Any]]


def _places(setup: Setup) -> tuple[Tables, Tables, Tables]:
    """Tables [[site]], [[rack]] and [[coral]]; a site that a coral makes by sitting there is told by that."""
    at = {s.name: s for s in setup.sites}
    made = {
        c.name
        for c in setup.corals
        if c.site == c.name and at[c.site].implicit and c.open_sky == 1.0 and not c.own_sky
    }
    made -= {c.site for c in setup.corals if c.site != c.name}
    own = [s for s in setup.sites if s.name not in made]
    plain = len(own) - next((n for n, s in enumerate(reversed(own)) if s.rack is None), len(own))
    kept = {
        name: [s for s in own[plain:] if s.rack == name]
        for name in dict.fromkeys(s.rack for s in own[plain:])
    }
    racks = [rack_table(some) for some in kept.values()]
    if [s for some in kept.values() for s in some] != own[plain:] or None in racks:
        plain, racks = len(own), []
    sites = [site_table(s) for s in own[:plain]]
    corals = [coral_table(c, at[c.site] if c.name in made else None) for c in setup.corals]
    corals += [coral_table(c, None) for c in setup.unplaced]
    return sites, [rack for rack in racks if rack is not None], corals


def rack_table(sites: list[Site]) -> dict[str, Any] | None:
    """The table [[rack]] whose sites these are; None where no rack has just these."""
    rows: dict[str, list[Site]] = {}
    for site in sites:
        rows.setdefault(site.name.rstrip("0123456789"), []).append(site)
    columns, first = len(next(iter(rows.values()))), sites[0]
    pitch_x = round(sites[1].x_m - first.x_m, 9) if columns > 1 else 0.0
    pitch_y = round(sites[columns].y_m - first.y_m, 9) if len(rows) > 1 else 0.0
    made = [
        replace(first, name=f"{row}{c + 1}", x_m=first.x_m + c * pitch_x, y_m=first.y_m + r * pitch_y)
        for r, row in enumerate(rows)
        for c in range(columns)
    ]
    if made != sites or first.own_sky or first.open_sky != 1:
        return None
    return {
        "name": first.rack,
        "corner": _at(first.x_m, first.y_m, first.depth_m),
        "pitch": {"x": format_length_exact(pitch_x), "y": format_length_exact(pitch_y)},
        "columns": columns,
        "rows": len(rows),
        "row_names": list(rows),
        "on": first.on,
        "faces": _face(first.face) or "up",
    }


def site_table(site: Site) -> dict[str, Any]:
    """A table [[site]]."""
    return {
        "name": site.name,
        "at": _at(site.x_m, site.y_m, site.depth_m),
        "open_sky": _sky(site),
        "on": site.on,
        "faces": _face(site.face),
    }


def _sky(place: Site | Coral) -> float | str | None:
    if place.sky_word:
        return place.sky_word
    return float(place.open_sky) if place.own_sky or place.open_sky != 1 else None


def _face(face: Face | None) -> str | dict[str, float] | None:
    from lightdose.model.solids import FACES

    if face is None:
        return None
    word = face.word
    return word if word in FACES else {"toward_deg": face.toward_deg, "tilt_deg": face.tilt_deg}


def coral_table(coral: Coral, own: Site | None) -> dict[str, Any]:
    """A table [[coral]]; ``own`` is the site that it makes by sitting there."""
    growth = coral.growth and {
        "diameter": format_length_exact(coral.growth.diameter_m),
        "height": format_length_exact(coral.growth.height_m),
    }
    return {
        "name": coral.name,
        "group": coral.group if coral.genus is None else None,
        "genus": coral.genus,
        "site": coral.site or None if own is None else None,
        "at": None if own is None else _at(own.x_m, own.y_m, own.depth_m),
        "height": format_length_exact(coral.height_m),
        "open_sky": _sky(coral if own is None else own),
        "pinned": coral.pinned or None,
        "keep_apart": format_length_exact(coral.keep_apart_m) if coral.keep_apart_m else None,
        "on": coral.on,
        "previous": coral.previous,
        "dli_band": coral.band_dli,
        "peak_max": coral.peak_max,
        "faces": _face(coral.face),
        "form": coral.form,
        "diameter": format_length_exact(coral.diameter_m) if coral.diameter_m else None,
        "passes": coral.passes,
        "growth": growth,
    }


def rock_table(rock: Solid) -> dict[str, Any]:
    """A table [[rock]]; a slab is written as the box that it is."""
    return {
        "name": rock.name,
        "shape": rock.shape,
        "at": _at(rock.x_m, rock.y_m, rock.depth_m),
        "size": {axis: format_length_exact(side) for axis, side in zip("xyz", rock.size_m, strict=True)},
        "turn_deg": float(rock.turn_deg),
        "reflectance": float(rock.reflectance),
    }


def brace_table(brace: Brace) -> dict[str, Any]:
    """A table [[brace]]."""
    ends = {
        key: {"x": format_length_exact(end[0]), "y": format_length_exact(end[1])}
        for key, end in (("from", brace.from_m), ("to", brace.to_m))
    }
    return {
        "name": brace.name,
        **ends,
        "width": format_length_exact(brace.width_m),
        "passes": float(brace.passes),
    }


def meter_table(meter: Meter, folder: Folder) -> dict[str, Any]:
    """A table [meter.NAME]."""
    return {
        "reads": meter.reads,
        "response": response_value(meter.response, meter.name, folder),
        "calibrated_on": source_value(meter.calibrated_on, meter.name, folder),
        "immersion": meter.immersion,
        "standard_uncertainty": meter.standard_uncertainty,
        "reads_up_to": meter.reads_up_to,
    }


def response_value(response: str | SpectralTable, meter: str, folder: Folder) -> dict[str, str]:
    """What stands behind ``response``."""
    if isinstance(response, str):
        return {"shape": response}
    return {"file": folder.add("", f"{meter} response", ".csv", spectral_text(response, "response"))}


def source_value(source: str | SpectralDistribution, meter: str, folder: Folder) -> str | dict[str, str]:
    """What stands behind ``calibrated_on``."""
    if isinstance(source, str):
        return source
    return {"file": folder.add("", f"{meter} source", ".csv", spectrum_text(source))}


# ---- own groups ------------------------------------------------------------------------------------------


def _own_groups(groups: Mapping[str, CoralGroup]) -> str:
    """The file of the groups that are not shipped; "" where there is none."""
    shipped, _ = default_groups()
    own = [g for key, g in groups.items() if not _as_shipped(g, shipped.get(key))]
    if not own:
        return ""
    lines = [f'format = "{OWN_FORMAT}"']
    for group in own:
        lines += toml_table(f"[group.{toml_key(group.key)}]", _group_table(group))
    return "\n".join(lines) + "\n"


def _as_shipped(group: CoralGroup, shipped: CoralGroup | None) -> bool:
    """Whether a group is as shipped, but for genera that an own group claims."""
    return shipped is not None and replace(group, genera=()) == replace(shipped, genera=())


def _group_table(group: CoralGroup) -> dict[str, Any]:
    def floats(pair: Sequence[float] | None) -> tuple[float, ...] | None:
        return None if pair is None else tuple(float(v) for v in pair)

    told = [s for s in group.sources if s != NO_SOURCE]
    return {
        "name": group.name,
        "genera": group.genera or None,
        "dli_band": floats(group.band_dli),
        "peak_band": floats(group.band_peak),
        "dli_floor": group.floor_dli,
        "dli_ceiling": group.ceiling_dli,
        "ek_range": floats(group.ek_range),
        "source": ", ".join(told) or None,
        "grade": group.grade,
    }
